package pose

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r3"
)

const deg = math.Pi / 180

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.12g, want %.12g within %g", what, got, want, tolerance)
	}
}

func nearVec(t *testing.T, what string, got, want Vec, tolerance float64) {
	t.Helper()
	if !(got.Sub(want).Norm() <= tolerance) {
		t.Errorf("%s: got %v, want %v within %g", what, got, want, tolerance)
	}
}

// nearRotation compares rotations: q and −q are the same one.
func nearRotation(t *testing.T, what string, got, want Quat, tolerance float64) {
	t.Helper()
	if angle := got.Mul(want.Conj()).rotationVector().Norm(); !(angle <= tolerance) {
		t.Errorf("%s: got %v, want %v: %g rad apart", what, got, want, angle)
	}
}

// Table computed from the ZYX formula with an independent tool (yaw, pitch,
// roll in degrees → w, x, y, z → tilt in degrees).
func TestQuaternionTable(t *testing.T) {
	for _, c := range []struct {
		yaw, pitch, roll float64
		q                Quat
		tilt             float64
	}{
		{30, 20, 10, Quat{0.951548525, 0.038134576, 0.189307857, 0.239298338}, 22.268744},
		{123, 40, 30, Quat{0.510898357, -0.174281425, 0.371374488, 0.755440165}, 48.439237},
		{-60, -25, 170, Quat{0.181497929, 0.832847794, -0.502627118, 0.144184028}, 153.194043},
	} {
		q := FromEuler(c.roll*deg, c.pitch*deg, c.yaw*deg)
		nearRotation(t, "from Euler angles", q, c.q, 3e-9)
		near(t, "tilt", c.q.Tilt()/deg, c.tilt, 1e-6)
		roll, pitch, yaw := c.q.Euler()
		near(t, "roll", roll/deg, c.roll, 3e-7)
		near(t, "pitch", pitch/deg, c.pitch, 3e-7)
		near(t, "yaw", yaw/deg, c.yaw, 3e-7)
	}
	near(t, "tilt upside down", FromEuler(math.Pi, 0, 77*deg).Tilt(), math.Pi, 1e-15)
}

// scipy.spatial.transform.Rotation, documentation of from_quat: x, y, z, w =
// 0, 0, sin 45°, cos 45° is 90° about z. MathWorks, documentation of quat2eul:
// w, x, y, z = 0.7071, 0.7071, 0, 0 is a roll of 90°.
func TestPublishedQuaternions(t *testing.T) {
	q := Quat{W: math.Cos(math.Pi / 4), Z: math.Sin(math.Pi / 4)}
	near(t, "scipy yaw", q.Yaw(), math.Pi/2, 1e-15)
	near(t, "scipy tilt", q.Tilt(), 0, 0)
	nearVec(t, "scipy x to y", q.Rotate(Vec{X: 1}), Vec{Y: 1}, 1e-15)

	u, ok := Quat{0.7071, 0.7071, 0, 0}.Unit()
	if !ok {
		t.Fatal("the MathWorks quaternion is within 1 % of a unit")
	}
	roll, pitch, yaw := u.Euler()
	near(t, "MathWorks roll", roll, math.Pi/2, 1e-12)
	near(t, "MathWorks pitch", pitch, 0, 1e-12)
	near(t, "MathWorks yaw", yaw, 0, 1e-12)
}

// The traps of acos(1−2(x²+y²)), computed: it gives 0 for a tilt of 2e-9 rad,
// and 45.475° for 45° where the norm is off by 1 %.
func TestTiltTraps(t *testing.T) {
	small := Quat{W: 1, X: 1e-9}
	near(t, "small tilt", small.Tilt(), 2e-9, 1e-18)
	if trap := math.Acos(1 - 2*(small.X*small.X+small.Y*small.Y)); trap != 0 {
		t.Errorf("the trap gives %g: this check has lost its point", trap)
	}
	q := FromEuler(45*deg, 0, 0)
	off := Quat{1.01 * q.W, 1.01 * q.X, 1.01 * q.Y, 1.01 * q.Z}
	near(t, "tilt with a norm of 1.01", off.Tilt()/deg, 45, 1e-12)
	near(t, "the trap", math.Acos(1-2*(off.X*off.X+off.Y*off.Y))/deg, 45.475, 1e-3)
	near(t, "upside down less 2e-9", Quat{X: 1, W: 1e-9}.Tilt(), math.Pi-2e-9, 1e-15)
	for _, yaw := range []float64{-3, -0.1, 0, 2} {
		near(t, "tilt of a yaw", FromYaw(yaw).Tilt(), 0, 0)
	}
}

// OpenXR: right-handed, +X right, +Y up, −Z forward. Its (1,2,3) is (−3,−1,2)
// here, and +90° about +Y is a yaw of +90° (computed).
func TestOpenXRAxes(t *testing.T) {
	nearVec(t, "point", YUp.Vec(Vec{1, 2, 3}), Vec{-3, -1, 2}, 0)
	nearVec(t, "forward", YUp.Vec(Vec{Z: -1}), Vec{X: 1}, 0)
	nearVec(t, "right", YUp.Vec(Vec{X: 1}), Vec{Y: -1}, 0)
	nearVec(t, "up", YUp.Vec(Vec{Y: 1}), Vec{Z: 1}, 0)
	q := YUp.Quat(Quat{W: math.Sqrt2 / 2, Y: math.Sqrt2 / 2})
	near(t, "yaw", q.Yaw(), math.Pi/2, 1e-15)
	near(t, "tilt", q.Tilt(), 0, 0)
	near(t, "nose up about +X", YUp.Quat(Quat{W: math.Cos(0.1), X: math.Sin(0.1)}).Rotate(Vec{X: 1}).Z, math.Sin(0.2), 1e-15)
}

// REP 103: NED from ENU is (y, x, −z); optical is z forward, x right, y down.
func TestNEDAndOpticalAxes(t *testing.T) {
	nearVec(t, "north", NED.Vec(Vec{X: 1}), Vec{Y: 1}, 0)
	nearVec(t, "east", NED.Vec(Vec{Y: 1}), Vec{X: 1}, 0)
	nearVec(t, "down", NED.Vec(Vec{Z: 1}), Vec{Z: -1}, 0)
	near(t, "heading north", NED.Quat(Quat{W: 1}).Yaw(), math.Pi/2, 1e-15)
	// 90° about down from north is east, which is yaw 0.
	near(t, "heading east", NED.Quat(FromYaw(math.Pi/2)).Yaw(), 0, 1e-15)
	nearVec(t, "camera forward", Optical.Vec(Vec{Z: 1}), Vec{X: 1}, 0)
	nearVec(t, "camera right", Optical.Vec(Vec{X: 1}), Vec{Y: -1}, 0)
	nearVec(t, "camera down", Optical.Vec(Vec{Y: 1}), Vec{Z: -1}, 0)
	nearVec(t, "optical mount", OpticalMount().Rotate(Vec{Z: 1}), Vec{X: 1}, 0)
	nearVec(t, "optical mount", OpticalMount().Rotate(Vec{X: 1}), Vec{Y: -1}, 0)
}

// For every set of axes: carrying the turned vector equals turning the carried
// one, where the body's vector is carried by the body's own change of axes.
func TestAxesCommuteWithRotation(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	body := func(a Axes, v Vec) Vec {
		if a == NED { // body forward, right, down
			return Vec{v.X, -v.Y, -v.Z}
		}
		return a.Vec(v)
	}
	for range 2000 {
		q, v := randomQuat(rng), randomVec(rng)
		for a := ZUp; a <= Optical; a++ {
			nearVec(t, a.String(), a.Quat(q).Rotate(body(a, v)), a.Vec(q.Rotate(v)), 1e-14)
			near(t, a.String()+" norm", a.Quat(q).Norm(), 1, 1e-14)
		}
	}
}

func randomQuat(rng *rand.Rand) Quat {
	q := Quat{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
	n := q.Norm()
	return Quat{q.W / n, q.X / n, q.Y / n, q.Z / n}
}

func randomVec(rng *rand.Rand) Vec {
	return Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
}

// Second opinion: gonum's num/quat and spatial/r3, over random rotations.
func TestAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	number := func(q Quat) quat.Number { return quat.Number{Real: q.W, Imag: q.X, Jmag: q.Y, Kmag: q.Z} }
	for range 5000 {
		a, b, v := randomQuat(rng), randomQuat(rng), randomVec(rng)
		p := quat.Mul(number(a), number(b))
		if got := a.Mul(b); quat.Abs(quat.Sub(number(got), p)) > 1e-15 {
			t.Fatalf("product %v, gonum %v", got, p)
		}
		near(t, "norm", a.Norm(), quat.Abs(number(a)), 1e-15)
		g := r3.Rotation(number(a)).Rotate(r3.Vec{X: v.X, Y: v.Y, Z: v.Z})
		nearVec(t, "rotate", a.Rotate(v), Vec{g.X, g.Y, g.Z}, 2e-14)
		up := r3.Rotation(number(a)).Rotate(r3.Vec{Z: 1})
		near(t, "tilt", a.Tilt(), math.Atan2(math.Hypot(up.X, up.Y), up.Z), 1e-14)
		nose := r3.Rotation(number(a)).Rotate(r3.Vec{X: 1})
		near(t, "yaw", math.Remainder(a.Yaw()-math.Atan2(nose.Y, nose.X), 2*math.Pi), 0, 1e-11)
		log := quat.Log(number(a)) // half the rotation vector, the long way round perhaps
		if a.W >= 0 {
			nearVec(t, "rotation vector", a.rotationVector(), Vec{2 * log.Imag, 2 * log.Jmag, 2 * log.Kmag}, 1e-13)
		}
		w := v.Cross(Vec{1, 2, 3})
		x := r3.Cross(r3.Vec{X: v.X, Y: v.Y, Z: v.Z}, r3.Vec{X: 1, Y: 2, Z: 3})
		nearVec(t, "cross", w, Vec{x.X, x.Y, x.Z}, 1e-14)
	}
}

func TestEulerRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 5000 {
		q := randomQuat(rng)
		roll, pitch, yaw := q.Euler()
		nearRotation(t, "round trip", FromEuler(roll, pitch, yaw), q, 1e-7)
	}
	// At a pitch of ±90° the angles are not unique, but their rotation is, and
	// rounding must not make a NaN of asin.
	for _, pitch := range []float64{math.Pi / 2, -math.Pi / 2} {
		q := FromEuler(0.3, pitch, 0)
		big := Quat{q.W * 1.0000001, q.X * 1.0000001, q.Y * 1.0000001, q.Z * 1.0000001}
		if _, p, _ := big.Euler(); math.Abs(p-pitch) > 1e-3 {
			t.Errorf("pitch %v, want %v", p, pitch)
		}
	}
}

// OpenXR: a pose is invalid where the norm deviates from 1 by more than 1 %.
func TestUnit(t *testing.T) {
	for _, c := range []struct {
		norm float64
		ok   bool
	}{{1, true}, {0.9901, true}, {1.0099, true}, {0.9899, false}, {1.0101, false}, {0, false},
		{math.NaN(), false}, {math.Inf(1), false}} {
		u, ok := Quat{W: 0.6 * c.norm, Y: 0.8 * c.norm}.Unit()
		if ok != c.ok {
			t.Errorf("norm %v: ok %v", c.norm, ok)
		}
		if ok {
			near(t, "norm", u.Norm(), 1, 1e-15)
		}
	}
	rng := rand.New(rand.NewPCG(9, 10))
	for range 20000 {
		q := randomQuat(rng)
		k := 1 + 0.0099*(2*rng.Float64()-1)
		once, _ := Quat{k * q.W, k * q.X, k * q.Y, k * q.Z}.Unit()
		if twice, ok := once.Unit(); !ok || twice != once {
			t.Fatalf("Unit of %v changes it to %v", once, twice)
		}
	}
}

func TestAxesWords(t *testing.T) {
	for a := ZUp; a <= Optical; a++ {
		if got, err := ParseAxes(a.String()); err != nil || got != a {
			t.Errorf("%v: %v, %v", a, got, err)
		}
	}
	for _, word := range []string{"", "Z-up", "unknown", "enu"} {
		if _, err := ParseAxes(word); err == nil {
			t.Errorf("%q is taken", word)
		}
	}
}
