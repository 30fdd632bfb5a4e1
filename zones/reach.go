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
// may then be {limit, -1}, or a little more. With limit +Inf there always is a
// wall.
//
// The value is exact up to rounding while the centre line stays on the wanted
// side. Where it leaves, the value is the least over the way of signed
// distance less radius, or smaller by at most depthSlack.
func (a *area) keep(q *query, want int, limit float64) flat {
	if q.length == 0 {
		return a.keepStill(q, want, limit)
	}
	inBox := q.lox <= a.hi.X && q.hix >= a.lo.X && q.loy <= a.hi.Y && q.hiy >= a.lo.Y
	b := best{wall: -1, pad: float64(roundoff * max(a.scale, q.size))}
	b.m = limit + q.r + float64(2*b.pad) // the pad is taken off in the end: up to the very limit
	if !inBox && want < 0 {
		a.sweep(q, &b)
		if b.wall < 0 {
			return flat{h: limit, wall: -1}
		}
		return flat{h: b.m - q.r - b.pad, wall: b.wall, x: q.x0 + float64(b.at*q.ux), y: q.y0 + float64(b.at*q.uy)}
	}
	// The wall nearest to the start tells the side, and bounds the search.
	var n near
	var l lot
	a.lotOf(q, want, &l)
	l.nearest(a, q.x0, q.y0, &n)
	f := flat{h: math.Inf(1)}
	if inBox {
		n.side = int8(a.sign(q.x0, q.y0, &n)) // for depth too
	} else {
		n.side = -1
	}
	if want*int(n.side) <= 0 {
		a.depth(q, want, &l, &n, &f)
		f.h -= b.pad
		return f
	}
	b.m = math.Inf(1)
	b.look(q, &a.walls[n.i1], n.i1, n.d1)
	l.sweep(a, q, &b)
	f = flat{h: b.m - q.r, wall: b.wall, x: q.x0 + float64(b.at*q.ux), y: q.y0 + float64(b.at*q.uy)}
	if b.cut {
		a.depth(q, want, &l, &n, &f)
	}
	f.h -= b.pad
	return f
}

func (a *area) keepStill(q *query, want int, limit float64) flat {
	var n near
	pad := float64(roundoff * max(a.scale, q.size))
	room := limit + q.r + q.g + float64(2*pad) // as in keep
	if want > 0 || q.x0 <= a.hi.X && q.x0 >= a.lo.X && q.y0 <= a.hi.Y && q.y0 >= a.lo.Y {
		room = math.Inf(1)
	}
	a.nearest(q.x0, q.y0, room*room, &n)
	if n.i1 < 0 {
		return flat{h: limit, wall: -1}
	}
	d := float64(max(math.Sqrt(n.d1), math.SmallestNonzeroFloat64) * float64(want*a.sign(q.x0, q.y0, &n)))
	if !q.bare {
		d -= q.r + q.g + pad
	}
	return flat{h: d, wall: n.i1, x: q.x0, y: q.y0}
}

// sweep finds the wall that comes nearest to the swept disc, and whether the
// centre line cuts one.
func (a *area) sweep(q *query, b *best) {
	switch {
	case a.index == nil:
		for i := range a.walls {
			b.try(q, &a.walls[i], int32(i))
		}
	case a.plat == nil || !a.plat.sweep(a.walls, q, b):
		a.index.sweep(q, b)
	}
}

// best is the nearest wall of a sweep so far: how near it comes to the swept
// disc, before the radius at the start is taken off, and where on the way. It
// is the exact minimum of distance less growth where the centre line meets no
// wall; where it does, cut is true and m is no more than -g.
type best struct {
	m, at float64
	wall  int32
	cut   bool
	pad   float64 // m, what rounding may do
}

// try looks at a wall. Most are further from the middle of the way than the
// best could be.
func (b *best) try(q *query, s *seg, i int32) {
	r := b.m + q.g + q.half + b.pad
	if s.dist2(q.mx, q.my) <= r*r*(1+sliver) {
		b.look(q, s, i, s.dist2(q.x0, q.y0))
	}
}

// look is try for a wall that may be the nearest, d from the start, squared.
// Where the disc comes nearest to a wall that it does not cross there is an end
// of either. A wall further from the start than the way is long is not crossed.
func (b *best) look(q *query, s *seg, i int32, d float64) {
	m, at := math.Inf(1), 0.0
	reach := b.m + q.g + b.pad
	reach *= reach * (1 + sliver)
	if d <= reach {
		m = math.Sqrt(d)
	}
	if e := s.dist2(q.x1, q.y1); e <= reach {
		if v := math.Sqrt(e) - q.g; v < m {
			m, at = v, q.length
		}
	}
	bx, by := s.ax+s.dx, s.ay+s.dy
	if v, l := q.post(s.ax, s.ay, b.m+b.pad); v < m {
		m, at = v, l
	}
	if v, l := q.post(bx, by, b.m+b.pad); v < m {
		m, at = v, l
	}
	if d <= q.full2 && q.crosses(s, bx, by) {
		m, at, b.cut = -q.g, q.length, true // whatever was looked at before
	}
	if m < b.m || m == b.m && (b.wall < 0 || i < b.wall) {
		b.m, b.at, b.wall = m, at, i
	}
}
