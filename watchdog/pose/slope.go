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
	off  []float64 // s, from base, in order
	base float64   // s, <= 0, against the newest sample
	mean float64   // s, of off
	// sums of the second and third powers of what they are off their mean
	m2, m3 float64
	// one over the number of samples and one over m2: all that is divided by
	perN, perM2 float64
	least       float64 // of free, that of the sample farthest from the mean
}

func newInstants() instants { return instants{off: make([]float64, 0, maxHistory)} }

// measure works out what follows from off, which are not all the same, and from the
// sums of their first three powers.
//
// The sums about the mean come from those about the base: where the base is one of
// the instants, or their mean, no more is lost by that than their number.
func (w *instants) measure(s1, s2, s3 float64) {
	w.perN = 1 / float64(len(w.off))
	w.mean = float64(s1 * w.perN)
	w.m2 = s2 - float64(w.mean*s1)
	w.m3 = s3 - float64(3*w.mean*s2) + float64(2*w.mean*w.mean*s1)
	w.perM2 = 1 / w.m2
	w.least = min(w.free(w.off[0]), w.free(w.off[len(w.off)-1]))
}

// without takes all of from but its i-th.
func (w *instants) without(i int, from *instants) {
	w.off = append(append(w.off[:0], from.off[:i]...), from.off[i+1:]...)
	sum := 0.0
	for _, t := range w.off {
		sum += t
	}
	mean := sum / float64(len(w.off))
	w.base = from.base + mean
	s1, s2, s3 := 0.0, 0.0, 0.0
	for k := range w.off {
		w.off[k] -= mean
		t := w.off[k]
		s1, s2, s3 = s1+t, s2+float64(t*t), s3+float64(t*t*t)
	}
	w.measure(s1, s2, s3)
}

// free is 1 − leverage of a sample at off: what is left of its deviation from a
// line that is fitted with it.
func (w *instants) free(off float64) float64 {
	dt := off - w.mean
	return 1 - w.perN - float64(dt*dt*w.perM2)
}

// lag is how long before the newest sample a slope was the true rate, for a
// motion of constant acceleration: −(mean + m₃/(2·m₂)), which for evenly
// spaced samples is half their span.
func (w *instants) lag() time.Duration {
	return time.Duration(max(0, -(w.base+w.mean+float64(w.m3*w.perM2/2))) * float64(time.Second))
}

// slope is a straight line fitted to vectors over time by least squares.
type slope struct {
	y    []Vec
	sq   []float64 // squared residuals
	rest instants  // without the bad sample, if there is one
	// of the last fit
	start, rate Vec // start at the base of the instants
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
	s.rest.without(i, w)
	s.y = append(s.y[:i], s.y[i+1:]...)
	s.fit(&s.rest)
	return s.rate, s.rest.lag()
}

// fit computes the slope.
func (s *slope) fit(w *instants) {
	var sum, sty Vec
	y := s.y[:len(w.off)]
	for i, t := range w.off {
		sum = sum.Add(y[i])
		sty = sty.Add(y[i].Scale(t))
	}
	s.rate = sty.Sub(sum.Scale(w.mean)).Scale(w.perM2)
	s.start = sum.Scale(w.perN).Sub(s.rate.Scale(w.mean))
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
	start, rate := s.start, s.rate
	y, sq := s.y[:len(w.off)], s.sq[:len(w.off)]
	for i, t := range w.off {
		e := y[i].Sub(start).Sub(rate.Scale(t))
		e2 := e.Dot(e)
		all += e2
		fourth += float64(e2 * e2)
		sq[i] = e2
	}
	if need := float64(all * w.least * (1 - 1./robustRatio)); w.least >= minFreedom && float64(need*need) >= fourth {
		return -1
	}
	at, gain, left := -1, 0.0, 0.0
	for i, t := range w.off {
		free := w.free(t)
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
