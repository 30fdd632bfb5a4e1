package pose

import "time"

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

// slope is a straight line fitted to vectors over time by least squares. Its
// arrays are scratch space, filled anew for every sample.
type slope struct {
	t []float64 // s, <= 0: before the newest sample
	y []Vec
	// sums of the last fit
	meanT, stt float64
	meanY      Vec
	rate       Vec
}

func newSlope() slope {
	return slope{t: make([]float64, 0, maxHistory), y: make([]Vec, 0, maxHistory)}
}

func (s *slope) reset() { s.t, s.y = s.t[:0], s.y[:0] }

func (s *slope) add(t float64, y Vec) {
	s.t = append(s.t, t)
	s.y = append(s.y, y)
}

// solve is the slope, unit of y per second, with one bad sample left out if
// there is one, and how far it trails the newest sample. The samples must not
// all have the same t.
func (s *slope) solve() (rate Vec, lag time.Duration) {
	s.fit()
	if i := s.worst(); i >= 0 {
		last := len(s.t) - 1
		s.t[i], s.y[i] = s.t[last], s.y[last]
		s.t, s.y = s.t[:last], s.y[:last]
		s.fit()
	}
	return s.rate, s.lag()
}

// fit computes the sums and the slope.
func (s *slope) fit() {
	n := float64(len(s.t))
	s.meanT, s.meanY = 0, Vec{}
	for i, t := range s.t {
		s.meanT += t
		s.meanY = s.meanY.Add(s.y[i])
	}
	s.meanT /= n
	s.meanY = s.meanY.Scale(1 / n)
	s.stt = 0
	var sty Vec
	for i, t := range s.t {
		dt := t - s.meanT
		s.stt += float64(dt * dt)
		sty = sty.Add(s.y[i].Sub(s.meanY).Scale(dt))
	}
	s.rate = sty.Scale(1 / s.stt)
}

// worst is the index of the one sample without which the others lie on a line
// far better, or -1. Leaving out sample i lowers the sum of squares by
// e²/(1−h), e its residual and h its leverage: no second fit is needed.
func (s *slope) worst() int {
	n := len(s.t)
	if n < robustCount {
		return -1
	}
	at, gain, all, far := -1, 0.0, 0.0, 0.0
	for i, t := range s.t {
		dt := t - s.meanT
		e := s.y[i].Sub(s.meanY).Sub(s.rate.Scale(dt))
		sq := e.Dot(e)
		all += sq
		free := 1 - 1/float64(n) - dt*dt/s.stt
		if free < minFreedom {
			continue
		}
		if g := sq / free; g > gain {
			at, gain, far = i, g, e.Norm()/free
		}
	}
	if at < 0 || far < robustFloor || (all-gain)*robustRatio > all {
		return -1
	}
	return at
}

// lag is how long before the newest sample the slope was the true rate, for a
// motion of constant acceleration: −(mean + m₃/(2·m₂)), which for evenly
// spaced samples is half their span.
func (s *slope) lag() time.Duration {
	m3 := 0.0
	for _, t := range s.t {
		dt := t - s.meanT
		m3 += float64(dt * dt * dt)
	}
	return time.Duration(max(0, -(s.meanT+m3/(2*s.stt))) * float64(time.Second))
}
