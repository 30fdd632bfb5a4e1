package zones

import "math"

// flat is how a swept disc stands to an area on the floor plan.
type flat struct {
	h    float64 // m, signed clearance of the disc: positive while it keeps clear
	wall int32   // nearest wall of the area; -1: none within what was asked
	x, y float64 // m, the point of the centre line it is nearest to
}

// keep answers for a disc that must stay inside (want = 1) or outside
// (want = -1) an area. Nothing further than limit is of interest: the answer
// may then be {limit, -1}. With limit +Inf there always is a wall.
//
// The value is exact up to rounding while the centre line stays on the wanted
// side. Where it leaves, the value is the least over the way of signed
// distance less radius, or smaller by at most depthSlack.
func (a *area) keep(q *query, want int, limit float64) flat {
	if q.length == 0 {
		return a.keepStill(q, want, limit)
	}
	inBox := q.lox <= a.hi.X && q.hix >= a.lo.X && q.loy <= a.hi.Y && q.hiy >= a.lo.Y
	b := best{m: limit + q.r, wall: -1}
	side := -1
	if inBox || want > 0 {
		// The wall nearest to the start tells the side, and bounds the search.
		var n near
		a.nearest(q.x0, q.y0, math.Inf(1), &n)
		if inBox {
			side = a.sign(q.x0, q.y0, &n)
		}
		b.m = math.Inf(1)
		b.try(q, &a.walls[n.i1], n.i1)
	}
	a.sweep(q, &b)
	if b.wall < 0 {
		return flat{h: limit, wall: -1}
	}
	f := flat{h: b.m - q.r, wall: b.wall, x: q.x0 + b.at*q.ux, y: q.y0 + b.at*q.uy}
	if b.cut || side*want <= 0 {
		a.depth(q, want, &f)
	}
	f.h -= roundoff * math.Max(a.scale, q.size)
	return f
}

func (a *area) keepStill(q *query, want int, limit float64) flat {
	var n near
	room := limit + q.r + q.g
	if want > 0 || q.x0 <= a.hi.X && q.x0 >= a.lo.X && q.y0 <= a.hi.Y && q.y0 >= a.lo.Y {
		room = math.Inf(1)
	}
	a.nearest(q.x0, q.y0, room*room, &n)
	if n.i1 < 0 {
		return flat{h: limit, wall: -1}
	}
	d := math.Max(math.Sqrt(n.d1), math.SmallestNonzeroFloat64) * float64(want*a.sign(q.x0, q.y0, &n))
	if !q.bare {
		d -= q.r + q.g + roundoff*math.Max(a.scale, q.size)
	}
	return flat{h: d, wall: n.i1, x: q.x0, y: q.y0}
}

// sweep finds the wall that comes nearest to the swept disc, and whether the
// centre line cuts one.
func (a *area) sweep(q *query, b *best) {
	if a.index != nil {
		a.index.sweep(q, b)
		return
	}
	for i := range a.walls {
		b.try(q, &a.walls[i], int32(i))
	}
}

// best is the nearest wall of a sweep so far.
type best struct {
	m, at float64
	wall  int32
	cut   bool
}

// try looks at a wall. Most are further from the middle of the way than the
// best could be.
func (b *best) try(q *query, s *seg, i int32) {
	if r := b.m + q.half; s.dist2(q.mx, q.my) > r*r*(1+sliver) {
		return
	}
	m, at, cut := q.wall(s)
	b.cut = b.cut || cut
	if m < b.m || m == b.m && (b.wall < 0 || i < b.wall) {
		b.m, b.at, b.wall = m, at, i
	}
}
