package sim

import (
	"math"
	"time"
)

// MoverSpec is what a declaration promises of a vehicle, and no better: a body
// that gains speed in any direction at Acceleration while it drives, and that
// once told to halt goes on for Delay and then brakes at exactly Braking,
// against its direction of motion, and at exactly Vertical upwards or
// downwards. It brakes as hard where the pilot asks for a way that is not on.
type MoverSpec struct {
	Body         Body
	Acceleration float64       // m/s², most change of the velocity over the floor, any direction; upwards and downwards as well
	Braking      float64       // m/s², over the floor
	Vertical     float64       // m/s², upwards and downwards
	Landing      float64       // m/s, descent of a landing
	Delay        time.Duration // from a Control to the motion
}

// Mover is a point mass that flies as its spec says. It is the worst vehicle
// that a declared stop still allows; how a real one comes to those figures is
// the Multirotor's business.
type Mover struct {
	spec  MoverSpec
	lag   delay
	state State
}

// NewMover puts a Mover at p, moving at v (m, m/s, site frame). dt is the step
// it will be given.
func NewMover(spec MoverSpec, p, v Vec, dt time.Duration) *Mover {
	m := &Mover{spec: spec, lag: newDelay(spec.Delay, dt)}
	m.lag.fill(Control{Mode: Drive, Velocity: v})
	m.state = State{Position: p, Velocity: v, Orientation: Yawed(0)}
	return m
}

// State is the truth now.
func (m *Mover) State() State { return m.state }

// Body is the room it fills.
func (m *Mover) Body() Body { return m.spec.Body }

// Step advances the body by dt: exact for an acceleration that is constant over
// the step.
func (m *Mover) Step(dt time.Duration, c Control) State {
	h := dt.Seconds()
	c = m.lag.push(c)
	flat, up := Vec{}, 0.0
	rate, climb := m.spec.Braking, m.spec.Vertical
	switch c.Mode {
	case Drive:
		if w := c.Velocity.Flat(); w.dot(m.state.Velocity) > 0 || m.state.Velocity.Flat() == (Vec{}) {
			flat, rate = w, m.spec.Acceleration
		}
		if w := c.Velocity.Z; w*m.state.Velocity.Z > 0 || m.state.Velocity.Z == 0 {
			up, climb = w, m.spec.Acceleration
		}
	case Land:
		up = -m.spec.Landing
	}
	s := &m.state
	before := s.Velocity
	now := before.Flat()
	v := now.Add(flat.Sub(now).Clip(float64(rate * h)))
	v.Z = towards(before.Z, up, float64(climb*h))
	step := before.Add(v).Mul(h / 2)
	s.Position = s.Position.Add(step)
	if s.Grounded = s.Position.Z <= m.spec.Body.Below && v.Z <= 0; s.Grounded {
		s.Impact = math.Max(s.Impact, -v.Z)
		s.Position.Z, v.Z = m.spec.Body.Below, 0
	}
	s.Acceleration = v.Sub(before).Mul(1 / h)
	s.Velocity = v
	s.Travelled += step.Len()
	return *s
}
