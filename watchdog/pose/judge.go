package pose

import "time"

const (
	// jumpReach is how far back the jump test compares: a jump spread over
	// several samples, each small, still shows.
	jumpReach = 200 * time.Millisecond
	// minJumpStep is the least time two samples are taken to lie apart in the
	// jump test: stamps made on receipt come in bunches, and a hundredth of
	// the true distance in time looks like a hundred times the speed.
	minJumpStep = 5 * time.Millisecond
)

// judge compares a new sample with what was seen before it and sets the
// reasons that follow from it, before it enters the history.
func (t *Track) judge(s *Sample, e *entry, arrived, now time.Duration, session bool) {
	r := &t.trust
	r.flags = 0
	if session || !t.begun && t.clock.before(s.Stamp) {
		t.clock = senderClock{}
	}
	step, silence := time.Duration(0), time.Duration(0)
	if t.begun && !session {
		step, silence = time.Duration(s.Stamp-t.newest.Stamp), arrived-t.arrived
	}
	gap := step > t.cfg.MaxAge || silence > t.cfg.MaxAge
	if step > t.cfg.MaxAge && silence <= t.cfg.MaxAge {
		r.flags |= Stale // a silence on the sender's side that arrival did not show
	}
	t.judgeClock(s, arrived, now)
	t.judgeSession(s, arrived, gap, session)
	r.rate.take(arrived, gap || session)
	t.judgeStill(s, arrived)
	if c := t.cfg.MinConfidence; c > 0 && !(s.HasConfidence && s.Confidence >= c) {
		r.flags |= Unsure
	}
	if t.begun && !session && t.jumped(e) {
		r.hold(Jumped, now, t.cfg.Settle)
	}
	if step > t.cfg.MaxAge || session || r.flags&(Jumped|ClockStep) != 0 {
		t.hist.clear()
	}
}

func (t *Track) judgeClock(s *Sample, arrived, now time.Duration) {
	late, leap := t.clock.observe(s.Stamp, arrived)
	t.lateness = late
	if t.cfg.MaxLate > 0 && late > t.cfg.MaxLate {
		t.trust.flags |= Late
	}
	if t.cfg.MaxClockStep > 0 && leap > t.cfg.MaxClockStep {
		t.trust.hold(ClockStep, now, t.cfg.Settle)
		t.clock.forgive()
	}
}

// judgeStill watches for a tracker that repeats itself to the last bit.
func (t *Track) judgeStill(s *Sample, arrived time.Duration) {
	r := &t.trust
	t.judgePlace(s, arrived)
	if !t.begun || s.Position != t.newest.Position || s.Orientation != t.newest.Orientation {
		r.stillStamp, r.stillArrived = s.Stamp, arrived
		return
	}
	long := max(time.Duration(s.Stamp-r.stillStamp), arrived-r.stillArrived)
	if t.cfg.FrozenAfter > 0 && long > t.cfg.FrozenAfter {
		r.flags |= Frozen
	}
}

// judgePlace watches for a position that repeats itself to the last bit while
// the orientation lives on: a tracker that has lost its place and keeps its
// balance. It is given twice as long, since a coarse tracker at rest does so too.
func (t *Track) judgePlace(s *Sample, arrived time.Duration) {
	r := &t.trust
	if !t.begun || s.Position != t.newest.Position {
		r.placeStamp, r.placeArrived = s.Stamp, arrived
		return
	}
	long := max(time.Duration(s.Stamp-r.placeStamp), arrived-r.placeArrived)
	if t.cfg.FrozenAfter > 0 && long > 2*t.cfg.FrozenAfter {
		r.flags |= Frozen
	}
}

// jumped reports whether the body moved further than it can.
func (t *Track) jumped(e *entry) bool {
	if t.cfg.MaxSpeed <= 0 {
		return false
	}
	step := time.Duration(e.stamp - t.at.stamp)
	way2 := apart2(&t.at.position, &e.position)
	if !(way2 <= t.room2(step)) || t.tooSharp(e) {
		return true
	}
	if t.calm(e.stamp, way2, step) {
		return false
	}
	for i := 1; i < t.hist.count; i++ {
		old := t.hist.back(i)
		step := time.Duration(e.stamp - old.stamp)
		if step > jumpReach {
			break
		}
		if !(apart2(&old.position, &e.position) <= t.room2(step)) {
			return true
		}
	}
	return false
}

// calm reports whether no step within jumpReach, of which the newest went as far as
// the root of way2, went at more than calmShare of MaxSpeed. Many such steps
// together are no further than as much of MaxSpeed in their time, so none of the
// samples they began at needs to be looked at. It only saves that work; what is left
// of the share is far more than rounding.
func (t *Track) calm(stamp int64, way2 float64, step time.Duration) bool {
	const calmShare = 0.999
	room := float64(calmShare * t.cfg.MaxSpeed * InSeconds(step))
	if !(way2 <= float64(room*room)) {
		t.brisk = stamp
	}
	return time.Duration(stamp-t.brisk) >= jumpReach
}

// room2 is the square of how far, m, the body can have come in a time.
func (t *Track) room2(step time.Duration) float64 {
	room := float64(t.cfg.MaxSpeed*InSeconds(max(step, minJumpStep))) + t.cfg.JumpSlack
	return float64(room * room)
}

// apart2 is the square of how far apart, m, two places are.
func apart2(a, b *Vec) float64 {
	way := b.Sub(*a)
	return way.Dot(way)
}

// tooSharp reports whether e is further from where the velocity led than
// MaxAccel allows. Across a gap no velocity leads anywhere.
func (t *Track) tooSharp(e *entry) bool {
	m := &t.motion
	step := time.Duration(e.stamp - t.at.stamp)
	if t.cfg.MaxAccel <= 0 || !m.moves || step > t.cfg.MaxAge {
		return false
	}
	dt, given := InSeconds(max(step, minJumpStep)), InSeconds(step)
	led := t.at.position.Add(m.velocity.Scale(given))
	room := float64(t.cfg.MaxAccel*(float64(float64(dt*dt)/2)+float64(InSeconds(m.lag)*dt))) + t.cfg.JumpSlack
	if dt > given {
		room += float64(m.velocity.Norm() * (dt - given))
	}
	return !(apart2(&led, &e.position) <= float64(room*room))
}
