package sim

import "math"

// This file is the multirotor's own controller: what it wants of its motors.

// reckon keeps the error of the vehicle's own velocity: none while it has a
// good pose, growing evenly while it is blind.
func (m *Multirotor) reckon(c Control, h float64) {
	if !c.Blind {
		m.bias = Vec{}
		return
	}
	m.bias = m.bias.Add(m.drift.Mul(h))
}

// wanted is the thrust vector per mass that c asks for, m/s², site frame. Its
// vertical part never falls below 3 m/s², so that the vehicle keeps the power
// to steer.
func (m *Multirotor) wanted(c Control) Vec {
	m.settle(c)
	v := m.state.Velocity.Add(m.bias)
	target, most := m.target(c, v), m.spec.Brake
	if c.Mode == Drive {
		most = m.spec.Tilt
	}
	up := clamp(Gravity+m.spec.Lift*(target.Z-v.Z), 3, m.spec.Thrust)
	if c.Mode == Lean {
		lean := c.Lean.Flat().Clip(m.spec.Tilt)
		f := lean.Mul(up * math.Tan(lean.Len()) / math.Max(lean.Len(), 1e-12))
		return Vec{f.X, f.Y, up}
	}
	flat := target.Sub(v).Flat().Mul(m.spec.Gain).Add(v.Flat().Mul(m.spec.Drag))
	flat = flat.Clip(up * math.Tan(most))
	return Vec{flat.X, flat.Y, up}
}

// target is the velocity the vehicle steers for, m/s.
func (m *Multirotor) target(c Control, v Vec) Vec {
	switch c.Mode {
	case Drive:
		t := c.Velocity.Flat().Clip(m.spec.Speed)
		t.Z = clamp(c.Velocity.Z, -m.spec.Descent, m.spec.Climb)
		return t
	case Lean:
		return Vec{Z: clamp(c.Velocity.Z, -m.spec.Descent, m.spec.Climb)}
	}
	t := m.stay(c, v)
	if c.Mode == Land {
		t.Z = -m.spec.Landing
	}
	return t
}

// stay is the velocity that keeps a hover where it came to rest. A blind
// vehicle does not know where it is, and only brakes.
func (m *Multirotor) stay(c Control, v Vec) Vec {
	if c.Blind {
		m.holds = false
		return Vec{}
	}
	if !m.holds && v.Flat().Len() < 0.1 && (math.Abs(v.Z) < 0.1 || c.Mode == Land) {
		m.holds, m.hold = true, m.state.Position
	}
	if !m.holds {
		return Vec{}
	}
	return m.hold.Sub(m.state.Position).Mul(positionGain).Clip(0.3)
}

// settle decides whether the motors run: off once landed, on again when the
// pilot asks to climb.
func (m *Multirotor) settle(c Control) {
	switch {
	case c.Mode == Drive || c.Mode == Lean:
		m.holds = false
		if c.Velocity.Z > 0 {
			m.parked = false
		}
	case m.state.Grounded:
		m.parked = true
	}
}
