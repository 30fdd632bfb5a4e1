package trig

import "math"

// Parts of numbers that no float64 holds: the sum of the parts is the number to
// more than a hundred bits (trig_test.go works them out again).
const (
	halfPi1 = 0x1.921fb54400000p+0  // π/2, its first 33 bits
	halfPi2 = 0x1.0b4611a600000p-34 // the next 33
	halfPi3 = 0x1.3198a2e037073p-69 // the rest
	piHi    = 0x1.921fb54442d18p+1
	piLo    = 0x1.1a62633145c07p-53
)

// atanOf gives the arc tangent of k/8, for k from 0 to 8, in two parts. Not a
// table: one that is no package variable is copied anew by every call.
func atanOf(k int) (hi, lo float64) {
	switch k {
	case 0:
		return 0, 0
	case 1:
		return 0x1.fd5ba9aac2f6ep-4, -0x1.cd37686760c17p-59
	case 2:
		return 0x1.f5b75f92c80ddp-3, 0x1.8ab6e3cf7afbdp-57
	case 3:
		return 0x1.6f61941e4def1p-2, -0x1.c63aae6f6e918p-56
	case 4:
		return 0x1.dac670561bb4fp-2, 0x1.a2b7f222f65e2p-56
	case 5:
		return 0x1.1e00babdefeb4p-1, -0x1.928df287a668fp-58
	case 6:
		return 0x1.4978fa3269ee1p-1, 0x1.2419a87f2a458p-56
	case 7:
		return 0x1.700a7c5784634p-1, -0x1.8c34d25aadef6p-56
	case 8:
		return 0x1.921fb54442d18p-1, 0x1.1a62633145c07p-55
	}
	return math.NaN(), math.NaN()
}

// series sums c[0] + x·c[1] + x²·c[2] … by Horner's rule.
func series(x float64, c []float64) (s float64) {
	for i := len(c) - 1; i >= 0; i-- {
		s = float64(s*x) + c[i]
	}
	return s
}

// atanSmall is atan(t) - t for |t| <= 1/15, by the series of atan.
func atanSmall(t float64) float64 {
	t2 := float64(t * t)
	s := float64(1./13*t2) - 1./11
	s = float64(s*t2) + 1./9
	s = float64(s*t2) - 1./7
	s = float64(s*t2) + 1./5
	s = float64(s*t2) - 1./3
	return float64(float64(t*t2) * s)
}

// atanParts is atan(x), for x from 0 to 1, in two parts.
func atanParts(x float64) (hi, lo float64) {
	k := int(float64(x*8) + 0.5)
	if k == 0 {
		return 0, x + atanSmall(x)
	}
	c := float64(float64(k) / 8)
	t := (x - c) / (1 + float64(x*c))
	hi, lo = atanOf(k)
	return hi, lo + (t + atanSmall(t))
}

// Atan is the arc tangent of x, rad, for x from 0 to 1: what Atan2 gives of a
// point in that eighth of the plane.
func Atan(x float64) float64 {
	if float64(x*8)+0.5 < 1 { // what atanParts gives of it, without the call
		return x + atanSmall(x)
	}
	hi, lo := atanParts(x)
	return hi + lo
}

// Atan2 is the angle of the point (x, y), rad, from -π to π, with the signs and
// special cases of math.Atan2.
func Atan2(y, x float64) float64 {
	if !(math.Abs(y) <= math.MaxFloat64 && math.Abs(x) <= math.MaxFloat64) || x == 0 || y == 0 {
		return math.Atan2(y, x) // exact multiples of π/4, rounded, or NaN: the same everywhere
	}
	ax, ay := math.Abs(x), math.Abs(y)
	var hi, lo float64
	if ay <= ax {
		hi, lo = atanParts(ay / ax)
	} else {
		hi, lo = atanParts(ax / ay)
		hi, lo = piHi/2-hi, piLo/2-lo
	}
	if x < 0 {
		hi, lo = piHi-hi, piLo-lo
	}
	return math.Copysign(hi+lo, y)
}

// Asin is the arc sine of x, rad; NaN for |x| > 1.
func Asin(x float64) float64 { return Atan2(x, math.Sqrt(float64((1-x)*(1+x)))) }

// Sincos is the sine and cosine of x, rad, for |x| up to MaxAngle; NaN beyond.
func Sincos(x float64) (sin, cos float64) {
	if !(math.Abs(x) <= MaxAngle) {
		return math.NaN(), math.NaN()
	}
	k := math.Floor(float64(x/(math.Pi/2)) + 0.5)
	r := x - float64(k*halfPi1)
	hi := r - float64(k*halfPi2)
	lo := (r - hi) - float64(k*halfPi2) - float64(k*halfPi3)
	s, c := sincosSmall(hi, lo)
	switch int64(k) & 3 {
	case 0:
		return s, c
	case 1:
		return c, -s
	case 2:
		return -s, -c
	}
	return -c, s
}

// sincosSmall is the sine and cosine of hi + lo, for |hi| <= π/4 and a tiny lo.
func sincosSmall(hi, lo float64) (sin, cos float64) {
	x2 := float64(hi * hi)
	sc := [...]float64{-1. / 6, 1. / 120, -1. / 5040, 1. / 362880, -1. / 39916800, 1. / 6227020800, -1. / 1307674368000, 1. / 355687428096000}
	cc := [...]float64{1. / 24, -1. / 720, 1. / 40320, -1. / 3628800, 1. / 479001600, -1. / 87178291200, 1. / 20922789888000}
	half := float64(0.5 * x2)
	cos = 1 - half
	cos += ((1 - cos) - half) + (float64(float64(x2*x2)*series(x2, cc[:])) - float64(hi*lo))
	sin = hi + (float64(float64(hi*x2)*series(x2, sc[:])) + float64(lo*(1-half)))
	return sin, cos
}

// Tan is the tangent of x, rad, for |x| up to MaxAngle; NaN beyond.
func Tan(x float64) float64 {
	s, c := Sincos(x)
	return s / c
}

// Hypot is √(x²+y²). Unlike math.Hypot it is +Inf above 1e154 and 0 below
// 1e-162, far from anything a vehicle does.
func Hypot(x, y float64) float64 { return math.Sqrt(float64(x*x) + float64(y*y)) }
