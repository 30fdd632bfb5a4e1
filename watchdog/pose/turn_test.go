package pose

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
	"time"
)

// A rotation vector is the axis times the angle, on both sides of where the series
// ends and up to half a turn: against an angle that math/big halves the error of.
func TestRotationVectorAgainstItsAngle(t *testing.T) {
	rng := rand.New(rand.NewPCG(51, 52))
	for i := range 20_000 {
		angle := math.Pi * math.Pow(10, -9*rng.Float64())
		if i%4 == 0 {
			angle = 0.1 + 1e-3*rng.NormFloat64() // where the series ends
		}
		axis := Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
		axis = axis.Scale(1 / axis.Norm())
		s, c := math.Sincos(angle / 2)
		q := Quat{W: c, X: s * axis.X, Y: s * axis.Y, Z: s * axis.Z}
		if i%2 == 0 {
			q = Quat{-q.W, -q.X, -q.Y, -q.Z} // the same rotation
		}
		nearVec(t, "turn", q.rotationVector(), axis.Scale(angle), 4e-16+4e-16*angle)
	}
	if got := (Quat{W: 1}).rotationVector(); got != (Vec{}) {
		t.Errorf("no turn is %v", got)
	}
}

// The series against as many more of its terms as make no difference, in 200 bits.
func TestAsinRestAgainstBigSums(t *testing.T) {
	for _, s2 := range []float64{0, 1e-12, 1e-6, 1e-4, 1e-3, 1. / 400} {
		x := new(big.Float).SetPrec(200).SetFloat64(s2)
		sum, power := new(big.Float).SetPrec(200), big.NewFloat(1).SetPrec(200)
		c := big.NewRat(1, 1) // (2n)! / (4ⁿ n!²)
		for n := int64(1); n < 30; n++ {
			c.Mul(c, big.NewRat(2*n-1, 2*n))
			term := new(big.Float).SetPrec(200).SetRat(new(big.Rat).Mul(c, big.NewRat(2, 2*n+1)))
			sum.Add(sum, term.Mul(term, power))
			power.Mul(power, x)
		}
		want, _ := sum.Float64()
		if got := asinRest(s2); math.Abs(got-want)*s2 > 1e-16 {
			t.Errorf("%g: %g, want %g", s2, got, want)
		}
	}
}

// The tilt of a lean by any angle, from a full precision near zero to upside down.
func TestTiltOfEveryLean(t *testing.T) {
	for _, lean := range []float64{0, 1e-12, 1e-6, 0.01, 0.124, 0.126, 0.5, 1.5, math.Pi / 2, 1.6, 3, math.Pi} {
		for _, yaw := range []float64{0, 1, -3} {
			q := FromYaw(yaw).Mul(FromEuler(lean, 0, 0))
			near(t, "tilt", q.Tilt(), lean, 1e-15)
		}
	}
}

// One attitude that is up to half a turn off, about any axis, leaves the rate of
// turn alone, also while it is the newest: a wrong one between two good ones takes
// nothing away and adds nothing.
func TestTurnRatePassesOverABadAttitude(t *testing.T) {
	rng := rand.New(rand.NewPCG(53, 54))
	for range 300 {
		axis := Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
		axis = axis.Scale(1 / axis.Norm())
		s, c := math.Sincos((0.02 + 3.12*rng.Float64()) / 2)
		off := Quat{W: c, X: s * axis.X, Y: s * axis.Y, Z: s * axis.Z}
		rate, bad := rng.NormFloat64(), 15+rng.IntN(10)
		track := newTrack(t, plain())
		for i := range 40 {
			now := time.Duration(i) * 5 * ms
			smp := at(now, 0)
			smp.Orientation = FromYaw(rate * now.Seconds()).Mul(FromEuler(1e-4*rng.NormFloat64(), 1e-4*rng.NormFloat64(), 0))
			if i == bad {
				smp.Orientation = smp.Orientation.Mul(off)
			}
			p := accept(t, track, smp, now)
			if p.HasTurnRate && math.Abs(p.TurnRate-rate) > 0.003+0.02*math.Abs(rate) {
				t.Fatalf("turning at %g rad/s, told as %g at sample %d, the bad one is %d", rate, p.TurnRate, i, bad)
			}
		}
	}
}

// A body turns by the sum of its small turns, whatever its attitude, also where each
// of them is more than what a bad attitude is known by.
func TestTurnRateOfATumble(t *testing.T) {
	for _, c := range []struct {
		rate  float64
		every time.Duration
	}{{3, 5 * ms}, {-8, 33 * ms}, {30, 33 * ms}, {15, 20 * ms}} {
		track := newTrack(t, plain())
		for i := range 200 {
			now := time.Duration(i) * c.every
			smp := at(now, 0)
			smp.Orientation = FromYaw(c.rate * now.Seconds()).Mul(FromEuler(0.4, -0.3, 0.2))
			if p := accept(t, track, smp, now); p.HasTurnRate {
				near(t, "turn rate", p.TurnRate, c.rate, 1e-9)
			}
		}
	}
}
