package sim

import "math"

// Vec is a vector in the frame and unit that its user names.
type Vec struct{ X, Y, Z float64 }

// Add is a + b.
func (a Vec) Add(b Vec) Vec { return Vec{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }

// Sub is a - b.
func (a Vec) Sub(b Vec) Vec { return Vec{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }

// Mul is s times a.
func (a Vec) Mul(s float64) Vec { return Vec{a.X * s, a.Y * s, a.Z * s} }

// Flat is a without its vertical part.
func (a Vec) Flat() Vec { return Vec{a.X, a.Y, 0} }

// dot is the scalar product.
func (a Vec) dot(b Vec) float64 { return a.X*b.X + a.Y*b.Y + a.Z*b.Z }

// Len is the Euclidean length.
func (a Vec) Len() float64 { return math.Sqrt(a.X*a.X + a.Y*a.Y + a.Z*a.Z) }

// Clip is a, shortened to length most where it is longer.
func (a Vec) Clip(most float64) Vec {
	l := a.Len()
	if l <= most || l == 0 {
		return a
	}
	return a.Mul(most / l)
}

// Quat is a Hamilton quaternion, body to world, w first.
type Quat struct{ W, X, Y, Z float64 }

// Mul is the Hamilton product: the rotation b, then the rotation q.
func (q Quat) Mul(b Quat) Quat {
	return Quat{
		q.W*b.W - q.X*b.X - q.Y*b.Y - q.Z*b.Z,
		q.W*b.X + q.X*b.W + q.Y*b.Z - q.Z*b.Y,
		q.W*b.Y - q.X*b.Z + q.Y*b.W + q.Z*b.X,
		q.W*b.Z + q.X*b.Y - q.Y*b.X + q.Z*b.W,
	}
}

// about is the rotation by angle rad about a unit axis.
func about(axis Vec, angle float64) Quat {
	s, c := math.Sincos(angle / 2)
	return Quat{c, axis.X * s, axis.Y * s, axis.Z * s}
}

// Yawed is the attitude of a level body heading yaw rad, counter-clockwise
// from x seen from above.
func Yawed(yaw float64) Quat { return about(Vec{Z: 1}, yaw) }

// Leaning is the attitude of a body that heads yaw rad and whose up axis leans
// by the length of lean (rad) towards the direction of lean, world frame.
func Leaning(lean Vec, yaw float64) Quat {
	t := lean.Flat().Len()
	if t == 0 {
		return Yawed(yaw)
	}
	return about(Vec{-lean.Y / t, lean.X / t, 0}, t).Mul(Yawed(yaw))
}

// Up is the body's up axis in the world.
func (q Quat) Up() Vec {
	return Vec{
		2 * (q.X*q.Z + q.W*q.Y),
		2 * (q.Y*q.Z - q.W*q.X),
		1 - 2*(q.X*q.X+q.Y*q.Y),
	}
}

// Tilt is the angle between the body's up axis and the vertical, rad, 0..π.
// The two-argument form keeps small angles (REFERENCES: acos does not).
func (q Quat) Tilt() float64 {
	return 2 * math.Atan2(math.Hypot(q.X, q.Y), math.Hypot(q.W, q.Z))
}

// wrap brings an angle into -π..π.
func wrap(a float64) float64 {
	if math.Abs(a) < math.Pi {
		return a // what the remainder is
	}
	return math.Remainder(a, 2*math.Pi)
}

// clamp is x held within lo..hi; NaN becomes lo.
func clamp(x, lo, hi float64) float64 {
	if !(x > lo) {
		return lo
	}
	if x > hi {
		return hi
	}
	return x
}
