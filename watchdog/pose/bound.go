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
	for imhof(v, high, dof) > 0.05 && high < 1e6 {
		high *= 2
	}
	for range 30 {
		mid := (low + high) / 2
		if imhof(v, mid, dof) > 0.05 {
			low = mid
		} else {
			high = mid
		}
	}
	return math.Sqrt(high * greatest)
}

// imhof is the probability of Σ v[i]·χ²₁ > (x/dof)·χ²_dof.
func imhof(v [3]float64, x, dof float64) float64 {
	const steps = 500
	sum := 0.0
	for i := range steps { // midpoints in t of u = (t/(1−t))²
		t := (float64(i) + 0.5) / steps
		r := t / (1 - t)
		u := r * r
		angle := -dof * math.Atan(x/dof*u)
		size := dof * math.Log1p(x/dof*u*x/dof*u)
		for _, l := range v {
			angle += math.Atan(l * u)
			size += math.Log1p(l * u * l * u)
		}
		du := 2 * r / ((1 - t) * (1 - t))
		sum += math.Sin(angle/2) / (u * math.Exp(size/4)) * du
	}
	return 0.5 + sum/steps/math.Pi
}
