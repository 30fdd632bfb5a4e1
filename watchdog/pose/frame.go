package pose

import "math"

// checkSample refuses what no decoder lets through, so that a Sample from
// anywhere else is held to the same gate.
func checkSample(s *Sample) *Fault {
	// No number that is not finite lies within anything. The norm's square is well
	// within what its tolerance leaves.
	if n2 := s.Orientation.norm2(); s.Stamp >= 0 && s.Position.within(MaxCoordinate) && (!s.HasVelocity || s.Velocity.within(MaxSpeed)) &&
		(!s.HasConfidence || s.Confidence >= 0 && s.Confidence <= 1) && math.Abs(n2-1) <= unitTolerance {
		return nil
	}
	switch {
	case s.Stamp < 0:
		return &Fault{Kind: OutOfRange, Detail: "stamp before zero"}
	case !s.Position.Finite() || !s.Orientation.Finite() || s.HasVelocity && !s.Velocity.Finite() ||
		s.HasConfidence && !finite(s.Confidence):
		return &Fault{Kind: NotFinite, Detail: "a number of the sample is not finite"}
	case !s.Position.within(MaxCoordinate):
		return &Fault{Kind: OutOfRange, Detail: "position beyond ±1e6 m"}
	case s.HasVelocity && !s.Velocity.within(MaxSpeed):
		return &Fault{Kind: OutOfRange, Detail: "velocity beyond ±1e4 m/s"}
	case s.HasConfidence && !(s.Confidence >= 0 && s.Confidence <= 1):
		return &Fault{Kind: OutOfRange, Detail: "confidence " + floatDetail(s.Confidence)}
	case !(math.Abs(s.Orientation.Norm()-1) <= unitTolerance):
		return &Fault{Kind: NotUnit, Detail: "norm " + floatDetail(s.Orientation.Norm())}
	}
	return nil
}

// place carries a checked sample into the site frame: axes, mounting,
// alignment. The velocity, where there is one, is still that of the tracker,
// not of the body's centre.
func (c *Config) place(s *Sample, e *entry) {
	r := &c.Align.Rotation
	q, _ := s.Orientation.Unit()
	e.stamp = s.Stamp
	e.attitude = r.Mul(c.Axes.Quat(q)).Mul(c.Mount.Rotation.Conj())
	e.position = r.Rotate(c.Axes.Vec(s.Position)).Add(c.Align.Translation)
	if c.Mount.Offset != (Vec{}) {
		e.position = e.position.Sub(e.attitude.Rotate(c.Mount.Offset))
	}
	e.given, e.hasGiven = Vec{}, s.HasVelocity
	if s.HasVelocity {
		e.given = r.Rotate(c.Axes.Vec(s.Velocity))
	}
}
