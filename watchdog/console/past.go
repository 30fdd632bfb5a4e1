package console

import (
	"encoding/json"
	"sync"
	"time"

	"pinfold/watchdog/link/wire"
)

// The strips' last minute, as the console keeps it whether somebody watches or
// not: of every pastStep the least and the most that was shown, so that no peak
// is lost by keeping less.
const (
	pastSpan = 60 * time.Second
	pastStep = 250 * time.Millisecond
	pastMax  = int(pastSpan / pastStep)
	strips   = 4 // clearance, height, speed, tilt
)

// peaks are the least and the most of one value within a step.
type peaks struct {
	lo, hi   float64
	loAt     time.Duration
	hiAt     time.Duration
	anything bool // a value was known
}

func (p *peaks) add(v *float64, at time.Duration) {
	if v == nil || num(*v) == nil {
		return
	}
	if !p.anything || *v < p.lo {
		p.lo, p.loAt = *v, at
	}
	if !p.anything || *v > p.hi {
		p.hi, p.hiAt = *v, at
	}
	p.anything = true
}

// inOrder are both as they came; nil where nothing was known.
func (p *peaks) inOrder() (first, second *float64) {
	switch {
	case !p.anything:
		return nil, nil
	case p.loAt <= p.hiAt:
		return num(p.lo), num(p.hi)
	}
	return num(p.hi), num(p.lo)
}

// step is pastStep of one vehicle.
type step struct {
	no  int64 // its number in the session, from 0
	all [strips]peaks
}

// past is the last minute of one vehicle, a ring that never grows. Neither the
// loop nor a browser waits for the other by it: the hub's clock adds what the loop
// left on the screen.
type past struct {
	mu    sync.Mutex
	steps [pastMax]step
	n     int    // steps ever begun
	last  *Shown // the newest that was added
}

// add takes what is shown, once.
func (p *past) add(shown *Shown) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if shown == nil || shown == p.last {
		return
	}
	p.last = shown
	at := shown.Snap.At
	no := int64(at / pastStep)
	if p.n == 0 || p.steps[(p.n-1)%pastMax].no != no {
		p.steps[p.n%pastMax] = step{no: no}
		p.n++
	}
	s := &p.steps[(p.n-1)%pastMax]
	for i, v := range valuesOf(&shown.State) {
		s.all[i].add(v, at)
	}
}

// valuesOf are what the strips draw, in the order of minute's fields.
func valuesOf(s *wire.State) [strips]*float64 {
	return [strips]*float64{s.Clearance, s.Height, s.Speed, s.Tilt}
}

// take copies the steps, the oldest first, and says until when the last one goes.
func (p *past) take() (all []step, until time.Duration) {
	p.mu.Lock()
	defer p.mu.Unlock()
	all = make([]step, 0, min(p.n, pastMax))
	for i := p.n - min(p.n, pastMax); i < p.n; i++ {
		all = append(all, p.steps[i%pastMax])
	}
	if p.last != nil {
		until = p.last.Snap.At
	}
	return all, until
}

// minute is the past of one vehicle as a page takes it: two points of every step.
type minute struct {
	T         []float64  `json:"t"` // s, session instant
	Clearance []*float64 `json:"clearance"`
	Height    []*float64 `json:"height"`
	Speed     []*float64 `json:"speed"`
	Tilt      []*float64 `json:"tilt"`
}

// encodePast writes the last minute before now of every vehicle.
func encodePast(screens []*Screen, now time.Duration) ([]byte, error) {
	out := make([]minute, len(screens))
	for i, s := range screens {
		m := &out[i]
		m.T = []float64{}
		all, until := s.past.take()
		for _, st := range all {
			from := time.Duration(st.no) * pastStep
			long := min(pastStep, until-from) // the newest is not over yet, and frames go on after it
			if from+pastStep < now-pastSpan {
				continue // the loop has been silent for long
			}
			m.T = append(m.T, (from + long/4).Seconds(), (from + 3*long/4).Seconds())
			for k, to := range [strips]*[]*float64{&m.Clearance, &m.Height, &m.Speed, &m.Tilt} {
				first, second := st.all[k].inOrder()
				*to = append(*to, first, second)
			}
		}
	}
	return json.Marshal(out)
}
