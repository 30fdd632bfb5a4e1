package watchdog

import (
	"math"
	"time"

	"pinfold/watchdog/pose/trig"
	"pinfold/zones"
)

// stopRun follows how the vehicle answers a stop or land, from the call that
// latched it until the reset.
type stopRun struct {
	active  bool // not yet at rest, so not yet recorded
	cause   Cause
	at      time.Duration
	acked   time.Duration // first acknowledgement, since at; -1 not yet
	from    zones.XYZ
	known   bool    // a pose was judged when it was called
	moved   bool    // its velocity was known, so that speed is measured
	speed   float64 // m/s, horizontal; where not measured, the assumed one
	allowed float64 // m
	braking float64 // m/s², declared, on the slope
	over    int     // samples in a row that are too fast
	s80     int64   // ns, sender's stamp at which the speed first was 80 % of the first
	s20     int64
	got80   bool
	got20   bool
}

func (g *Guard) beginStop(c Cause, now time.Duration) {
	a, _ := OnSlope(g.cfg.Stopping.Deceleration, g.cfg.Stopping.Slope)
	g.stop = stopRun{active: true, cause: c, at: now, acked: -1, from: g.reach.Sweep.From,
		known: g.judged, moved: g.judged && g.cur.HasVelocity, speed: g.speed, allowed: bounded(g.reach.Along), braking: a}
	if !g.stop.moved {
		g.stop.speed = g.assumed()
	}
}

// fastest is the highest speed, m/s, that still counts as obeying, since after
// the stop was called: the speed it was called at, and what may be gained,
// through the reaction, then falling at the tolerated share of the declared
// braking. Over a link that is slower than declared the vehicle hears of the stop
// that much later, as the reach counted; it is not to be blamed for that.
func (r *stopRun) fastest(c *Config, trip, since time.Duration) float64 {
	s := &c.Stopping
	reaction := s.Reaction + c.slower(trip)
	gain := float64(s.Acceleration * math.Max(0, min(since, reaction).Seconds()))
	t := math.Max(0, (since - reaction).Seconds())
	return math.Max(0, r.speed+gain-float64(r.braking*c.Timing.ObeyTolerance*t)) + c.Timing.ObeySlack
}

// obey checks that a latched stop is followed: that the speed falls as
// declared, and that a vehicle once at rest stays there. It looks at the
// horizontal speed only, since one that lands goes on moving downwards.
func (g *Guard) obey(now time.Duration) {
	if g.latch == ActNone || !g.poseNow || !g.cur.HasVelocity || g.cfg.MotorsOff {
		return
	}
	age, _ := g.track.Age(now)
	limit := g.stop.fastest(&g.cfg, g.trip, now-g.stop.at-age-g.cur.Lag)
	if g.speed <= limit || !g.cfg.Stopping.Predict {
		g.stop.over = 0
	} else {
		g.stop.over++
	}
	g.observe(g.other(CauseNotObeyed), g.stop.over >= g.cfg.Timing.ObeyConfirm, g.speed, limit, now)
	if g.stop.active && g.atRest(now) {
		g.endStop(now)
	}
}

// measure notes when the speed passed 80 % and 20 % of the first.
func (r *stopRun) measure(g *Guard) {
	if !r.active || !r.moved || !g.cur.HasVelocity || r.speed < 0.4 {
		return
	}
	if !r.got80 && g.speed <= 0.8*r.speed {
		r.got80, r.s80 = true, g.cur.Stamp
	}
	if !r.got20 && g.speed <= 0.2*r.speed {
		r.got20, r.s20 = true, g.cur.Stamp
	}
}

// deceleration is the measured mean, m/s², or 0 where the vehicle was too slow
// to tell.
func (r *stopRun) deceleration() float64 {
	if !r.got80 || !r.got20 || r.s20 <= r.s80 {
		return 0
	}
	return 0.6 * r.speed / time.Duration(r.s20-r.s80).Seconds()
}

// endStop records how the vehicle came to rest.
func (g *Guard) endStop(now time.Duration) {
	r := &g.stop
	body := g.bodyNow()
	edge := g.cfg.Zones.Clearance(&body)
	d := Stopped{Action: g.latch.String(), Cause: r.cause, Speed: bounded(r.speed), Acked: -1, Allowed: r.allowed,
		Rest: max(0, g.slow-r.at).Seconds(), Deceleration: r.deceleration(), Edge: bounded(edge.Clearance)}
	if r.acked >= 0 {
		d.Acked = r.acked.Seconds()
	}
	if r.known {
		d.Distance = trig.Hypot(body.From.X-r.from.X, body.From.Y-r.from.Y)
	}
	if edge.Zone >= 0 && edge.Zone < len(g.shapes) {
		d.EdgeZone = cut(&g.shapes[edge.Zone])
	}
	r.active = false
	g.record(RecStopped, now, d)
}
