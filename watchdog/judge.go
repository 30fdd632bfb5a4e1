package watchdog

import (
	"math"
	"math/bits"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/trig"
	"pinfold/zones"
)

// onPose decodes, checks and judges one message of the tracker.
func (g *Guard) onPose(ev *Event, now time.Duration) {
	s, f := g.decode(ev)
	if f != nil {
		g.fault(f, now)
		return
	}
	last, had := g.cur.Stamp, g.judged
	if f := g.track.Accept(s, min(ev.Arrived, now), now, &g.cur); f != nil {
		g.fault(f, now)
		return
	}
	if !had {
		g.firstStamp = g.cur.Stamp
	}
	g.counts.Samples++
	g.judged, g.poseNow = true, true
	if had {
		g.staleGap(time.Duration(g.cur.Stamp - last))
	}
	g.judgePose(now)
}

func (g *Guard) decode(ev *Event) (*pose.Sample, *pose.Fault) {
	if ev.TooLarge {
		return nil, &pose.Fault{Kind: pose.TooLarge, Detail: "cut by the link"}
	}
	if ev.Retained {
		return nil, &pose.Fault{Kind: pose.RetainedMsg, Detail: "a retained pose is old by definition"}
	}
	if ev.Sample != nil { // Accept holds it to the same gate
		return ev.Sample, nil
	}
	return &g.sample, g.dec.Decode(ev.Payload, &g.sample)
}

// fault counts a refused message and reports the first of its kind.
func (g *Guard) fault(f *pose.Fault, now time.Duration) {
	k := int(f.Kind)
	if k >= len(g.counts.FaultKinds) {
		k = 0
	}
	if f.Kind == pose.StampBack || f.Kind == pose.SeqBack {
		g.counts.Dropped++
	} else {
		g.counts.Refused++
	}
	g.counts.FaultKinds[k]++
	if g.counts.FaultKinds[k] == 1 {
		g.record(RecFault, now, FaultSeen{Kind: f.Kind.String(), Field: f.Field, Detail: f.Detail})
	}
}

// staleGap notes how long the silence was that this pose ends, on the sender's
// clock: the worst value of an open stale episode.
func (g *Guard) staleGap(gap time.Duration) {
	if s := &g.subjects[g.other(CausePoseStale)]; s.holding && gap.Seconds() > s.ep.Worst {
		s.ep.Worst, s.ep.WorstStamp = bounded(gap.Seconds()), g.cur.Stamp
	}
}

// judgePose judges the newest pose against zones and limits.
func (g *Guard) judgePose(now time.Duration) {
	if g.cur.HasVelocity {
		g.speed = trig.Hypot(g.cur.Velocity.X, g.cur.Velocity.Y)
	}
	if !g.void(now) {
		g.look(now)
		g.judgeLimits(now)
		g.judgeSlow(now)
	}
	g.judgeRest(now)
	g.stop.measure(g)
}

// look judges where the body can come to by the newest pose, as old as it is
// now, against the zones.
func (g *Guard) look(now time.Duration) {
	g.reachLate(0, now, &g.reach)
	g.lookedAt, g.laterBy = now, 0
	g.judgeZones(now)
}

// reachLate fills r for the newest pose, as old as it is now, where the stop may
// be called by late later than at the next judgement.
func (g *Guard) reachLate(late, now time.Duration, r *Reach) {
	assumed := 0.0
	if !g.cur.HasVelocity {
		assumed = g.assumed()
	}
	age, _ := g.track.Age(now)
	g.cfg.reachOf(&g.cur, delays{age: age, late: late, trip: g.trip}, assumed, r)
}

// between says whether the reach must be judged again before the next pose: it
// grows while a permit lets the vehicle go on.
func (g *Guard) between() bool {
	return g.started && !g.closed && g.latch == ActNone && g.trust == 0 && g.judged && g.cfg.Stopping.Predict
}

// judgeBetween judges the reach of the newest pose again, since it has become
// older. For a limit that is predicted this is one more judgement on the way to
// its confirmation: one that waited for samples would wait while none comes.
func (g *Guard) judgeBetween(now time.Duration) {
	if g.poseNow || !g.between() {
		return
	}
	g.look(now)
	g.limit(LimitHeight, g.height(now), now)
	g.limit(LimitDistance, g.distance(now), now)
	g.judgeSlow(now)
}

// assumed is the speed, m/s, in any direction, that stands in for an unknown
// one: the newest known or the limits, whichever is more. Where there is no
// limit it is what the vehicle can do at all, and nothing bounds it where that
// is not declared either.
func (g *Guard) assumed() float64 {
	l := &g.cfg.Limits
	if !l[LimitSpeed].On {
		if top := g.cfg.Pose.MaxSpeed; top > 0 {
			return math.Max(g.speed, top)
		}
		return math.Inf(1)
	}
	return max(g.speed, l[LimitSpeed].Max, l[LimitClimb].Max, l[LimitDescent].Max)
}

// judgeZones judges the reach against the zones. Mostly it cannot have come as near
// as the caution since it was last measured, and how far it is exactly is worked out
// when somebody asks.
func (g *Guard) judgeZones(now time.Duration) {
	g.nearDue = g.cfg.Zones.Beyond(&g.reach.Sweep, g.cfg.ZoneCaution, &g.seen)
	if !g.nearDue {
		g.near = g.cfg.Zones.ClearanceAfter(&g.reach.Sweep, &g.seen)
	}
	if !g.nearDue && !(g.near.Clearance > g.cfg.ZoneCaution) {
		g.hits = g.cfg.Zones.JudgeAfter(&g.reach.Sweep, g.cfg.ZoneCaution, g.hits[:0], &g.seen)
		seen := false
		for i := range g.hits {
			g.judgeHit(&g.hits[i], now)
			seen = seen || !(g.hits[i].Clearance > 0)
		}
		if !seen && !(g.near.Clearance > 0) {
			g.judgeHit(&g.near, now) // two questions, one answer: the worse one counts
		}
	}
	// What no hit spoke of is far away again. Backwards, since a subject that
	// becomes idle leaves the list.
	for k := len(g.active) - 1; k >= 0; k-- {
		i := g.active[k]
		if s := &g.subjects[i]; s.kind == CauseZone && s.round != g.round {
			g.observeGone(i, now)
		}
	}
}

// nearest is what the reach judged last is nearest to.
func (g *Guard) nearest() zones.Hit {
	if g.nearDue {
		g.near, g.nearDue = g.cfg.Zones.ClearanceAfter(&g.reach.Sweep, &g.seen), false
	}
	return g.near
}

// subjectOf is the subject a hit speaks of; the pen where it names no zone.
func (g *Guard) subjectOf(h *zones.Hit) int {
	if h.Pen || h.Zone < 0 || h.Zone >= len(g.zoneOf) {
		return 0
	}
	return g.zoneOf[h.Zone]
}

func (g *Guard) judgeHit(h *zones.Hit, now time.Duration) {
	i := g.subjectOf(h)
	s := &g.subjects[i]
	if i == 0 && s.run == 0 && h.Zone >= 0 && h.Zone < len(g.shapes) {
		s.zone, s.name = h.Zone, cut(&g.shapes[h.Zone])
	}
	s.outside, s.breach = false, 0
	if v := -h.Clearance; s.violates(v) {
		g.breach(i, v)
	}
	g.observeValue(i, -h.Clearance, now)
}

// breach notes whether and how deep the body itself is outside with respect to
// subject i, where its reach is outside by v.
func (g *Guard) breach(i int, v float64) {
	s := &g.subjects[i]
	body := g.bodyNow()
	if body == g.reach.Sweep {
		s.outside, s.breach = true, bounded(v)
		return
	}
	g.bodyHits = g.cfg.Zones.Judge(&body, 0, g.bodyHits[:0])
	for k := range g.bodyHits {
		if h := &g.bodyHits[k]; g.subjectOf(h) == i {
			s.outside, s.breach = true, math.Max(s.breach, bounded(-h.Clearance))
		}
	}
}

// bodyNow is the body where the pose has it, without prediction or margin.
func (g *Guard) bodyNow() zones.Sweep {
	w := zones.Sweep{From: g.reach.Sweep.From, To: g.reach.Sweep.From, Radius: g.cfg.Radius,
		Below: g.cfg.Height / 2, Above: g.cfg.Height / 2}
	if g.cfg.HasGround {
		w.Below = max(0, min(w.Below, w.From.Z-g.cfg.Ground))
	}
	return w
}

func (g *Guard) judgeLimits(now time.Duration) {
	p := &g.cur
	g.limit(LimitHeight, g.height(now), now)
	g.limit(LimitTilt, p.Tilt*degPerRad, now)
	g.limit(LimitDistance, g.distance(now), now)
	if p.HasTurnRate {
		g.limit(LimitTurn, math.Abs(p.TurnRate)*degPerRad, now)
	}
	if !p.HasVelocity {
		return // unknown: what held goes on holding, nothing becomes good
	}
	g.limit(LimitSpeed, g.speed, now)
	g.limit(LimitClimb, p.Velocity.Z, now)
	g.limit(LimitDescent, -p.Velocity.Z, now)
}

// reachAfter is the reach where the stop may be called later than at the next
// judgement, for what has to be confirmed. It is asked for in the step that
// looked, so what was worked out for one limit stands for the next.
func (g *Guard) reachAfter(late, now time.Duration) *Reach {
	if late == 0 || !g.cfg.Stopping.Predict {
		return &g.reach
	}
	if late != g.laterBy {
		g.reachLate(late, now, &g.later)
		g.laterBy = late
	}
	return &g.later
}

// height is how high above the floor the body's centre can come until rest, m.
func (g *Guard) height(now time.Duration) float64 {
	z := g.cur.Position.Z + g.reachAfter(g.cfg.Limits[LimitHeight].later(), now).Up
	if g.cfg.HasGround {
		z -= g.cfg.Ground
	}
	return z
}

// distance is how far from home the body's centre can come until rest, m.
func (g *Guard) distance(now time.Duration) float64 {
	w := &g.reachAfter(g.cfg.Limits[LimitDistance].later(), now).Sweep
	h := g.cfg.Home
	here := trig.Hypot(w.From.X-h.X, w.From.Y-h.Y)
	there := trig.Hypot(w.To.X-h.X, w.To.Y-h.Y) + w.Grow
	return max(here, there) + w.Radius - g.cfg.Radius
}

func (g *Guard) limit(id LimitID, v float64, now time.Duration) {
	if g.cfg.Limits[id].On {
		g.observeValue(g.limit0+int(id), v, now)
	}
}

// judgeSession bounds the time since start.
func (g *Guard) judgeSession(now time.Duration) {
	if !g.cfg.Limits[LimitSession].On {
		return
	}
	v := 0.0
	if g.started {
		v = pose.InSeconds(now - g.startedAt)
	}
	g.observeValue(g.limit0+int(LimitSession), v, now)
}

// judgeTrust turns reasons of distrust into causes.
func (g *Guard) judgeTrust(now time.Duration) {
	const known = pose.Distrust(1)<<(CauseClockStep-CausePoseNone+1) - 1
	was := g.trust
	g.trust = g.track.Distrust(now)
	if g.trust&^known != 0 {
		g.trust |= pose.NoPose // a reason without a cause: as bad as none at all
	}
	for left := uint16((was | g.trust) & known); left != 0; left &= left - 1 {
		k := CausePoseNone + CauseKind(bits.TrailingZeros16(left))
		bit := pose.Distrust(1) << (k - CausePoseNone)
		v, limit := 0.0, 0.0
		switch age, _ := g.track.Age(now); k {
		case CausePoseStale:
			v, limit = age.Seconds(), g.cfg.Pose.MaxAge.Seconds()
		case CausePoseLate:
			v, limit = age.Seconds(), g.cfg.Pose.MaxLate.Seconds()
		}
		g.observe(g.other(k), g.trust&bit != 0, v, limit, now)
	}
}

// judgeRest keeps since when the vehicle has been at rest.
func (g *Guard) judgeRest(now time.Duration) {
	v := g.cur.Velocity
	speed := math.Sqrt(float64(v.X*v.X) + float64(v.Y*v.Y) + float64(v.Z*v.Z))
	slow := g.cur.HasVelocity && speed <= g.cfg.Timing.RestSpeed
	if slow && !g.isSlow {
		g.slow = now
	}
	g.isSlow = slow
}

// atRest says whether the vehicle has been slow for long enough and the pose
// that says so is to be trusted.
func (g *Guard) atRest(now time.Duration) bool {
	return g.judged && g.trust == 0 && g.isSlow && now-g.slow >= g.cfg.Timing.RestFor
}
