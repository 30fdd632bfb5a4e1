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
}

func newDeriver(window time.Duration) deriver {
	return deriver{window: window, at: newInstants(), pos: newSlope(), rot: newSlope()}
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
	m.given, m.hasGiven = given.Scale(1/float64(n)), hasGiven
	d.pos.fit(&d.at)
	d.rot.fit(&d.at) // both before either is solved: neither has to wait for the other
	m.velocity, m.lag = d.pos.solve(&d.at)
	m.spin, m.spinLag = d.rot.solve(&d.at)
	m.known, m.moves = true, true
}

// collect takes the instants, places and turns of the newest n entries, as seen
// from the newest, and the sum of the reported velocities.
func (d *deriver) collect(h *history, n int) (given Vec, hasGiven bool) {
	all := h.newest(n)
	newest := &all[n-1]
	at, pos, rot, s1, s2, s3 := d.at.off[:n], d.pos.y[:n], d.rot.y[:n], 0.0, 0.0, 0.0
	for i := range all {
		e := &all[i]
		t := InSeconds(time.Duration(e.stamp - newest.stamp))
		sq := float64(t * t)
		s1, s2, s3 = s1+t, s2+sq, s3+float64(sq*t)
		at[i], pos[i], rot[i] = t, e.position.Sub(newest.position), e.turned.Sub(newest.turned)
	}
	d.at.off, d.pos.y, d.rot.y = at, pos, rot
	d.at.measure(s1, s2, s3)
	hasGiven = newest.hasGiven
	for i := 0; i < n && hasGiven; i++ {
		given, hasGiven = given.Add(all[i].given), all[i].hasGiven
	}
	return given, hasGiven
}
