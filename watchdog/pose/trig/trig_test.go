package trig

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"
)

// The truth is summed with math/big, 300 bits, from the series of Gregory (arc
// tangent), Machin's formula for π, and Taylor (sine and cosine).
const bits = 300

func bigOf(x float64) *big.Float { return new(big.Float).SetPrec(bits).SetFloat64(x) }

func num() *big.Float { return new(big.Float).SetPrec(bits) }

// bigAtan is atan(x) for |x| <= 1.
func bigAtan(x *big.Float) *big.Float {
	x, times := num().Set(x), int64(1)
	for range 8 { // halve the angle: tan(a/2) = t / (1 + √(1+t²))
		r := num().Mul(x, x)
		r.Sqrt(r.Add(r, bigOf(1)))
		x.Quo(x, r.Add(r, bigOf(1)))
		times *= 2
	}
	sum, power, x2 := num(), num().Set(x), num().Mul(x, x)
	for k := int64(1); k < 80; k += 2 {
		term := num().Quo(power, num().SetInt64(k))
		if k%4 == 1 {
			sum.Add(sum, term)
		} else {
			sum.Sub(sum, term)
		}
		power.Mul(power, x2)
	}
	return sum.Mul(sum, num().SetInt64(times))
}

// bigPi is π by Machin: 16·atan(1/5) − 4·atan(1/239).
func bigPi() *big.Float {
	a := bigAtan(num().Quo(bigOf(1), bigOf(5)))
	b := bigAtan(num().Quo(bigOf(1), bigOf(239)))
	return num().Sub(a.Mul(a, bigOf(16)), b.Mul(b, bigOf(4)))
}

func bigAtan2(y, x float64) *big.Float {
	ay, ax := bigOf(math.Abs(y)), bigOf(math.Abs(x))
	var a *big.Float
	if ay.Cmp(ax) <= 0 {
		a = bigAtan(num().Quo(ay, ax))
	} else {
		half := num().Quo(bigPi(), bigOf(2))
		a = half.Sub(half, bigAtan(num().Quo(ax, ay)))
	}
	if x < 0 {
		a.Sub(bigPi(), a)
	}
	if y < 0 {
		a.Neg(a)
	}
	return a
}

func bigSincos(x float64) (s, c *big.Float) {
	s, c = num(), num()
	term, v := bigOf(1), bigOf(x)
	turns := num().Quo(v, num().Mul(bigPi(), bigOf(2)))
	n, _ := turns.Int(nil)
	v.Sub(v, num().Mul(num().SetInt(n), num().Mul(bigPi(), bigOf(2))))
	for k := int64(1); k < 120; k++ {
		switch k % 4 {
		case 1:
			c.Add(c, term)
		case 2:
			s.Add(s, term)
		case 3:
			c.Sub(c, term)
		case 0:
			s.Sub(s, term)
		}
		term.Mul(term, v)
		term.Quo(term, num().SetInt64(k))
	}
	return s, c
}

// ulps is how far got is from the truth, in units in the last place of truth.
func ulps(got float64, truth *big.Float) float64 {
	t, _ := truth.Float64()
	unit := math.Nextafter(math.Abs(t), math.Inf(1)) - math.Abs(t)
	d, _ := num().Sub(bigOf(got), truth).Float64()
	return math.Abs(d) / unit
}

func check(t *testing.T, what string, got float64, truth *big.Float, most float64) {
	t.Helper()
	if u := ulps(got, truth); !(u <= most) {
		v, _ := truth.Float64()
		t.Errorf("%s = %v, want %v: %.2f units in the last place off", what, got, v, u)
	}
}

// TestConstants works the constants out again.
func TestConstants(t *testing.T) {
	sum := num().Add(num().Add(bigOf(halfPi1), bigOf(halfPi2)), bigOf(halfPi3))
	if d, _ := num().Sub(sum, num().Quo(bigPi(), bigOf(2))).Float64(); math.Abs(d) > 1e-32 {
		t.Errorf("the parts of π/2 are off by %g", d)
	}
	if d, _ := num().Sub(num().Add(bigOf(piHi), bigOf(piLo)), bigPi()).Float64(); math.Abs(d) > 1e-31 || piHi != float64(math.Pi) {
		t.Errorf("the parts of π are off by %g", d)
	}
	for k := range 9 {
		hi, lo := atanOf(k)
		if d, _ := num().Sub(num().Add(bigOf(hi), bigOf(lo)), bigAtan(bigOf(float64(k)/8))).Float64(); math.Abs(d) > 1e-31 {
			t.Errorf("the parts of atan(%d/8) are off by %g", k, d)
		}
	}
}

// TestAgainstSeries holds every function against the truth, to two units in the
// last place.
func TestAgainstSeries(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for i := range 1000 {
		y, x := r.NormFloat64()*math.Pow(10, 6*r.Float64()-3), r.NormFloat64()
		if i%7 == 0 {
			x = y * (1 + 1e-9*r.NormFloat64())
		}
		check(t, "Atan2", Atan2(y, x), bigAtan2(y, x), 2)
		a := (2*r.Float64() - 1) * math.Pow(10, 5*r.Float64()-1)
		s, c := Sincos(a)
		ts, tc := bigSincos(a)
		check(t, "sin", s, ts, 2)
		check(t, "cos", c, tc, 2)
		check(t, "Tan", Tan(a), num().Quo(ts, tc), 4)
		u := 2*r.Float64() - 1
		root := num().Sub(bigOf(1), num().Mul(bigOf(u), bigOf(u)))
		root.Sqrt(root)
		v, _ := root.Float64()
		if want, _ := bigAtan2(u, v).Float64(); math.Abs(Asin(u)-want) > 4e-16 {
			t.Errorf("Asin(%v) = %v, want %v", u, Asin(u), want)
		}
	}
}

// TestCases holds the corners against package math, whose documentation lists
// them, and whole angles against what every table has.
func TestCases(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	values := []float64{0, math.Copysign(0, -1), 1, -1, 2, -2, inf, -inf, nan, math.MaxFloat64, 5e-324, 1e-310}
	for _, y := range values {
		for _, x := range values {
			if got, want := Atan2(y, x), math.Atan2(y, x); math.Abs(got-want) > 2e-16*math.Abs(want) || math.Signbit(got) != math.Signbit(want) || (got != got) != (want != want) {
				t.Errorf("Atan2(%v, %v) = %v, want %v", y, x, got, want)
			}
		}
	}
	for _, x := range []float64{inf, -inf, nan, 2 * MaxAngle} {
		if s, c := Sincos(x); s == s || c == c {
			t.Errorf("Sincos(%v) = %v, %v", x, s, c)
		}
	}
	if a := Asin(1.0000001); a == a {
		t.Errorf("Asin beyond 1 is %v", a)
	}
	for deg, want := range map[float64]float64{0: 0, 30: 0.5, 90: 1, -90: -1, 180: 0, 210: -0.5, 720: 0} {
		if s, _ := Sincos(deg * math.Pi / 180); math.Abs(s-want) > 1e-15 {
			t.Errorf("sin %v° = %v", deg, s)
		}
	}
	if Hypot(3, -4) != 5 {
		t.Errorf("Hypot(3, -4) = %v", Hypot(3, -4))
	}
}

// TestSameBits is what the package is for: a sum over all results, which must be
// this very number on every processor.
func TestSameBits(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	sum := uint64(0)
	for range 20_000 {
		y, x := 4*r.Float64()-2, 4*r.Float64()-2
		s, c := Sincos(10 * y)
		for _, v := range []float64{Atan2(y, x), s, c, Tan(x), Asin(s), Hypot(x, y)} {
			sum = sum*1099511628211 ^ math.Float64bits(v)
		}
	}
	if want := uint64(0xfe3389aa95ce12b8); sum != want {
		t.Errorf("the sum over all bits is %#x, want %#x", sum, want)
	}
}

func BenchmarkAtan2(b *testing.B) {
	x := 0.3
	for b.Loop() {
		x = Atan2(0.2, 0.5+x)
	}
}
