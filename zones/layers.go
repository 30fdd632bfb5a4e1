package zones

import "math"

// judgeMany is judge for zones of different heights that hang together. What
// is not allowed is, layer by layer, everything outside that layer's
// cross-section, and all below and above the pen. The clearance is the
// distance in space to the nearest of it.
func (p *pen) judgeMany(q *query, h *Hit) {
	h.Pen = true
	c, face := heightRoom(q, p.floor(), p.ceiling())
	f := flat{h: math.Inf(1), wall: -1, x: q.x0, y: q.y0}
	at := -1
	for k := range p.slabs {
		s := &p.slabs[k]
		gap := max(0, max(s.lo-q.zhi, q.zlo-s.hi)-q.slack)
		if gap >= c && gap > 0 {
			continue
		}
		g := s.area.keep(q, 1, math.Inf(1))
		v := g.h
		if gap > 0 {
			v = max(0, g.h)
			v = math.Sqrt(float64(v*v) + float64(gap*gap))
		}
		if v < c {
			c, f, at = v, g, k
		}
	}
	if c <= 0 {
		p.outside(q, h)
		return
	}
	h.Clearance = c
	switch {
	case at < 0:
		p.capHit(q, face, &f, h)
	case f.h > 0:
		s := &p.slabs[at]
		s.area.wallHit(&f, s.lo, s.hi, q, h)
	case p.slabs[at].lo >= q.zhi-q.slack:
		p.stepHit(at-1, CeilFace, &f, h)
	default:
		p.stepHit(at+1, FloorFace, &f, h)
	}
}

// capHit is a hit on the lowest floor or the highest ceiling of the pen.
func (p *pen) capHit(q *query, face Face, f *flat, h *Hit) {
	f.x, f.y = q.x0, q.y0
	if face == CeilFace {
		p.stepHit(len(p.slabs)-1, face, f, h)
		return
	}
	p.stepHit(0, face, f, h)
}

// stepHit is a hit on the ceiling or the floor of a zone that ends with layer
// k: the one over or under the point where there is one, else the first.
func (p *pen) stepHit(k int, face Face, f *flat, h *Hit) {
	z := p.slabs[k].lo
	if face == CeilFace {
		z = p.slabs[k].hi
	}
	found := -1
	for i := range p.zones {
		r := &p.zones[i]
		if face == FloorFace && r.floor != z || face == CeilFace && r.ceiling != z {
			continue
		}
		if found < 0 {
			found = i
		}
		if r.area.locate(f.x, f.y) >= 0 {
			found = i
			break
		}
	}
	r := &p.zones[found]
	faceHit(face, int(r.area.zone[0]), r.floor, r.ceiling, f, h)
}

// outside is judge for a body that is not wholly inside: how far it would have
// to move, in the layers it is in, or else to lie in one zone. The shortest of
// these is never less than the depth of its deepest point.
func (p *pen) outside(q *query, h *Hit) {
	best := Hit{Clearance: math.Inf(-1), Pen: true}
	if g := p.across(q); g.Clearance > best.Clearance {
		best = g
	}
	for i := range p.zones {
		r := &p.zones[i]
		v, face := heightRoom(q, r.floor, r.ceiling)
		if both(-r.area.off(q), v) <= best.Clearance {
			continue
		}
		f := r.area.keep(q, 1, math.Inf(1))
		c := min(both(f.h, v), 0)
		if c <= best.Clearance {
			continue
		}
		best.Clearance = c
		if v < f.h {
			faceHit(face, int(r.area.zone[0]), r.floor, r.ceiling, &f, &best)
		} else {
			r.area.wallHit(&f, r.floor, r.ceiling, q, &best)
		}
	}
	*h = best
}

// off is how far the start of the way is outside the box of the area, m.
func (a *area) off(q *query) float64 {
	dx := max(0, a.lo.X-q.x0, q.x0-a.hi.X)
	dy := max(0, a.lo.Y-q.y0, q.y0-a.hi.Y)
	return math.Sqrt(float64(dx*dx) + float64(dy*dy))
}

// across is the way back within the layers the body is in: the furthest
// sideways over all of them, and in height back between the ends of the pen.
func (p *pen) across(q *query) Hit {
	out := Hit{Pen: true}
	f := flat{h: math.Inf(1), wall: -1}
	at := 0
	for k := range p.slabs {
		s := &p.slabs[k]
		if !p.meets(k, q) {
			continue
		}
		if g := s.area.keep(q, 1, math.Inf(1)); g.h < f.h {
			f, at = g, k
		}
	}
	v, face := heightRoom(q, p.floor(), p.ceiling())
	out.Clearance = min(both(f.h, v), 0)
	if v < f.h {
		p.capHit(q, face, &f, &out)
	} else {
		s := &p.slabs[at]
		s.area.wallHit(&f, s.lo, s.hi, q, &out)
	}
	return out
}

// meets tells whether the body reaches into layer k. A body beside all layers
// meets the nearest; one without height between two layers meets both.
func (p *pen) meets(k int, q *query) bool {
	s := &p.slabs[k]
	last := len(p.slabs) - 1
	lo, hi := s.lo, s.hi
	if k == 0 {
		lo = math.Inf(-1)
	}
	if k == last {
		hi = math.Inf(1)
	}
	if q.zlo == q.zhi {
		return q.zlo >= lo && q.zlo <= hi
	}
	return q.zlo < hi && q.zhi > lo
}
