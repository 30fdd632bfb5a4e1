package pose

import "math"

// boundFactor is k such that, with probability 0.95, an error whose three
// independent components have the variances σ²·v[i] is at most k·s, where s²
// estimates σ² with dof degrees of freedom.
//
// The distribution of Σ v[i]·χ²₁ − (k²/dof)·χ²_dof is inverted after Imhof,
// Computing the distribution of quadratic forms in normal variables, 1961.
func boundFactor(v [3]float64, dof float64) float64 {
	greatest := math.Max(v[0], math.Max(v[1], v[2]))
	if !(greatest > 0) {
		return 0
	}
	for i := range v {
		v[i] /= greatest
	}
	low, high := 0.0, 1.0
	above, below := 0.95, imhof(v, high, dof)-0.05
	for ; below > 0 && high < 1e6; below = imhof(v, high, dof) - 0.05 {
		low, above, high = high, below, 2*high
	}
	// False position, the Illinois way: an end that stays loses half its weight.
	for side := 0; high-low > 1e-7*high; {
		mid := (low*below - high*above) / (below - above)
		switch f := imhof(v, mid, dof) - 0.05; {
		case math.Abs(f) < 1e-6:
			return math.Sqrt(mid * greatest)
		case f > 0:
			if low, above = mid, f; side < 0 {
				below /= 2
			}
			side = -1
		default:
			if high, below = mid, f; side > 0 {
				above /= 2
			}
			side = 1
		}
	}
	return math.Sqrt(high * greatest)
}

// imhof is the probability of Σ v[i]·χ²₁ > (x/dof)·χ²_dof.
func imhof(v [3]float64, x, dof float64) float64 {
	const steps = 250
	sum := 0.0
	for i := range steps { // midpoints in t of u = (t/(1−t))²
		t := (float64(i) + 0.5) / steps
		r := t / (1 - t)
		u := r * r
		past := x / dof * u
		fade := math.Exp(dof / 4 * math.Log1p(past*past))
		if fade > 1e16 {
			break // and all that follows is less yet
		}
		angle, size := -dof*math.Atan(past), 1.0
		for _, l := range v {
			angle += math.Atan(l * u)
			size *= 1 + l*u*l*u
		}
		du := 2 * r / ((1 - t) * (1 - t))
		sum += math.Sin(angle/2) / (u * fade * math.Sqrt(math.Sqrt(size))) * du
	}
	return 0.5 + sum/steps/math.Pi
}

// What 95 % of the draws of normal errors of deviation 1 stay within: on a
// line (the normal distribution's quantile), and in space (the root of χ²'s
// with three degrees of freedom).
const (
	within95     = 1.959964
	ballWithin95 = 2.795483
)

// atReach is the variances, m², of three independent components of the error of
// a point that stands reach, m, on the level and rise, m, in height from one
// whose own coordinates have the variance place, m². The turn about the vertical
// has the variance yaw, that about either level axis level, rad².
//
// A small turn (x, y, z) takes the arm (reach, 0, rise) to the error
// (y·rise, z·reach − x·rise, −y·reach): what y does lies along one line.
func atReach(place, yaw, level, reach, rise float64) [3]float64 {
	r2, h2 := reach*reach, rise*rise
	return [3]float64{place + r2*yaw + h2*level, place, place + (r2+h2)*level}
}

func square(x float64) float64 { return x * x }

// uncertain is the alignment's residual, m. Assumed: errors of standing, of
// heading and of the tracker's vertical are normal and have no bias. The
// tracker's own noise is taken for as correlated over the stillness as can be:
// its mean is no better than one sample, so that what drifts within seconds is
// covered.
func (o *PadOptions) uncertain(st *Still) float64 {
	place := square(o.PositionError/ballWithin95) + square(st.Spread)
	yaw := square(o.YawError/within95) + square(st.TurnSpread)
	level := square(o.LevelError / within95)
	return boundFactor(atReach(place, yaw, level, o.Reach, o.Rise), knownDOF)
}
