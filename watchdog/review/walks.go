package review

import (
	"fmt"
	"strings"

	"pinfold/watchdog"
	"pinfold/watchdog/trail"
	"pinfold/watchdog/walk"
)

// walked reads a signed line, where it is the list of a walk: the newest of a
// vehicle counts, since one is kept with every item that is ticked off.
func (s *summary) walked(l *trail.Line) error {
	var b trail.Signed
	if err := l.Decode(&b); err != nil || b.About != walk.About {
		return err
	}
	var list walk.List
	if err := (trail.Line{Seq: l.Seq, Kind: l.Kind, Body: b.Record}).Decode(&list); err != nil {
		return err
	}
	for i := range s.out.Walks {
		if s.out.Walks[i].Vehicle == list.Vehicle {
			s.out.Walks[i] = list
			return nil
		}
	}
	s.out.Walks = append(s.out.Walks, list)
	return nil
}

// begun notes of a guard's first record whether the vehicle was carried. What is
// called for one in a person's hands is called without any permission.
func (s *summary) begun(l *trail.Line) error {
	var b struct {
		MotorsOff bool `json:"motors_off"`
	}
	err := l.Decode(&b)
	s.carried[l.Vehicle] = b.MotorsOff
	return err
}

// level is the vehicle's, as an episode of it has it.
func (s *summary) level(vehicle string) string {
	if l, ok := s.levels[vehicle]; ok && !s.carried[vehicle] {
		return l
	}
	return watchdog.Waiting.String()
}

// carriedAll says, in a sentence, what vehicles were carried along their edges.
func (rep *Report) carriedAll() string {
	var parts []string
	for i := range rep.Walks {
		l := &rep.Walks[i]
		parts = append(parts, fmt.Sprintf("%s was carried along its edges, motors off, by %s: %d walked, %d too late, %d skipped, %d not walked, %d left open",
			l.Vehicle, l.By, l.Count(walk.Walked), l.Count(walk.Late), l.Count(walk.Skipped), l.Count(walk.NotWalked), l.Count(walk.Open)))
	}
	if len(parts) == 0 {
		return ""
	}
	return strings.Join(parts, "; ") + "."
}
