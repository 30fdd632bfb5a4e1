package pose

import (
	"math"
	"time"
)

const (
	// robustCount is the least number of samples of which one can be told to
	// be the bad one: three others have to agree.
	robustCount = 4
	// robustRatio is how many times less the sum of squares must become by
	// leaving one sample out before it is left out. A constant acceleration
	// reaches 6 with four evenly spaced samples and less with more.
	robustRatio = 16
	// robustFloor is the least deviation, m or rad, worth leaving a sample
	// out for.
	robustFloor = 1e-4
	// minFreedom guards the division by 1 − leverage: a sample the slope
	// depends on almost alone cannot be judged by the others.
	minFreedom = 0.02
)

// instants is when the samples of a window are from, with all that a fit needs
// of that alone: velocity and turn rate are fitted over the same ones. Its
// arrays, like those of slope, are scratch space, filled anew for every sample.
type instants struct {
	t    []float64 // s, <= 0: before the newest sample
	off  []float64 // s, from their mean
	mean float64
	// sums of the second and third powers of off
	m2, m3 float64
	// one over the number of samples and one over m2: all that is divided by
	perN, perM2 float64
	least       float64 // of free, that of the sample farthest from the mean
}

func newInstants() instants {
	return instants{t: make([]float64, 0, maxHistory), off: make([]float64, 0, maxHistory)}
}

// measure works out what follows from t, which are in order and not all the same,
// and whose sum is given.
func (w *instants) measure(sum float64) {
	perN := 1 / float64(len(w.t))
	mean, m2, m3 := float64(sum*perN), 0.0, 0.0
	off := w.off[:0]
	for _, t := range w.t {
		dt := t - mean
		sq := float64(dt * dt)
		m2 += sq
		m3 += float64(sq * dt)
		off = append(off, dt)
	}
	w.mean, w.off, w.m2, w.m3, w.perN, w.perM2 = mean, off, m2, m3, perN, 1/m2
	first, last := off[0], off[len(off)-1]
	w.least = min(w.free(float64(first*first)), w.free(float64(last*last)))
}

// free is 1 − leverage of a sample whose off has the square sq: what is left of
// its deviation from a line that is fitted with it.
func (w *instants) free(sq float64) float64 { return 1 - w.perN - float64(sq*w.perM2) }

func sumOf(t []float64) (sum float64) {
	for _, t := range t {
		sum += t
	}
	return sum
}

// lag is how long before the newest sample a slope was the true rate, for a
// motion of constant acceleration: −(mean + m₃/(2·m₂)), which for evenly
// spaced samples is half their span.
func (w *instants) lag() time.Duration {
	return time.Duration(max(0, -(w.mean+float64(w.m3*w.perM2)/2)) * float64(time.Second))
}

// slope is a straight line fitted to vectors over time by least squares.
type slope struct {
	y    []Vec
	sq   []float64 // squared residuals
	rest instants  // without the bad sample, if there is one
	// of the last fit
	mean, rate Vec
}

func newSlope() slope {
	return slope{y: make([]Vec, 0, maxHistory), sq: make([]float64, 0, maxHistory), rest: newInstants()}
}

// solve is the slope that was fitted, unit of y per second, with one bad sample
// left out if there is one, and how far it trails the newest sample.
func (s *slope) solve(w *instants) (rate Vec, lag time.Duration) {
	i := s.worst(w)
	if i < 0 {
		return s.rate, w.lag()
	}
	s.rest.t = append(append(s.rest.t[:0], w.t[:i]...), w.t[i+1:]...)
	s.y = append(s.y[:i], s.y[i+1:]...)
	s.rest.measure(sumOf(s.rest.t))
	s.fit(&s.rest)
	return s.rate, s.rest.lag()
}

// fit computes the slope. The instants are off their mean, so the places need not
// be off theirs.
func (s *slope) fit(w *instants) {
	var sum, sty Vec
	y := s.y[:len(w.off)]
	for i, dt := range w.off {
		sum = sum.Add(y[i])
		sty = sty.Add(y[i].Scale(dt))
	}
	s.mean, s.rate = sum.Scale(w.perN), sty.Scale(w.perM2)
}

// worst is the index of the one sample without which the others lie on a line
// far better, or -1. Leaving out sample i lowers the sum of squares by
// e²/(1−h), e its residual and h its leverage: no second fit is needed.
//
// Mostly there is none, and that is seen without a division for each sample: no
// sample's gain is more than the largest e² over the least 1−h, and the largest
// is no more than the root of the sum of all e⁴.
func (s *slope) worst(w *instants) int {
	if len(s.y) < robustCount {
		return -1
	}
	all, fourth := 0.0, 0.0
	mean, rate := s.mean, s.rate
	y, sq := s.y[:len(w.off)], s.sq[:len(w.off)]
	for i, dt := range w.off {
		e := y[i].Sub(mean).Sub(rate.Scale(dt))
		e2 := e.Dot(e)
		all += e2
		fourth += float64(e2 * e2)
		sq[i] = e2
	}
	if need := float64(all * w.least * (1 - 1./robustRatio)); w.least >= minFreedom && float64(need*need) >= fourth {
		return -1
	}
	at, gain, left := -1, 0.0, 0.0
	for i, dt := range w.off {
		free := w.free(float64(dt * dt))
		if g := sq[i] / free; free >= minFreedom && g > gain {
			at, gain, left = i, g, free
		}
	}
	if at < 0 || !helps(all, gain) || math.Sqrt(sq[at])/left < robustFloor {
		return -1
	}
	return at
}

// helps says whether the sum of squares all becomes far less by gain.
func helps(all, gain float64) bool { return !((all-gain)*robustRatio > all) }
