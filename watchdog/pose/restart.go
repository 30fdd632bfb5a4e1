package pose

import (
	"fmt"
	"math"
	"time"
)

const (
	// restartFactor times RestartRadius is how far from its origin a tracker
	// must have been for a return to it to count as a restart.
	restartFactor = 3
	// epochSlack is how far a tracker's epoch may seem to move without a
	// restart: the transit of two messages, and what two clocks that are kept by
	// the network differ by. No tracker is switched off, started and aligned in
	// less (common practice, no source).
	epochSlack = 2 * time.Second
)

// judgeSession finds out whether the tracker restarted. The reason stays until
// the next alignment. The epoch is looked at once: later on the sender's clock
// is watched sample by sample.
func (t *Track) judgeSession(s *Sample, arrived time.Duration, gap, session bool) {
	id, was, a := s.Tracker, t.trust.restarted, &t.cfg.Align
	switch {
	case s.Stamp < a.Since, id != "" && a.Since > 0 && a.Tracker == "", a.Unbound && t.cfg.WallZero != 0:
		t.trust.restarted = true // not the session the alignment was made in
	case id != "" && t.bound == "":
		t.bound = id
	case id != "" && id != t.bound, session:
		t.trust.restarted = true
		if id == "" {
			t.last = "" // what it told was of the session before
		}
	case id == "" && t.bound != "" && t.last == "":
		t.trust.restarted = true // aligned by an id that this tracker does not tell
	case gap && t.fellBack(s): // an id may be the tracker's serial number, and outlast a restart
		t.trust.restarted, was = true, false // each time anew
		if id == "" {
			t.last = ""
		}
	case !t.begun:
		_, t.trust.restarted = t.cfg.epochMoved(a, s.Stamp, arrived)
	}
	if t.trust.restarted && !was && t.begun {
		t.trust.noticed, t.trust.fresh = true, s.Stamp
	}
}

// fellBack reports whether the tracker stands at its own origin, having been
// clearly away from it.
func (t *Track) fellBack(s *Sample) bool {
	near := t.cfg.RestartRadius
	return near > 0 && s.Position.Norm() < near && t.newest.Position.Norm() > restartFactor*near
}

// epochMoved is how far, s, the tracker's epoch is from where it was when a was
// made, and whether that is too far. It is never where either is not known.
func (c *Config) epochMoved(a *Alignment, stamp int64, arrived time.Duration) (by float64, moved bool) {
	if a.Epoch == 0 || c.WallZero == 0 {
		return 0, false
	}
	// Far apart in time the sums leave an int64; a float64 is good to 1 µs here.
	by = (float64(c.WallZero) + float64(arrived) - float64(a.Epoch) - float64(stamp)) / 1e9
	slack := epochSlack.Seconds() + math.Max(0, float64(stamp-a.Since)/1e9)*driftPPM/1e6
	return by, math.Abs(by) > slack
}

// foreign says why a sample with that id and stamp that arrived then cannot be
// of the session a was made in; empty where it may be.
func (c *Config) foreign(a *Alignment, id string, stamp int64, arrived time.Duration) string {
	switch {
	case a.Void():
		return "there is no alignment yet"
	case a.Unbound && c.WallZero != 0:
		return "it was made from a recording that does not tell of which session of the tracker it is"
	case stamp < a.Since:
		return fmt.Sprintf("it was made in a session of the tracker that lasted since its stamp %.3f s, and the tracker is at %.3f s: it restarted since",
			float64(a.Since)/1e9, float64(stamp)/1e9)
	case id != "" && a.Since > 0 && a.Tracker == "":
		return fmt.Sprintf("it was made with a tracker that told no id, and this one is %q", id)
	case id != "" && a.Tracker != "" && id != a.Tracker:
		return fmt.Sprintf("it was made in the tracker's session %q, and this one is %q: it restarted since", a.Tracker, id)
	case id == "" && a.Tracker != "":
		return fmt.Sprintf("it was made in the tracker's session %q, and this tracker tells no id", a.Tracker)
	}
	if by, moved := c.epochMoved(a, stamp, arrived); moved {
		return fmt.Sprintf("the tracker's clock began %+.1f s from where it did when it was made: the tracker restarted since, or a wall clock was set (the guard reads its own when it starts: where aligning again does not help, start it again)", by)
	}
	return ""
}

// sameSession reports whether a is for certain of the very session that the
// newest sample is of, in which nothing restarted.
func (t *Track) sameSession(a *Alignment) bool {
	if !t.begun || t.trust.restarted || t.behind.on || a.Tracker != t.last || t.cfg.foreign(a, t.last, t.newest.Stamp, t.arrived) != "" {
		return false
	}
	return t.last != "" || a.Epoch != 0 && t.cfg.WallZero != 0
}

// Unfit says in words why a cannot be an alignment of the session the tracker is
// in now, as far as this Track has seen it; empty where it may be.
func (t *Track) Unfit(a *Alignment) string {
	if !t.begun {
		return ""
	}
	if why := t.cfg.foreign(a, t.last, t.newest.Stamp, t.arrived); why != "" {
		return why
	}
	if t.last == "" && t.trust.noticed && a.Since < t.trust.fresh {
		return fmt.Sprintf("it was made in a session of the tracker that lasted since its stamp %.3f s, and the tracker restarted at %.3f s",
			float64(a.Since)/1e9, float64(t.trust.fresh)/1e9)
	}
	return ""
}
