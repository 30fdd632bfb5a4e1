package rehearse

import (
	"math"

	"pinfold/sim"
)

// quick is a rate that ends a turn, or a first-order lag, within a tick.
const quick = 1e6

// plant makes the vehicle of a case, where and as fast as it starts.
func (c *Case) plant() sim.Plant {
	t := &c.Truth
	body := sim.Body{Radius: c.Pen.Radius, Below: c.Pen.Below, Above: c.Pen.Above}
	switch t.Plant {
	case Differential, Steered:
		return c.rover(body)
	case Rotor:
		spec := t.Rotor
		spec.Body = body
		m := sim.NewMultirotor(spec, c.At.X, c.At.Y, 0, c.Seed, Tick)
		m.Place(c.At, c.Speed)
		return m
	}
	return sim.NewMover(sim.MoverSpec{Body: body, Acceleration: t.Gain, Braking: t.Braking, Vertical: t.Vertical,
		Landing: 0.5, Delay: t.Actuator}, c.At, c.Speed, Tick)
}

// rover is a rover whose brakes, and whose gain of speed along and across, are
// those of the case.
func (c *Case) rover(body sim.Body) sim.Plant {
	t := &c.Truth
	spec := sim.RoverSpec{Body: body, Speed: 100, Braking: t.Braking, Rolling: t.Braking, Turn: quick, TurnAccel: quick,
		Acceleration: t.Gain * math.Sqrt(1-t.Turning*t.Turning), Delay: t.Actuator}
	if t.Plant == Steered {
		spec.Wheelbase, spec.Steer = 0.4, 0.6
	}
	dir := c.Speed
	if dir.Len() == 0 {
		dir = c.Pilot.Dir
	}
	r := sim.NewRover(spec, c.At.X, c.At.Y, math.Atan2(dir.Y, dir.X), Tick)
	v := c.Speed.Flat().Len()
	r.Roll(v, sim.Control{Mode: sim.Drive, Speed: v})
	return r
}

// coast keeps the velocity of the start.
func (c *Case) coast(s *sim.State) sim.Control {
	if c.Truth.Plant >= Point {
		return sim.Control{Mode: sim.Drive, Velocity: c.Speed}
	}
	return sim.Control{Mode: sim.Drive, Speed: c.Speed.Flat().Len()}
}
