package sim

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"pinfold/sim/broker"
	"pinfold/sim/judge"
)

// StoryOptions say where the demo's story is told.
type StoryOptions struct {
	Broker *broker.Broker  // alive; the story kills it once and restarts it
	Prefix string          // of the topics; wire.DefaultPrefix where empty
	Seed   uint64          // of tracker errors, gusts and the ways flown
	Report func(StoryLine) // called from several goroutines, one at a time; may be nil
}

// StoryLine is one sentence about what happens.
type StoryLine struct {
	At      time.Duration `json:"at_ns"`   // since the story began
	Vehicle string        `json:"vehicle"` // empty where it is about both or neither
	Text    string        `json:"text"`    // one plain sentence, no full stop
}

// Act is one scene with what had to be seen in it, and what was.
type Act struct {
	Name     string        `json:"name"`
	Vehicle  string        `json:"vehicle"`
	Expected string        `json:"expected"` // level and cause that the watchdog's state had to show
	Seen     string        `json:"seen"`     // what it showed, or what was shown last
	OK       bool          `json:"ok"`
	Tries    int           `json:"tries"` // how often it was played; more than once where the machine itself held it up
	At       time.Duration `json:"at_ns"` // since the story began: seen, or given up
}

// VehicleResult is how one vehicle fared.
type VehicleResult struct {
	Name     string        `json:"name"`
	Verdict  judge.Verdict `json:"verdict"`
	ClosestM float64       `json:"closest_m"` // m, least room to the edge of the allowed space; negative by the depth of a breach
	Halts    []Halting     `json:"halts"`
}

// StoryResult is what came of a story. The zero value is a story that nobody
// saw: Stayed and OK are false.
type StoryResult struct {
	Seed     uint64          `json:"seed"`
	Took     time.Duration   `json:"took_ns"`
	Acts     []Act           `json:"acts"`
	Vehicles []VehicleResult `json:"vehicles"`
}

// Stayed says whether every vehicle stayed in its pen, as the judge saw it on
// every physics step to the end.
func (r StoryResult) Stayed() bool {
	for _, v := range r.Vehicles {
		if !v.Verdict.Stayed() {
			return false
		}
	}
	return len(r.Vehicles) > 0
}

// OK says whether every act showed what it had to.
func (r StoryResult) OK() bool {
	for _, a := range r.Acts {
		if !a.OK {
			return false
		}
	}
	return len(r.Acts) > 0
}

// Bounds of a story.
const (
	storyMost = 5 * time.Minute  // a story that takes longer is given up
	actMost   = 20 * time.Second // for one expectation
	startMost = 60 * time.Second // for a reset and a start
)

// RunStory moves the demo's two vehicles through their acts, about 40 s of real
// time when things go well, and returns what was seen. It needs the watchdog to
// run on DemoSite at the broker. The error says why the story could not be told
// to its end; the result then holds what was seen so far, and no verdict is
// finished.
func RunStory(ctx context.Context, o StoryOptions) (StoryResult, error) {
	if o.Broker == nil {
		return StoryResult{}, errors.New("sim: a story needs a broker; give it one from broker.Start")
	}
	ctx, cancel := context.WithTimeout(ctx, storyMost)
	defer cancel()
	s := &story{options: o, began: time.Now(), meeting: newMeeting()}
	op, err := NewOperator(ctx, o.Broker.URL(), o.Prefix, "desk", Wren, Mole)
	if err != nil {
		return StoryResult{Seed: o.Seed}, err
	}
	defer op.Close()
	s.operator = op
	wren, err := s.cast(ctx, DemoNode(Wren, o.Broker.URL(), o.Prefix, o.Seed))
	if err != nil {
		return StoryResult{Seed: o.Seed}, err
	}
	defer wren.node.Close()
	mole, err := s.cast(ctx, DemoNode(Mole, o.Broker.URL(), o.Prefix, o.Seed))
	if err != nil {
		return StoryResult{Seed: o.Seed}, err
	}
	defer mole.node.Close()
	err = s.play(ctx, part{wren, wren.wren}, part{mole, mole.mole})
	return s.result(err == nil, wren, mole), err
}

// part is what one of the cast does.
type part struct {
	player *player
	play   func(context.Context) error
}

// story is a story while it is told.
type story struct {
	options  StoryOptions
	began    time.Time
	operator *Operator
	meeting  *meeting

	mu   sync.Mutex
	acts []Act
}

// play lets all parts run side by side to their ends.
func (s *story) play(ctx context.Context, parts ...part) error {
	for _, p := range parts {
		s.meeting.set(p.player, awaited)
	}
	errs := make([]error, len(parts)+1)
	var all sync.WaitGroup
	for i, p := range parts {
		all.Go(func() {
			defer s.meeting.set(p.player, gone)
			if err := p.play(ctx); err != nil {
				errs[i] = fmt.Errorf("sim: %s's part broke off: %w", p.player.name, err)
			}
		})
	}
	all.Go(func() { errs[len(parts)] = s.conduct(ctx) })
	all.Wait()
	return errors.Join(errs...)
}

// result sums up.
func (s *story) result(finished bool, cast ...*player) StoryResult {
	s.mu.Lock()
	r := StoryResult{Seed: s.options.Seed, Took: time.Since(s.began), Acts: append([]Act(nil), s.acts...)}
	s.mu.Unlock()
	for _, p := range cast {
		v := p.node.Verdict(finished)
		r.Vehicles = append(r.Vehicles, VehicleResult{Name: p.name, Verdict: v, ClosestM: v.Closest, Halts: p.node.Halts()})
	}
	return r
}

// say reports one line.
func (s *story) say(vehicle, format string, args ...any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.options.Report != nil {
		s.options.Report(StoryLine{At: time.Since(s.began), Vehicle: vehicle, Text: fmt.Sprintf(format, args...)})
	}
}

// note keeps what came of an act.
func (s *story) note(a Act) {
	a.At = time.Since(s.began)
	s.mu.Lock()
	s.acts = append(s.acts, a)
	s.mu.Unlock()
	if !a.OK {
		s.say(a.Vehicle, "%s: expected %s, saw %s", a.Name, a.Expected, a.Seen)
	}
}
