package pose

import (
	"math"

	"pinfold/watchdog/pose/trig"
)

// Vec is a vector in metres, or metres per second; the field's name says which.
type Vec struct{ X, Y, Z float64 }

// Add is a + b.
func (a Vec) Add(b Vec) Vec { return Vec{a.X + b.X, a.Y + b.Y, a.Z + b.Z} }

// Sub is a - b.
func (a Vec) Sub(b Vec) Vec { return Vec{a.X - b.X, a.Y - b.Y, a.Z - b.Z} }

// Scale is k·a.
func (a Vec) Scale(k float64) Vec { return Vec{float64(k * a.X), float64(k * a.Y), float64(k * a.Z)} }

// Dot is the scalar product.
func (a Vec) Dot(b Vec) float64 { return float64(a.X*b.X) + float64(a.Y*b.Y) + float64(a.Z*b.Z) }

// Cross is the vector product, right-handed.
func (a Vec) Cross(b Vec) Vec {
	return Vec{
		float64(a.Y*b.Z) - float64(a.Z*b.Y),
		float64(a.Z*b.X) - float64(a.X*b.Z),
		float64(a.X*b.Y) - float64(a.Y*b.X),
	}
}

// Norm is the length of a, in a's unit.
func (a Vec) Norm() float64 { return math.Sqrt(a.Dot(a)) }

// finite reports whether x is neither NaN nor infinite. x-x is NaN for both.
func finite(x float64) bool { return x-x == 0 }

// Finite reports whether every component is finite.
func (a Vec) Finite() bool { return finite(a.X) && finite(a.Y) && finite(a.Z) }

// within reports whether every component lies in [-limit, limit]; false for NaN.
func (a Vec) within(limit float64) bool {
	return math.Abs(a.X) <= limit && math.Abs(a.Y) <= limit && math.Abs(a.Z) <= limit
}

// Quat is a Hamilton quaternion, body to world.
type Quat struct{ W, X, Y, Z float64 }

// Mul is the product a·b: first the rotation b, then the rotation a.
func (a Quat) Mul(b Quat) Quat {
	return Quat{
		float64(a.W*b.W) - float64(a.X*b.X) - float64(a.Y*b.Y) - float64(a.Z*b.Z),
		float64(a.W*b.X) + float64(a.X*b.W) + float64(a.Y*b.Z) - float64(a.Z*b.Y),
		float64(a.W*b.Y) - float64(a.X*b.Z) + float64(a.Y*b.W) + float64(a.Z*b.X),
		float64(a.W*b.Z) + float64(a.X*b.Y) - float64(a.Y*b.X) + float64(a.Z*b.W),
	}
}

// Conj is the conjugate: for a unit quaternion, the inverse rotation.
func (a Quat) Conj() Quat { return Quat{a.W, -a.X, -a.Y, -a.Z} }

// Norm is the quaternion's length, 1 for a rotation.
func (a Quat) Norm() float64 { return math.Sqrt(a.norm2()) }

// norm2 is the square of Norm.
func (a Quat) norm2() float64 {
	return float64(a.W*a.W) + float64(a.X*a.X) + float64(a.Y*a.Y) + float64(a.Z*a.Z)
}

// Finite reports whether every component is finite.
func (a Quat) Finite() bool {
	return finite(a.W) && finite(a.X) && finite(a.Y) && finite(a.Z)
}

// unitTolerance is how far a norm may be from 1: OpenXR calls a pose invalid
// beyond 1 %.
const unitTolerance = 0.01

// unitRounding is how far rounding alone may leave a normalised quaternion's
// computed norm from 1: under twelve units of 1.1e-16, doubled.
const unitRounding = 3e-15

// Unit normalises a, and reports whether a was finite and within 1 % of unit
// length to begin with. What is a unit quaternion up to rounding comes back as
// it is: Unit of a Unit changes no bit, so a sample can be written and read.
func (a Quat) Unit() (Quat, bool) {
	n2 := a.norm2()
	if math.Abs(n2-1) <= unitRounding { // and its root the more so
		return a, true
	}
	n := math.Sqrt(n2)
	if !(math.Abs(n-1) <= unitTolerance) {
		return Quat{}, false
	}
	if math.Abs(n-1) <= unitRounding {
		return a, true
	}
	return Quat{a.W / n, a.X / n, a.Y / n, a.Z / n}, true
}

// Rotate carries v by the unit quaternion a.
func (a Quat) Rotate(v Vec) Vec {
	u := Vec{a.X, a.Y, a.Z}
	t := u.Cross(v).Scale(2)
	return v.Add(t.Scale(a.W)).Add(u.Cross(t))
}

// Tilt is the angle between the body's up axis and the world's, rad, 0..π.
//
// It is 2·atan2(√(x²+y²), √(w²+z²)), which does not depend on the norm and
// keeps full precision near 0 and π; acos(1−2(x²+y²)) does neither.
func (a Quat) Tilt() float64 {
	lean, up := float64(a.X*a.X)+float64(a.Y*a.Y), float64(a.W*a.W)+float64(a.Z*a.Z)
	if lean < up {
		return 2 * trig.Atan(math.Sqrt(lean/up))
	}
	return 2 * trig.Atan2(math.Sqrt(lean), math.Sqrt(up))
}

// Euler is roll, pitch and yaw of the unit quaternion a, rad: rotations about
// z, then the new y, then the new x (Diebel 2006, sequence 1-2-3). At a pitch
// of ±π/2 roll and yaw are not unique.
func (a Quat) Euler() (roll, pitch, yaw float64) {
	w, x, y, z := a.W, a.X, a.Y, a.Z
	roll = trig.Atan2(2*(float64(w*x)+float64(y*z)), float64(w*w)-float64(x*x)-float64(y*y)+float64(z*z))
	s := 2 * (float64(w*y) - float64(z*x))
	if s > 1 {
		s = 1
	}
	if s < -1 {
		s = -1
	}
	return roll, trig.Asin(s), a.Yaw()
}

// Yaw is the heading, rad, counter-clockwise from world x to the body's x axis
// seen from above; it does not depend on the norm, and is not defined where
// the body's x axis is vertical.
func (a Quat) Yaw() float64 {
	w, x, y, z := a.W, a.X, a.Y, a.Z
	return trig.Atan2(2*(float64(w*z)+float64(x*y)), float64(w*w)+float64(x*x)-float64(y*y)-float64(z*z))
}

// FromEuler is the unit quaternion with the given roll, pitch and yaw, rad.
func FromEuler(roll, pitch, yaw float64) Quat {
	sr, cr := trig.Sincos(roll / 2)
	sp, cp := trig.Sincos(pitch / 2)
	sy, cy := trig.Sincos(yaw / 2)
	return Quat{
		float64(cr*cp*cy) + float64(sr*sp*sy),
		float64(sr*cp*cy) - float64(cr*sp*sy),
		float64(cr*sp*cy) + float64(sr*cp*sy),
		float64(cr*cp*sy) - float64(sr*sp*cy),
	}
}

// FromYaw is the rotation by yaw, rad, about the vertical.
func FromYaw(yaw float64) Quat {
	s, c := trig.Sincos(yaw / 2)
	return Quat{W: c, Z: s}
}

// rotationVector is the axis of the unit quaternion a times its angle, rad,
// taken the short way round (0..π).
func (a Quat) rotationVector() Vec {
	if a.W < 0 {
		a = Quat{-a.W, -a.X, -a.Y, -a.Z}
	}
	u := Vec{a.X, a.Y, a.Z}
	if s2 := u.Dot(u); s2 < 1./400 {
		return u.Scale(2 + float64(s2*asinRest(s2)))
	}
	s := u.Norm()
	if s < a.W {
		return u.Scale(2 * trig.Atan(s/a.W) / s)
	}
	return u.Scale(2 * trig.Atan2(s, a.W) / s)
}

// asinRest is 2·(asin(s) - s)/s³ of the square s2 of s, by the series of asin, for
// s up to 1/20, half a turn of a tenth of a radian: what is left out is below 1e-17.
func asinRest(s2 float64) float64 {
	s := float64(63./1408*s2) + 35./576
	s = float64(s*s2) + 5./56
	s = float64(s*s2) + 3./20
	return float64(s*s2) + 1./3
}
