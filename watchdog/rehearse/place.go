package rehearse

import (
	"math"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
)

// place draws what the run aims at, who drives it there, and from where; false
// where that was nowhere.
func (c *Case) place(rng *dice, p *pen, peace bool) bool {
	for range maxTries {
		rng.begin(inPlace)
		t := p.targets[rng.IntN(len(p.targets))]
		if t.what == atDistance {
			t.out = unit(rng, false)
		}
		c.Target = t.place
		c.drawPilot(rng, &t, peace)
		at := c.aimAt(rng, &t, p)
		c.back(rng, at)
		if c.fits(p) {
			return true
		}
		if rng.bred() {
			return false
		}
	}
	return false
}

// drawPilot draws the direction, the speed and the pilot.
func (c *Case) drawPilot(rng *dice, t *target, peace bool) {
	most := c.fastest()
	v := most * span(rng, 0.05, 1)
	if rng.IntN(2) == 0 {
		v = math.Min(most, 1.5) // as fast as most drive
	}
	q := Pilot{Kind: PilotKind(rng.IntN(int(PilotKinds) - 1)), Out: t.out, Speed: v, Full: 3 * most,
		After: c.warm() + duration(rng, 50*ms, 900*ms), Every: duration(rng, 60*ms, 500*ms), Swing: span(rng, 0.1, 1)}
	if peace && rng.IntN(2) == 0 {
		q.Kind = Dodge
	}
	angle := drawAngle(rng)
	vertical := t.what == atCeiling || t.what == atFloor || t.what == atHeight
	if q.Kind == Climb && !vertical || vertical && q.Kind != Surge && q.Kind != Creep {
		q.Kind = Climb
		if !vertical {
			q.Kind = Surge
		}
	}
	q.Dir = c.drawDir(rng, t, q.Kind, angle, vertical)
	if q.Kind == Creep {
		q.Speed = span(rng, 0.02, 0.2)
	}
	if q.Dir.Z != 0 {
		q.Speed = math.Min(q.Speed, c.vertically(q.Dir.Z > 0)/math.Abs(q.Dir.Z))
	}
	c.Pilot = q
}

// drawAngle is how obliquely an edge is approached, rad.
func drawAngle(rng *dice) float64 {
	switch rng.IntN(3) {
	case 0:
		return span(rng, -1.2, 1.2)
	case 1:
		return span(rng, -0.3, 0.3)
	}
	return 0
}

// drawDir is the direction a pilot keeps to.
func (c *Case) drawDir(rng *dice, t *target, k PilotKind, angle float64, vertical bool) sim.Vec {
	switch {
	case vertical:
		side := unit(rng, false)
		return norm(t.out.Add(side.Mul(span(rng, 0, 1.5))))
	case k == Along:
		return rotated(t.out, math.Copysign(span(rng, 1.35, 1.57), rng.Float64()-0.5))
	}
	d := rotated(t.out, angle)
	if c.Config.Kind == watchdog.Multirotor && rng.IntN(3) == 0 {
		d = norm(d.Add(sim.Vec{Z: span(rng, -0.6, 0.6)}))
	}
	return d
}

// fastest is the speed the pilots keep to, m/s: just below the limit, which
// would stop the vehicle before anything else does.
func (c *Case) fastest() float64 {
	if l := c.Config.Limits[watchdog.LimitSpeed]; l.On {
		return 0.98*l.Max - c.Config.Stopping.VelocityErr
	}
	return 3
}

// vertically is the same upwards (or downwards) for a vehicle that flies.
func (c *Case) vertically(up bool) float64 {
	id := watchdog.LimitDescent
	if up {
		id = watchdog.LimitClimb
	}
	most := 1.0
	if l := c.Config.Limits[id]; l.On {
		most = 0.98*l.Max - c.Config.Stopping.VelocityErr
	}
	return math.Max(most, 0.05)
}

// aimAt is the point aimed at: of the body's centre, where its edge would be on
// the line.
func (c *Case) aimAt(rng *dice, t *target, p *pen) sim.Vec {
	k := rng.Float64()
	at := sim.Vec{X: t.a[0] + k*(t.b[0]-t.a[0]), Y: t.a[1] + k*(t.b[1]-t.a[1]), Z: c.Pen.Below}
	if p.flies {
		high := t.high
		if t.what == atDistance {
			high = p.judged.Inside[0].Ceiling
		}
		at.Z = span(rng, math.Max(t.low, 0)+c.Pen.Below, math.Max(high-c.Pen.Above, c.Pen.Below+0.01))
	}
	switch t.what {
	case atDistance:
		return sim.Vec{X: t.a[0] + t.high*t.out.X, Y: t.a[1] + t.high*t.out.Y, Z: at.Z}
	case atCeiling, atFloor, atHeight:
		r := &p.judged.Inside[rng.IntN(len(p.judged.Inside))]
		if t.place.Edge == judge.Ceiling && t.out.Z < 0 {
			r = regionNamed(p.judged.Outside, t.place.Region)
		}
		m := middle(r.Outer)
		corner := r.Outer[rng.IntN(len(r.Outer))]
		f := 0.8 * rng.Float64()
		at.X, at.Y = m[0]+f*(corner[0]-m[0]), m[1]+f*(corner[1]-m[1])
		at.Z = t.high - c.Pen.Above
		if t.what == atHeight {
			at.Z = t.high
		}
		if t.what == atFloor {
			at.Z = t.low + c.Pen.Below
			if t.place.Edge == judge.Ceiling {
				at.Z = t.high + c.Pen.Below
			}
		}
		return at
	}
	return at.Sub(t.out.Mul(c.Pen.Radius))
}

func regionNamed(all []judge.Region, name string) *judge.Region {
	for i := range all {
		if all[i].Name == name {
			return &all[i]
		}
	}
	return &all[0]
}

// back goes back from the point aimed at by what the vehicle needs until rest,
// and a little more.
func (c *Case) back(rng *dice, at sim.Vec) {
	q := &c.Pilot
	s := &c.Config.Stopping
	v := q.Speed
	if rng.IntN(3) == 0 {
		v *= rng.Float64() // it is still gaining speed
	}
	lead := v * (c.warm().Seconds() + span(rng, 0.02, 0.4))
	pad := s.Margin + s.PositionErr
	need := stopping(&c.Config, v)
	if q.Kind == Along {
		at = at.Sub(q.Out.Mul(pad + span(rng, 1, 1.6)*(need-watchdog.StoppingDistance(v, reaction(&c.Config), s.Deceleration)) + 0.02))
	}
	c.At = at.Sub(q.Dir.Mul(need + lead)).Sub(q.Out.Mul(pad))
	if c.Config.Kind == watchdog.Rover {
		c.At.Z = c.Pen.Below
	}
	c.Speed = q.Dir.Mul(v)
}

// fits says whether the start is inside, and so is the way from there until
// rest: the guard would refuse it otherwise.
func (c *Case) fits(p *pen) bool {
	j, err := judge.New(c.Pen)
	if err != nil {
		return false
	}
	if c.At.Z < c.Pen.Below {
		return false
	}
	v := c.Speed.Len()
	far := watchdog.StoppingDistance(v, reaction(&c.Config)+c.warm().Seconds(), c.Config.Stopping.Deceleration)
	pad := c.Config.Stopping.Margin + c.Config.Stopping.PositionErr
	const points = 4
	for i := range points + 1 {
		at := c.At
		if v > 0 {
			at = at.Add(c.Speed.Mul(far / v * float64(i) / points))
		}
		at.Z = math.Max(at.Z, c.Pen.Below)
		if !(j.Room(at.X, at.Y, at.Z) > pad) {
			return false
		}
	}
	return true
}

func norm(v sim.Vec) sim.Vec { return v.Mul(1 / v.Len()) }

// rotated is v turned by a rad about the vertical.
func rotated(v sim.Vec, a float64) sim.Vec {
	s, c := math.Sincos(a)
	return sim.Vec{X: v.X*c - v.Y*s, Y: v.X*s + v.Y*c, Z: v.Z}
}
