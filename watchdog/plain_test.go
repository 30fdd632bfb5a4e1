package watchdog

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// plain is what the judgement comes to in a bare box, worked out anew at every
// step from the newest pose, by sums that share nothing with the core's.
type plain struct {
	lo, hi   pose.Vec // of the box, and of the post in it
	plo, phi pose.Vec
	trip     time.Duration
	link     bool
}

// forbids says why nothing may be permitted now; empty where something may.
func (p *plain) forbids(g *Guard, c *Config, now time.Duration) string {
	s := &c.Stopping
	age, known := g.track.Age(now)
	switch {
	case !known:
		return "no pose"
	case g.track.Distrust(now) != 0:
		return "a pose that is not trusted"
	case !p.link:
		return "no link"
	case c.Timing.TripMost > 0 && p.trip > c.Timing.TripMost:
		return "a link over its budget"
	}
	q := &g.cur
	go1 := age + 10*ms
	if slow := p.trip - s.Trip; slow > 0 {
		go1 = max(go1, min(go1+slow, c.Timing.PermitValid))
	}
	if s.CoverLoss {
		go1 = max(go1, c.Timing.PermitValid)
	}
	t := (go1 + q.Lag + s.Reaction).Seconds()
	v, speed := q.Velocity, math.Hypot(q.Velocity.X, q.Velocity.Y)
	errV := s.VelocityErr
	if !q.HasVelocity {
		v, speed, errV = pose.Vec{}, 0, errV+max(g.speed, c.Limits[LimitSpeed].Max)
	}
	wide := c.Radius + s.Margin + s.PositionErr
	fast := speed + errV + s.Acceleration*t
	far := speed*t + speed*speed/(2*s.Deceleration)
	most := wide + errV*t + s.Acceleration*t*t/2 + (fast*fast-speed*speed)/(2*s.Deceleration)
	to := pose.Vec{X: q.Position.X, Y: q.Position.Y}
	if speed > 0 {
		to = pose.Vec{X: q.Position.X + v.X/speed*far, Y: q.Position.Y + v.Y/speed*far}
	}
	for i := range 101 { // discs along the way, each as wide as it is there
		u := float64(i) / 100
		x, y, r := q.Position.X+u*(to.X-q.Position.X), q.Position.Y+u*(to.Y-q.Position.Y), wide+u*(most-wide)-1e-6
		if x-r < p.lo.X || y-r < p.lo.Y || x+r > p.hi.X || y+r > p.hi.Y {
			return "a way that leaves the box"
		}
		if math.Hypot(max(p.plo.X-x, x-p.phi.X, 0), max(p.plo.Y-y, y-p.phi.Y, 0)) < r {
			return "a way that meets the post"
		}
	}
	up, vz := c.Height/2+s.Margin+s.PositionErr-1e-6, math.Abs(v.Z)
	fz := vz + errV + s.Acceleration*t
	up += errV*t + s.Acceleration*t*t/2 + (fz*fz-vz*vz)/(2*s.Vertical)
	if v.Z > 0 {
		up += vz*t + vz*vz/(2*s.Vertical)
	}
	if q.Position.Z+up > p.hi.Z {
		return "a way through the ceiling"
	}
	return ""
}

// tightened is c with something tighter, drawn at random.
func (p *plain) tightened(rt *rapid.T, t *testing.T, c Config) Config {
	less := rapid.Float64Range(0, 0.3).Draw(rt, "less")
	switch rapid.IntRange(0, 7).Draw(rt, "what") {
	case 0:
		p.lo.X, p.hi.Y = p.lo.X+less, p.hi.Y-less
	case 1:
		p.plo.X, p.phi.X = p.plo.X-less, p.phi.X+less
	case 2:
		c.Stopping.Margin += less
	case 3:
		c.Stopping.Reaction += time.Duration(less * float64(time.Second))
	case 4:
		c.Stopping.Deceleration -= less
	case 5:
		c.Stopping.Trip /= 2
	case 6:
		c.Timing.TripMost = 80 * ms
	case 7:
		c.Stopping.CoverLoss = true
	}
	set, err := zones.New([]zones.Shape{
		{Name: "cage", Kind: zones.KeepIn, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(p.lo.X, p.lo.Y, p.hi.X, p.hi.Y)}},
		{Name: "post", Kind: zones.KeepOut, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(p.plo.X, p.plo.Y, p.phi.X, p.phi.Y)}}})
	if err != nil {
		t.Fatal(err)
	}
	c.Zones = set
	return c
}

// TestNothingIsPermittedThatAPlainAccountForbids: poses, silence, measured trips,
// a link that goes and comes, starts, and a site file that is tightened under way,
// in any order. After each, a permit to go is held to an account of its own.
func TestNothingIsPermittedThatAPlainAccountForbids(t *testing.T) {
	granted, withheld, slow := 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		c := testConfig(t)
		c.Stopping.Trip, c.Stopping.Acceleration = 40*ms, rapid.SampledFrom([]float64{0, 1}).Draw(rt, "acceleration")
		p := &plain{hi: pose.Vec{X: 7, Y: 5, Z: 3.2}, plo: pose.Vec{X: 4, Y: 2}, phi: pose.Vec{X: 4.1, Y: 2.1}, link: true}
		r := newRig(t, c)
		r.laws = nil
		r.out = func(now time.Duration, _ []Effect) { // after every step: it says the same until the next
			if !r.granted() {
				withheld++
				return
			}
			granted++
			if p.trip > c.Stopping.Trip {
				slow++
			}
			if why := p.forbids(r.g, &c, now); why != "" {
				t.Fatalf("at %v: permitted, with %s: %+v, trip %v", now, why, r.g.cur, p.trip)
			}
		}
		a := rapid.Float64Range(-1.5, 1.5)
		for range rapid.IntRange(1, 4).Draw(rt, "starts") {
			r.p, r.v = pose.Vec{X: rapid.Float64Range(p.lo.X+0.6, 3).Draw(rt, "x"), Y: rapid.Float64Range(0.6, 4).Draw(rt, "y"), Z: 1}, pose.Vec{}
			r.still(2600 * ms)
			for _, ask := range []Ask{AskReset, AskStart} {
				r.ask(ask)
				r.durable()
			}
			for range rapid.IntRange(1, 12).Draw(rt, "events") {
				switch rapid.IntRange(0, 5).Draw(rt, "event") {
				case 0, 1:
					r.move(time.Duration(rapid.IntRange(5, 400).Draw(rt, "ms"))*ms, pose.Vec{X: a.Draw(rt, "ax"), Y: a.Draw(rt, "ay"), Z: a.Draw(rt, "az") / 4})
				case 2:
					r.silence(time.Duration(rapid.IntRange(1, 90).Draw(rt, "silence")) * ms)
				case 3:
					p.trip = time.Duration(rapid.IntRange(0, 300).Draw(rt, "trip")) * ms
					r.step(Event{Kind: EvTrip, Trip: p.trip})
				case 4:
					next := p.tightened(rt, t, c)
					effects, err := r.g.Tighten(next, r.now)
					if err != nil {
						t.Fatal(err)
					}
					c = next
					r.took(effects)
				case 5:
					p.link = rapid.IntRange(0, 3).Draw(rt, "link") > 0
					r.step(Event{Kind: EvLink, Up: p.link})
				}
			}
			p.link = true
			r.step(Event{Kind: EvLink, Up: true})
			p.trip = min(p.trip, 70*ms)
			r.step(Event{Kind: EvTrip, Trip: p.trip})
		}
	})
	t.Logf("steps with a permit to go %d, of them with a slow link %d; without %d", granted, slow, withheld)
	if granted < 500 || slow < 100 || withheld < 1000 {
		t.Error("too few of one kind: nothing was shown")
	}
}
