package pose

import "time"

// motion is what was derived from a window of samples.
type motion struct {
	known    bool // spin and given are known
	moves    bool // velocity is known
	velocity Vec  // m/s, site frame
	lag      time.Duration
	spin     Vec // rad/s, site frame
	spinLag  time.Duration
	given    Vec // m/s, mean of the reported velocity over the window
	hasGiven bool
}

// deriver fits velocity and turn rate to the history.
type deriver struct {
	window time.Duration
	pos    slope
	rot    slope
}

func newDeriver(window time.Duration) deriver {
	return deriver{window: window, pos: newSlope(), rot: newSlope()}
}

// span is how many of the newest entries the window takes.
//
// It takes those not older than the window; further back, one more at a time,
// while they span less than half of it (bunched stamps) or are fewer than can
// outvote a bad one and not older than twice the window. Without a window it
// takes two. ok is false where history does not reach far enough yet; a full
// history is as far as it ever reaches.
func (d *deriver) span(h *history) (n int, ok bool) {
	if h.count < 2 {
		return 0, false
	}
	if d.window == 0 {
		return 2, true
	}
	newest := h.back(0).stamp
	age := time.Duration(0)
	for n = 1; n < h.count; n++ {
		a := time.Duration(newest - h.back(n).stamp)
		if a > d.window && age >= d.window/2 && (n >= robustCount || a > 2*d.window) {
			break
		}
		age = a
	}
	return n, age >= d.window/2 || n == maxHistory
}

// derive fits the newest window. Where every sample of it reported a velocity
// it gives the mean of them, to be compared with the slope.
func (d *deriver) derive(h *history, m *motion) {
	*m = motion{}
	n, ok := d.span(h)
	if !ok {
		return
	}
	d.pos.reset()
	d.rot.reset()
	newest := h.back(0)
	back := newest.attitude.Conj()
	m.hasGiven = true
	for i := range n {
		e := h.back(i)
		t := float64(e.stamp-newest.stamp) * 1e-9
		d.pos.add(t, e.position.Sub(newest.position))
		d.rot.add(t, e.attitude.Mul(back).rotationVector())
		m.given = m.given.Add(e.given)
		m.hasGiven = m.hasGiven && e.hasGiven
	}
	m.given = m.given.Scale(1 / float64(n))
	m.velocity, m.lag = d.pos.solve()
	m.spin, m.spinLag = d.rot.solve()
	m.known, m.moves = true, true
}
