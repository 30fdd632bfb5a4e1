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

// glance is what is known at part s of the way, 0 to 1: the place, its signed
// clearance, how far the nearest wall is and which that is.
type glance struct {
	s, x, y float64
	f, d    float64
	wall    int32
}

// depth finds the least signed clearance along the way, never larger than the
// truth.
func (a *area) depth(q *query, want int, f *flat) {
	k := q.length + q.g
	tol := max(depthSlack, depthPart*k)
	f.wall = -1
	var todo [24][2]glance
	a.look(q, want, 0, f, &todo[0][0])
	a.look(q, want, 1, f, &todo[0][1])
	sure := math.Inf(1)
	for n, tries := 1, 0; n > 0; {
		n--
		p := &todo[n]
		bound := a.worst(q, k, &p[0], &p[1])
		if bound >= f.h-tol || tries >= depthTries || n+2 > len(todo) {
			sure = min(sure, bound)
			continue
		}
		tries++
		to := p[1]
		a.look(q, want, (p[0].s+to.s)/2, f, &p[1])
		todo[n+1] = [2]glance{p[1], to}
		n += 2
	}
	f.h = min(f.h, sure)
}

// worst is a lower bound of the clearance between two looks. It changes by at
// most the way and the growth in between; and it is no worse than minus the
// distance from any one wall and the radius, which is greatest at one of the
// ends, since the distance from what is straight is a convex function.
func (a *area) worst(q *query, k float64, p, o *glance) float64 {
	bound := (p.f + o.f - k*(o.s-p.s)) / 2
	if w := o.wall; w >= 0 {
		e := math.Sqrt(a.walls[w].dist2(p.x, p.y)) + p.s*q.g
		bound = max(bound, -max(e, o.d+o.s*q.g)-q.r)
	}
	if w := p.wall; w >= 0 {
		e := math.Sqrt(a.walls[w].dist2(o.x, o.y)) + o.s*q.g
		bound = max(bound, -max(e, p.d+p.s*q.g)-q.r)
	}
	return bound
}

// look is the clearance of the disc at part s of the way; f keeps the least.
func (a *area) look(q *query, want int, s float64, f *flat, g *glance) {
	g.s, g.x, g.y = s, q.x0+s*(q.x1-q.x0), q.y0+s*(q.y1-q.y0)
	var n near
	a.nearest(g.x, g.y, math.Inf(1), &n)
	g.d, g.wall = math.Sqrt(n.d1), a.oneOf(&n)
	g.f = float64(want*a.sign(g.x, g.y, &n))*g.d - q.r - s*q.g
	if g.f < f.h || f.wall < 0 {
		f.h, f.wall, f.x, f.y = g.f, n.i1, g.x, g.y
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
