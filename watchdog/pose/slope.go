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
	free []float64 // 1 − leverage
	mean float64
	// sums of the second and third powers of off
	m2, m3 float64
}

func newInstants() instants {
	return instants{t: make([]float64, 0, maxHistory), off: make([]float64, 0, maxHistory), free: make([]float64, 0, maxHistory)}
}

// measure works out what follows from t. They must not all be the same.
func (w *instants) measure() {
	n, sum := float64(len(w.t)), 0.0
	for _, t := range w.t {
		sum += t
	}
	w.mean, w.off, w.free = sum/n, w.off[:0], w.free[:0]
	m2, m3 := 0.0, 0.0
	for _, t := range w.t {
		dt := t - w.mean
		m2 += float64(dt * dt)
		m3 += float64(dt * dt * dt)
		w.off = append(w.off, dt)
	}
	for _, dt := range w.off {
		w.free = append(w.free, 1-1/n-dt*dt/m2)
	}
	w.m2, w.m3 = m2, m3
}

// lag is how long before the newest sample a slope was the true rate, for a
// motion of constant acceleration: −(mean + m₃/(2·m₂)), which for evenly
// spaced samples is half their span.
func (w *instants) lag() time.Duration {
	return time.Duration(max(0, -(w.mean+w.m3/(2*w.m2))) * float64(time.Second))
}

// slope is a straight line fitted to vectors over time by least squares.
type slope struct {
	y    []Vec
	rest instants // without the bad sample, if there is one
	// of the last fit
	mean, rate Vec
}

func newSlope() slope {
	return slope{y: make([]Vec, 0, maxHistory), rest: newInstants()}
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

// fit computes the slope.
func (s *slope) fit(w *instants) {
	var sum, sty Vec
	for _, y := range s.y {
		sum = sum.Add(y)
	}
	mean := sum.Scale(1 / float64(len(s.y)))
	for i, dt := range w.off {
		sty = sty.Add(s.y[i].Sub(mean).Scale(dt))
	}
	s.mean, s.rate = mean, sty.Scale(1/w.m2)
}

// worst is the index of the one sample without which the others lie on a line
// far better, or -1. Leaving out sample i lowers the sum of squares by
// e²/(1−h), e its residual and h its leverage: no second fit is needed.
func (s *slope) worst(w *instants) int {
	if len(s.y) < robustCount {
		return -1
	}
	at, gain, all, off := -1, 0.0, 0.0, 0.0
	mean, rate := s.mean, s.rate
	for i, dt := range w.off {
		e := s.y[i].Sub(mean).Sub(rate.Scale(dt))
		sq, free := e.Dot(e), w.free[i]
		all += sq
		if g := sq / free; free >= minFreedom && g > gain {
			at, gain, off = i, g, sq
		}
	}
	if at < 0 || (all-gain)*robustRatio > all || math.Sqrt(off)/w.free[at] < robustFloor {
		return -1
	}
	return at
}
