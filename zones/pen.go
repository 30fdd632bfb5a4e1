package zones

import "math"

// slab is a layer of a pen between two neighbouring heights at which any of
// its zones begins or ends. Its cross-section does not change with height.
type slab struct {
	lo, hi float64
	area   *area // the union of the zones that span the layer
}

// pen is a group of keep-in zones that hang together. Different pens neither
// overlap nor touch, so a body is inside the allowed space when it is inside
// one of them.
type pen struct {
	slabs []slab // from the floor up, each standing on the one before
	zones []room // its zones one by one
	lo    XY
	hi    XY
}

// room is one keep-in zone.
type room struct {
	floor, ceiling float64
	area           *area
}

func (p *pen) floor() float64   { return p.slabs[0].lo }
func (p *pen) ceiling() float64 { return p.slabs[len(p.slabs)-1].hi }

// most is an upper bound of judge: no clearance inside the pen exceeds the
// room inside its box, and none outside is better than the way to the box.
func (p *pen) most(q *query) float64 {
	return min(p.mostFlat(q), q.zlo-p.floor(), p.ceiling()-q.zhi)
}

// mostFlat is most on the floor plan.
func (p *pen) mostFlat(q *query) float64 {
	return min(q.lox-p.lo.X, p.hi.X-q.hix, q.loy-p.lo.Y, p.hi.Y-q.hiy) - q.r
}

// judge is the clearance of the body inside the pen.
func (p *pen) judge(q *query, h *Hit) {
	if len(p.zones) == 1 {
		p.judgeOne(q, h)
		return
	}
	p.judgeMany(q, h)
}

// judgeOne is judge for a pen of one zone: the smaller of the room to the wall
// and the room in height; where one is negative, minus the length of the
// negative parts.
func (p *pen) judgeOne(q *query, h *Hit) {
	r := &p.zones[0]
	f := r.area.keep(q, 1, math.Inf(1))
	v, face := heightRoom(q, r.floor, r.ceiling)
	h.Pen = true
	h.Clearance = both(f.h, v)
	if v < f.h {
		faceHit(face, int(r.area.zone[0]), r.floor, r.ceiling, &f, h)
	} else {
		r.area.wallHit(&f, r.floor, r.ceiling, q, h)
	}
}

// heightRoom is the room between the body and the ends of the band, and which
// end is nearer.
func heightRoom(q *query, floor, ceiling float64) (float64, Face) {
	if lo, hi := q.zlo-floor, ceiling-q.zhi; lo > hi {
		return hi - q.slack, CeilFace
	} else {
		return lo - q.slack, FloorFace
	}
}

// both joins the clearance on the floor plan and the room in height.
func both(h, v float64) float64 {
	if h > 0 && v > 0 {
		return min(h, v)
	}
	h, v = min(h, 0), min(v, 0)
	switch {
	case h == 0:
		return v + 0 // never minus zero
	case v == 0:
		return h
	}
	return -math.Sqrt(float64(h*h) + float64(v*v))
}

func faceHit(face Face, zone int, floor, ceiling float64, f *flat, h *Hit) {
	h.Face, h.Zone, h.Edge = face, zone, -1
	h.Nearest = XYZ{f.x, f.y, floor}
	if face == CeilFace {
		h.Nearest.Z = ceiling
	}
}
