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
	at     instants
	pos    slope
	rot    slope
	turn   []Quat // scratch space: from the newest attitude to each
}

func newDeriver(window time.Duration) deriver {
	return deriver{window: window, at: newInstants(), pos: newSlope(), rot: newSlope(), turn: make([]Quat, maxHistory)}
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
	given, hasGiven := d.collect(h, n)
	d.turns(h, n)
	d.at.measure()
	m.given, m.hasGiven = given.Scale(1/float64(n)), hasGiven
	m.velocity, m.lag = d.pos.solve(&d.at)
	m.spin, m.spinLag = d.rot.solve(&d.at)
	m.known, m.moves = true, true
}

// collect takes the instants and places of the newest n entries, as seen from
// the newest, and the sum of the reported velocities.
func (d *deriver) collect(h *history, n int) (given Vec, hasGiven bool) {
	newest := h.back(0)
	at, pos := d.at.t[:n], d.pos.y[:n]
	hasGiven = true
	for i := range at {
		e := h.back(i)
		at[i] = float64(e.stamp-newest.stamp) * 1e-9
		pos[i] = e.position.Sub(newest.position)
		given = given.Add(e.given)
		hasGiven = hasGiven && e.hasGiven
	}
	d.at.t, d.pos.y = at, pos
	return given, hasGiven
}

// turns takes the turn from the newest attitude to each of the newest n. A
// rotation vector takes a root and two divisions, each waiting for the last: in
// a loop of their own a processor works at several of them at once.
func (d *deriver) turns(h *history, n int) {
	back := h.back(0).attitude.Conj()
	turn, rot := d.turn[:n], d.rot.y[:n]
	for i := range turn {
		turn[i] = h.back(i).attitude.Mul(back)
	}
	for i := range rot {
		rot[i] = turn[i].rotationVector()
	}
	d.rot.y = rot
}
