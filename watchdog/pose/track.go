package pose

import (
	"fmt"
	"time"
)

// Track turns the samples of one tracker into poses in the site frame and says
// whether they are to be trusted. It is not for use by two goroutines at once.
type Track struct {
	cfg Config

	begun   bool
	newest  Sample        // newest accepted sample, tracker frame
	arrived time.Duration // its arrival
	at      entry         // it in the site frame
	motion  motion        // as of it
	bound   string        // tracker id the alignment belongs to; empty while none was seen
	last    string        // newest tracker id seen
	void    bool          // realigned since a restart, and no pose seen since

	behind   behind // samples refused as old since the newest
	clock    senderClock
	lateness time.Duration // of the newest sample
	hist     history
	brisk    int64 // ns, stamp of the newest step that was not calm
	derive   deriver
	trust    trust
	checked  time.Duration // newest instant anything was asked about
}

// NewTrack makes a Track that has seen nothing yet and reports NoPose.
func NewTrack(c Config) (*Track, error) {
	c, err := c.checked()
	if err != nil {
		return nil, err
	}
	return &Track{
		cfg: c, bound: c.Align.Tracker, hist: newHistory(), derive: newDeriver(c.VelocityWindow),
		trust: trust{rate: newRateMeter(c.MinRateHz)},
	}, nil
}

// Realign takes a new alignment and begins anew, as a new Track does: what was
// seen until now stood in another frame. Only how late messages come is kept,
// where it is the same session for certain. It is what ends Restarted, with the
// first pose that stands in the new one, and what lets in a tracker whose
// restart set its stamps back. An invalid alignment is refused and changes
// nothing. Whether it is of this session at all is asked of Unfit.
func (t *Track) Realign(a Alignment) error {
	a, err := a.checked()
	if err != nil {
		return fmt.Errorf("pose: %w", err)
	}
	var clock senderClock
	if t.sameSession(&a) {
		clock = t.clock // how late its messages come stays known: no alignment makes a backlog any younger
	}
	t.cfg.Align = a
	t.hist.clear()
	t.trust.rate.clear()
	*t = Track{
		cfg: t.cfg, clock: clock, bound: a.Tracker, hist: t.hist, derive: t.derive,
		trust: trust{rate: t.trust.rate}, checked: t.checked, void: t.void || t.trust.restarted,
	}
	return nil
}

// Accept takes one decoded sample that arrived at the instant arrived and is
// looked at now, and writes the pose it stands for to out. A refused sample
// leaves the track and out as they were: it does not make the pose younger. Many
// that are refused as old may be a tracker that restarted; see RestartAfter.
//
// An accepted sample may still be distrusted: ask Distrust.
func (t *Track) Accept(s *Sample, arrived, now time.Duration, out *Pose) *Fault {
	if f := checkSample(s); f != nil {
		return f
	}
	// A restarted tracker may count its stamps anew. Its alignment is void, so
	// nothing that is let through here is trusted.
	session := t.begun && s.Tracker != "" && t.last != "" && s.Tracker != t.last
	now = max(now, t.checked)
	arrived = min(arrived, now)
	if f := t.inOrder(s); f != nil && !session {
		if !t.behind.note(s, arrived, t.cfg.MaxAge) {
			return f
		}
		session, t.trust.restarted = true, true
		t.trust.noticed, t.trust.fresh = true, t.behind.first
	}
	if t.behind.on {
		t.behind = behind{}
	}
	if t.begun {
		arrived = max(arrived, t.arrived)
	}
	t.trust.note(t.reasons(now), now)

	var e entry
	t.cfg.place(s, &e)
	t.judge(s, &e, arrived, now, session)
	t.move(&e, now)
	t.begun, t.void, t.arrived = true, false, arrived
	t.newest = *s // one at a time: several at once are copied twice
	t.at = e
	if s.Tracker != "" {
		t.last = s.Tracker
	}
	t.fill(out)
	t.checked = now
	t.trust.note(t.reasons(now), now)
	return nil
}

// move takes the sample into the history and derives velocity and turn rate.
func (t *Track) move(e *entry, now time.Duration) {
	t.hist.push(e)
	m := &t.motion
	t.derive.derive(&t.hist, m)
	derived := m.velocity
	arm := t.cfg.Mount.Offset != Vec{}
	if arm {
		// The tracker's own motion differs from the centre's by spin × arm.
		lever := m.spin.Cross(e.attitude.Rotate(t.cfg.Mount.Offset))
		m.given = m.given.Sub(lever)
		e.given = e.given.Sub(lever)
	}
	tolerance := t.cfg.VelocityTolerance
	if tolerance > 0 && m.known && m.hasGiven && !(m.given.Sub(derived).Norm() <= tolerance) {
		t.trust.hold(Disagrees, now, t.cfg.Settle)
	}
	if !e.hasGiven || arm && !m.known || tolerance > 0 && m.known && !m.hasGiven {
		return // the derived velocity, or none; a reported one is believed only where it is compared
	}
	m.velocity, m.lag, m.moves = e.given, 0, true
	if arm {
		m.lag = m.spinLag
	}
}

// fill writes the newest sample as a pose.
func (t *Track) fill(out *Pose) {
	q, m := t.at.attitude, &t.motion
	*out = Pose{}
	out.Stamp, out.Arrived, out.Position = t.at.stamp, t.arrived, t.at.position
	out.HasVelocity, out.HasTurnRate = m.moves, m.known
	out.Tilt, out.Orientation = q.Tilt(), q
	if m.moves {
		out.Velocity, out.Lag = m.velocity, m.lag
	}
	if m.known {
		out.TurnRate = m.spin.Z
	}
}

// Age is how old the newest pose is: the time since it arrived and, on top, how
// late it came measured against the earliest arrivals; false before the first.
func (t *Track) Age(now time.Duration) (time.Duration, bool) {
	if !t.begun {
		return 0, false
	}
	return max(0, now-t.arrived) + t.lateness, true
}
