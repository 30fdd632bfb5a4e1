package zones

import "math"

// depthSlack and depthPart bound how much deeper than true the depth of a
// sweep whose centre line leaves the allowed side may be given: 1 mm, or 1 % of
// the way and the growth together where that is more. depthTries bounds the
// looks it takes; mostly three to ten do.
const (
	depthSlack = 0.001
	depthPart  = 0.01
	depthTries = 256
)

// glance is what is known at part s of the way, 0 to 1: the signed clearance,
// how far the nearest wall is and which that is.
type glance struct {
	s, f, d float64
	wall    int32
}

// depth finds the least signed clearance along the way, never larger than the
// truth. n is what is nearest to the start. Mostly the two ends tell all.
func (a *area) depth(q *query, want int, l *lot, n *near, f *flat) {
	k := q.length + q.g
	tol := max(depthSlack, depthPart*k)
	f.wall = -1
	var p, o glance
	a.look(q, want, 0, n, f, &p)
	if p.wall >= 0 && -max(p.d, math.Sqrt(a.walls[p.wall].dist2(q.x1, q.y1))+q.g)-q.r >= f.h {
		return // it only comes nearer to the wall, see worst
	}
	l.at(a, q.x1, q.y1, n)
	a.look(q, want, 1, n, f, &o)
	if o.wall == p.wall && p.wall >= 0 && -max(p.d, o.d+q.g)-q.r >= f.h {
		return // nor is it further from that wall in between
	}
	bound, s := a.worst(q, k, &p, &o)
	if bound < f.h-tol {
		bound = a.between(q, want, l, f, tol, &p, &o, s)
	}
	f.h = min(f.h, bound)
}

// between looks between two looks, first at part s of the way, until no more
// than tol can hide there. It gives a lower bound of the clearance.
func (a *area) between(q *query, want int, l *lot, f *flat, tol float64, p, o *glance, s float64) float64 {
	k := q.length + q.g
	var seen [24]glance // the looks, in order, up to where it is still to be seen
	seen[0], seen[1] = *p, *o
	sure := math.Inf(1)
	var n near
	for last, tries := 1, 0; last > 0; {
		p, o := &seen[last-1], &seen[last]
		bound := -math.MaxFloat64
		if tries > 0 {
			bound, s = a.worst(q, k, p, o)
		}
		if bound >= f.h-tol || tries >= depthTries || last+1 == len(seen) {
			sure = min(sure, bound)
			last--
			continue
		}
		tries++
		last++
		seen[last] = *o
		x, y := q.place(s)
		l.at(a, x, y, &n)
		a.look(q, want, s, &n, f, o)
	}
	return sure
}

// place is where part s of the way is.
func (q *query) place(s float64) (x, y float64) {
	if s == 1 {
		return q.x1, q.y1
	}
	return q.x0 + float64(s*(q.x1-q.x0)), q.y0 + float64(s*(q.y1-q.y0))
}

// worst is a lower bound of the clearance between two looks, and where between
// them to look next. The clearance changes by at most the way and the growth in
// between; and it is no worse than minus the distance from any one wall, the
// growth and the radius. The distance from what is straight is a convex
// function of the way: no greater than in proportion between the ends.
func (a *area) worst(q *query, k float64, p, o *glance) (bound, next float64) {
	bound, next = (p.f+o.f-float64(k*(o.s-p.s)))/2, (p.s+o.s)/2
	if p.wall < 0 || o.wall < 0 {
		return bound, next
	}
	px, py := q.place(p.s)
	ox, oy := q.place(o.s)
	// From the wall nearest at p: a0 there, a1 at o. From that at o: b0 and b1.
	a0, b1 := p.d+float64(p.s*q.g), o.d+float64(o.s*q.g)
	a1 := math.Sqrt(a.walls[p.wall].dist2(ox, oy)) + float64(o.s*q.g)
	b0 := math.Sqrt(a.walls[o.wall].dist2(px, py)) + float64(p.s*q.g)
	most := max(a0, b1)
	if sum := (b0 - a0) + (a1 - b1); sum > 0 {
		t := max(0, min(1, (b0-a0)/sum)) // where both are as far
		most = max(most, a0+float64(t*(a1-a0)))
		next = p.s + float64(max(0.125, min(0.875, t))*(o.s-p.s))
	}
	return max(bound, -most-q.r), next
}

// look is the clearance of the disc at part s of the way, of which n is known;
// f keeps the least.
func (a *area) look(q *query, want int, s float64, n *near, f *flat, g *glance) {
	x, y := q.place(s)
	g.s, g.d, g.wall = s, math.Sqrt(n.d1), a.oneOf(n)
	g.f = float64(float64(want*a.sign(x, y, n))*g.d) - q.r - float64(s*q.g)
	if g.f < f.h || f.wall < 0 {
		f.h, f.wall, f.x, f.y = g.f, n.i1, x, y
	}
}

// oneOf is the nearest wall, one that does not depend on where the ring was
// begun: of two the same, where there are more, none (-1).
func (a *area) oneOf(n *near) int32 {
	switch {
	case n.d2 > n.d1:
		return n.i1
	case n.d3 > n.d1 && a.walls[n.i2].before(&a.walls[n.i1]):
		return n.i2
	case n.d3 > n.d1:
		return n.i1
	}
	return -1
}

// before puts walls in order by where they begin, then by where they go.
func (s *seg) before(o *seg) bool {
	switch {
	case s.ax != o.ax:
		return s.ax < o.ax
	case s.ay != o.ay:
		return s.ay < o.ay
	case s.dx != o.dx:
		return s.dx < o.dx
	}
	return s.dy < o.dy
}
