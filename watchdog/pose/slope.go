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
	far    float64 // s², the largest square of off
}

func newInstants() instants {
	return instants{t: make([]float64, 0, maxHistory), off: make([]float64, 0, maxHistory)}
}

// measure works out what follows from t. They must not all be the same.
func (w *instants) measure() {
	n, sum := float64(len(w.t)), 0.0
	for _, t := range w.t {
		sum += t
	}
	mean, m2, m3, far := sum/n, 0.0, 0.0, 0.0
	off := w.off[:0]
	for _, t := range w.t {
		dt := t - mean
		sq := float64(dt * dt)
		m2 += sq
		m3 += float64(sq * dt)
		if sq > far {
			far = sq
		}
		off = append(off, dt)
	}
	w.mean, w.off, w.m2, w.m3, w.far = mean, off, m2, m3, far
}

// free is 1 − leverage of a sample whose off has the square sq: what is left of
// its deviation from a line that is fitted with it.
func (w *instants) free(sq float64) float64 { return 1 - 1/float64(len(w.t)) - sq/w.m2 }

// lag is how long before the newest sample a slope was the true rate, for a
// motion of constant acceleration: −(mean + m₃/(2·m₂)), which for evenly
// spaced samples is half their span.
func (w *instants) lag() time.Duration {
	return time.Duration(max(0, -(w.mean+w.m3/(2*w.m2))) * float64(time.Second))
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

// solve is the slope, unit of y per second, with one bad sample left out if
// there is one, and how far it trails the newest sample.
func (s *slope) solve(w *instants) (rate Vec, lag time.Duration) {
	s.fit(w)
	i := s.worst(w)
	if i < 0 {
		return s.rate, w.lag()
	}
	last := len(s.y) - 1
	s.rest.t = append(s.rest.t[:0], w.t[:last]...)
	if i < last {
		s.rest.t[i], s.y[i] = w.t[last], s.y[last]
	}
	s.y = s.y[:last]
	s.rest.measure()
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
	s.mean, s.rate = sum.Scale(1/float64(len(y))), sty.Scale(1/w.m2)
}

// worst is the index of the one sample without which the others lie on a line
// far better, or -1. Leaving out sample i lowers the sum of squares by
// e²/(1−h), e its residual and h its leverage: no second fit is needed.
//
// Mostly there is none, and that is seen without a division for each sample: no
// sample's gain is more than the largest e² over the least 1−h. Rounding keeps
// the order of what it rounds, so the answer is the same to the last bit.
func (s *slope) worst(w *instants) int {
	if len(s.y) < robustCount {
		return -1
	}
	all, most := 0.0, 0.0
	mean, rate := s.mean, s.rate
	y, sq := s.y[:len(w.off)], s.sq[:len(w.off)]
	for i, dt := range w.off {
		e := y[i].Sub(mean).Sub(rate.Scale(dt))
		e2 := e.Dot(e)
		all += e2
		if e2 > most {
			most = e2
		}
		sq[i] = e2
	}
	if least := w.free(w.far); most == 0 || least >= minFreedom && !helps(all, most/least) {
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
