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
	if inBox {
		limit = math.Inf(1)
	}
	f, cut := a.sweep(q, limit)
	if f.wall < 0 {
		if want < 0 {
			return f
		}
		f, cut = a.sweep(q, math.Inf(1))
	}
	if !cut && (inBox || want > 0) {
		side := -1
		if inBox {
			side = a.sideOf(q.x0, q.y0, f.wall)
		}
		cut = side*want <= 0
	}
	if cut {
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

// sideOf is the exact side of a point. A wall known to be near keeps the
// search short.
func (a *area) sideOf(x, y float64, wall int32) int {
	var n near
	a.nearest(x, y, a.walls[wall].dist2(x, y)*(1+sliver), &n)
	return a.sign(x, y, &n)
}

// sweep finds the wall that comes nearest to the swept disc, no further than
// limit, and whether the centre line cuts one.
func (a *area) sweep(q *query, limit float64) (f flat, cut bool) {
	b := best{m: limit + q.r, wall: -1}
	if a.index != nil {
		a.index.sweep(q, &b)
	} else {
		for i := range a.walls {
			b.try(q, &a.walls[i], int32(i))
		}
	}
	if b.wall < 0 {
		return flat{h: limit, wall: -1}, b.cut
	}
	return flat{h: b.m - q.r, wall: b.wall, x: q.x0 + b.at*q.ux, y: q.y0 + b.at*q.uy}, b.cut
}

// best is the nearest wall of a sweep so far.
type best struct {
	m, at float64
	wall  int32
	cut   bool
}

func (b *best) try(q *query, s *seg, i int32) {
	// Boxes first: most pieces are far from the way.
	dx := math.Max(0, math.Max(s.ax-q.hix, q.lox-s.ax-s.dx))
	dy := math.Max(0, math.Max(math.Min(s.ay, s.ay+s.dy)-q.hiy, q.loy-math.Max(s.ay, s.ay+s.dy)))
	if r := b.m + q.g; dx*dx+dy*dy > r*r*(1+sliver) {
		return
	}
	m, at, cut := q.wall(s)
	b.cut = b.cut || cut
	if m < b.m || m == b.m && (b.wall < 0 || i < b.wall) {
		b.m, b.at, b.wall = m, at, i
	}
}
