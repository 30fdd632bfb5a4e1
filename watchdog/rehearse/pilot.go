package rehearse

import (
	"math"
	"time"

	"pinfold/sim"
)

// PilotKind is how a pilot tries to leave.
type PilotKind uint8

// The pilots. Each knows the pen, and the moment a stop is called, before the
// vehicle does: none can be worse.
const (
	Straight PilotKind = iota // keeps to its direction
	Surge                     // and asks for all there is, outwards, once a stop is called
	Along                     // along an edge, then into it
	Zigzag                    // swings about its direction
	Creep                     // slowly
	Climb                     // up or down, and on
	Dodge                     // turns back late: a good pilot
	PilotKinds
)

// String gives the pilot's word.
func (k PilotKind) String() string {
	return word(int(k), "straight", "surge", "along", "zigzag", "creep", "climb", "dodge")
}

// Pilot asks for velocities.
type Pilot struct {
	Kind  PilotKind
	Dir   sim.Vec // unit, site frame: where it wants to go
	Out   sim.Vec // unit: outwards, at what it aims at
	Speed float64 // m/s
	Full  float64 // m/s, full stick
	After time.Duration
	Every time.Duration
	Swing float64 // rad
}

// dodgeFor is how long a good pilot drives back before it stands.
const dodgeFor = time.Second

// want is the velocity asked for, m/s, t after the beginning; called says since
// when a stop has been called, negative where none is.
func (p *Pilot) want(t, called time.Duration) sim.Vec {
	on := p.Dir.Mul(p.Speed)
	late := called >= 0 && t >= called
	switch p.Kind {
	case Surge:
		if late {
			return p.Dir.Add(p.Out).Mul(p.Full)
		}
	case Along:
		if late || t >= p.After {
			return p.Out.Mul(p.Full)
		}
	case Zigzag:
		a := p.Swing
		if (t/p.Every)%2 == 1 {
			a = -a
		}
		s, c := math.Sincos(a)
		return sim.Vec{X: on.X*c - on.Y*s, Y: on.X*s + on.Y*c, Z: on.Z}
	case Climb:
		if late {
			return on.Add(p.Out.Mul(p.Full))
		}
	case Dodge:
		if t >= p.After+dodgeFor {
			return sim.Vec{}
		}
		if t >= p.After {
			return on.Mul(-1)
		}
	}
	return on
}

// headed says whether the pilot keeps straight at what it aims at, within 25°.
func (c *Case) headed() bool {
	d, o := c.Pilot.Dir, c.Pilot.Out
	return c.Pilot.Kind == Straight && d.X*o.X+d.Y*o.Y+d.Z*o.Z > 0.9
}

// control makes of a wish what the plant is told.
func (c *Case) control(s *sim.State, t, called time.Duration) sim.Control {
	return c.follow(s, c.Pilot.want(t, called))
}

// follow makes of a velocity asked for what the plant is told.
func (c *Case) follow(s *sim.State, w sim.Vec) sim.Control {
	if c.Truth.Plant >= Point {
		return sim.Control{Mode: sim.Drive, Velocity: w}
	}
	return c.steer(s, w)
}

// lookAhead is how soon a rover wants to head where it is asked to, s.
const lookAhead = 0.1

// steer turns a rover towards w, by no more than its share of what it may gain.
func (c *Case) steer(s *sim.State, w sim.Vec) sim.Control {
	head := sim.Vec{X: 1 - 2*s.Orientation.Z*s.Orientation.Z, Y: 2 * s.Orientation.W * s.Orientation.Z}
	v := head.X*s.Velocity.X + head.Y*s.Velocity.Y
	ahead, aside := w.X*head.X+w.Y*head.Y, w.Y*head.X-w.X*head.Y
	o := sim.Control{Mode: sim.Drive}
	if ahead > 0 || v > 0.3 {
		o.Speed = math.Max(ahead, 0.3*w.Len())
		if aside != 0 || ahead < 0 {
			o.Turn = math.Atan2(aside, ahead) / lookAhead
		}
	} else {
		o.Speed = ahead // backwards is nearer
	}
	// The turn takes effect after the dead time, and the vehicle may be faster then.
	then := math.Abs(v) + c.Truth.Gain*(c.Truth.Actuator+Tick).Seconds()
	if most := c.Truth.Turning * c.Truth.Gain / math.Max(then, 0.05); math.Abs(o.Turn) > most {
		o.Turn = math.Copysign(most, o.Turn)
	}
	return o
}
