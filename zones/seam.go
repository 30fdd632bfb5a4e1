package zones

// maxRays bounds the directions looked at around one point of a seam. Where
// more walls meet in one point, the point counts as outside.
const maxRays = 64

// sector is what one part covers around a point on its boundary: everything
// counter-clockwise from one direction to the other. Directions are given by a
// point each, exactly as the zones have them.
type sector struct{ fx, fy, tx, ty float64 }

// surrounds tells, exactly, whether the parts on whose boundaries the point
// lies together fill a whole neighbourhood of it.
func (a *area) surrounds(x, y float64) bool {
	var list [maxRays]sector
	n := 0
	for _, p := range a.parts {
		if n = p.sectors(x, y, &list, n); n < 0 {
			return false
		}
	}
	// Any gap would begin where some sector ends: there another must go on.
	for i := range n {
		if !goesOn(x, y, list[i].tx, list[i].ty, list[:n]) {
			return false
		}
	}
	return n > 0
}

// goesOn tells whether a sector covers the directions just after (tx, ty).
func goesOn(x, y, tx, ty float64, list []sector) bool {
	for i := range list {
		s := &list[i]
		if sameWay(x, y, s.fx, s.fy, tx, ty) {
			return true
		}
		if sameWay(x, y, s.tx, s.ty, tx, ty) {
			continue
		}
		if between(x, y, s, tx, ty) {
			return true
		}
	}
	return false
}

// sectors appends what the polygon covers around a point of its boundary; -1:
// too many. Off the boundary it appends nothing.
func (p *polygon) sectors(x, y float64, list *[maxRays]sector, n int) int {
	for e := range p.x {
		f := p.next[e]
		ax, ay, bx, by := p.x[e], p.y[e], p.x[f], p.y[f]
		if ax == x && ay == y {
			u := p.prev[e]
			ax, ay = p.x[u], p.y[u]
		} else if bx == x && by == y || passes(ax, ay, bx, by, x, y) != 0 {
			continue
		}
		if n == len(list) {
			return -1
		}
		// Inside to the left: from the way ahead round to the way back.
		list[n] = sector{bx, by, ax, ay}
		if p.side[e] < 0 {
			list[n] = sector{ax, ay, bx, by}
		}
		n++
	}
	return n
}

// sameWay tells whether two points lie in the same direction from (x, y).
func sameWay(x, y, ax, ay, bx, by float64) bool {
	return orient(x, y, ax, ay, bx, by) == 0 && upper(x, y, ax, ay) == upper(x, y, bx, by)
}

// upper tells whether the direction to a is within [0, 180) degrees.
func upper(x, y, ax, ay float64) bool { return ay > y || ay == y && ax > x }

// between tells whether the direction to t lies strictly inside the sector.
func between(x, y float64, s *sector, tx, ty float64) bool {
	turn := orient(x, y, s.fx, s.fy, s.tx, s.ty)
	left := orient(x, y, s.fx, s.fy, tx, ty)
	right := orient(x, y, tx, ty, s.tx, s.ty)
	switch {
	case turn > 0:
		return left > 0 && right > 0
	case turn == 0: // half a turn
		return left > 0
	}
	return left > 0 || right > 0 || left == 0 && !sameWay(x, y, s.fx, s.fy, tx, ty)
}
