package zones

import "math"

// tag says which edge of which zone a piece of wall comes from.
type tag struct {
	part int32 // index into area.parts
	edge int32 // edge of that polygon
	cut  bool  // only a part of the edge
	left int8  // +1: the inside is to the left of the wall as its seg has it, -1: to the right, 0: see cut
}

// area is a region of the floor plan, one polygon or the union of several,
// with its walls. Its answers about a bare point are exact in sign.
type area struct {
	parts  []*polygon
	zone   []int32 // the zone of each part
	walls  []seg
	tags   []tag
	index  *tree // over walls; nil where a scan is faster
	plat   *plat // see layPlat; may be nil
	lo     XY
	hi     XY
	scale  float64 // m, the largest size of a coordinate
	close2 float64 // m², so near the walls it takes more than the nearest to tell the side
}

// newArea is the area of one polygon.
func newArea(p *polygon, zone int32) *area {
	a := &area{parts: []*polygon{p}, zone: []int32{zone}, walls: p.segments(), tags: make([]tag, len(p.x)), index: p.index}
	for i := range a.tags {
		a.tags[i].edge = int32(i)
	}
	a.measure()
	return a
}

func (a *area) measure() {
	a.lo, a.hi = XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for _, p := range a.parts {
		a.lo = XY{min(a.lo.X, p.lo.X), min(a.lo.Y, p.lo.Y)}
		a.hi = XY{max(a.hi.X, p.hi.X), max(a.hi.Y, p.hi.Y)}
	}
	for i := range a.tags {
		t := &a.tags[i]
		p := a.parts[t.part]
		f := p.next[t.edge]
		switch t.left = p.side[t.edge]; {
		case t.cut:
			t.left = 0
		case after(XY{p.x[t.edge], p.y[t.edge]}, XY{p.x[f], p.y[f]}):
			t.left = -t.left
		}
	}
	a.scale = max(max(math.Abs(a.lo.X), math.Abs(a.lo.Y)), max(math.Abs(a.hi.X), math.Abs(a.hi.Y)))
	a.close2 = max(1e-12*a.scale*a.scale, 1e-280) // squares of less lose bits
}

// locate tells exactly where a point is: +1 in the interior of the union, 0 on
// its boundary, -1 outside. A point on the seam of two parts is in the
// interior when the parts fill everything around it.
func (a *area) locate(x, y float64) int {
	touched := 0
	for _, p := range a.parts {
		switch p.locate(x, y) {
		case 1:
			return 1
		case 0:
			touched++
		}
	}
	switch {
	case touched == 0:
		return -1
	case touched > 1 && a.surrounds(x, y):
		return 1
	}
	return 0
}

// nearest finds the walls nearest to a point, no further than the square root
// of limit.
func (a *area) nearest(x, y, limit float64, n *near) {
	n.reset(limit)
	if a.plat != nil && a.plat.nearest(a.walls, x, y, n) {
		return
	}
	if a.index != nil {
		a.index.nearest(x, y, n)
		return
	}
	for i := 0; i < len(a.walls); i += chunk { // in tests there may be many
		n.row(a.walls[i:min(i+chunk, len(a.walls))], int32(i), x, y)
	}
}

// signed is the signed distance of a point to the boundary, metres, positive
// inside, exactly zero on the line, and the nearest wall.
func (a *area) signed(x, y float64) (float64, int32) {
	var n near
	a.nearest(x, y, math.Inf(1), &n)
	d := math.Sqrt(n.d1)
	if d == 0 {
		d = math.SmallestNonzeroFloat64
	}
	return d * float64(a.sign(x, y, &n)), n.i1
}

// sign is locate with what is known about the nearest walls. When one wall is
// clearly the nearest, no other crosses the way to it, so the side of it on
// which the point lies decides; when two walls are that meet in a corner, the
// corner decides. Everything else, and all that is close, goes the long way.
func (a *area) sign(x, y float64, n *near) int {
	if n.side != 0 {
		return int(n.side)
	}
	if x < a.lo.X || x > a.hi.X || y < a.lo.Y || y > a.hi.Y {
		return -1
	}
	if n.i1 < 0 {
		return a.locate(x, y)
	}
	if !(n.d1 > a.close2) {
		return a.locate(x, y)
	}
	same := n.d1 * (1 + sliver)
	t := &a.tags[n.i1]
	side := a.sideOf(n.i1, x, y)
	if n.d2 > same {
		if u := a.walls[n.i1].at(x, y); u <= 0 || u >= 1 {
			return a.locate(x, y)
		}
		if side != 0 {
			return side
		}
		p, e := a.parts[t.part], t.edge
		f := p.next[e]
		return int(p.side[e]) * orient(p.x[e], p.y[e], p.x[f], p.y[f], x, y)
	}
	o := &a.tags[n.i2]
	if n.d3 <= same || o.part != t.part || t.cut || o.cut {
		return a.locate(x, y)
	}
	if side != 0 && side == a.sideOf(n.i2, x, y) {
		return side
	}
	p, e := a.parts[t.part], t.edge
	if p.next[o.edge] == e {
		e, o = o.edge, t
	}
	if p.next[e] != o.edge {
		return a.locate(x, y)
	}
	v := o.edge
	dx, dy := x-p.x[v], y-p.y[v]
	if float64(dx*dx)+float64(dy*dy) > same {
		return a.locate(x, y)
	}
	return p.corner(v, x, y)
}

// sideOf tells on which side of a wall the point is, +1 the inside, -1 the
// outside; 0 where rounding, also that of the seg, leaves a doubt: dx and dy,
// the differences, the products are each off by 2⁻⁵³ of themselves at most.
func (a *area) sideOf(wall int32, x, y float64) int {
	s := &a.walls[wall]
	l, r := float64(s.dx*(y-s.ay)), float64(s.dy*(x-s.ax))
	det, bound := l-r, 1e-15*(math.Abs(l)+math.Abs(r))
	switch {
	case bound < underflowGuard:
		return 0
	case det > bound:
		return int(a.tags[wall].left)
	case -det > bound:
		return -int(a.tags[wall].left)
	}
	return 0
}

// corner tells on which side of the two edges meeting in vertex v the
// direction to (x, y) lies: +1 the inside, -1 the outside, 0 along an edge.
func (p *polygon) corner(v int32, x, y float64) int {
	u, w := p.prev[v], p.next[v]
	s := int(p.side[v])
	turn := s * orient(p.x[u], p.y[u], p.x[v], p.y[v], p.x[w], p.y[w])
	a := s * orient(p.x[u], p.y[u], p.x[v], p.y[v], x, y)
	b := s * orient(p.x[v], p.y[v], p.x[w], p.y[w], x, y)
	if turn > 0 {
		return min(a, b)
	}
	return max(a, b)
}
