package zones

import "math"

// query is a Sweep made ready: checked, with what every zone needs of it.
type query struct {
	x0, y0, x1, y1 float64 // m, the centre line on the floor plan
	ux, uy, length float64 // its direction and length; length 0: no motion
	r, g           float64 // m, radius at the start, growth on the way
	slope          float64 // g per metre of way
	zlo, zhi       float64 // m, what the body reaches in height, over the whole way
	size           float64 // m, the largest horizontal coordinate
	slack          float64 // m, taken off every height room: rounding, 0 for a bare point
	bare           bool    // a point at rest: signs are exact
	lox, hix       float64 // m, box of the centre line
	loy, hiy       float64
	mx, my, half   float64 // m, the middle of the way; half its length and the growth
}

// roundoff times the largest coordinate bounds the rounding of a distance
// between pieces of wall and a centre line. It is taken off the clearance of
// every body that is not a bare point, so that rounding never lets one through
// (for coordinates of 10 m: 4e-14 m).
const roundoff = 4e-15

// set fills the query. It reports false for a sweep that is not finite, out of
// MaxQuery or has a negative size.
func (q *query) set(s *Sweep) bool {
	for _, v := range [6]float64{s.From.X, s.From.Y, s.From.Z, s.To.X, s.To.Y, s.To.Z} {
		if !(math.Abs(v) <= MaxQuery) {
			return false
		}
	}
	for _, v := range [4]float64{s.Radius, s.Grow, s.Below, s.Above} {
		if !(v >= 0 && v <= MaxQuery) {
			return false
		}
	}
	*q = query{x0: s.From.X, y0: s.From.Y, x1: s.To.X, y1: s.To.Y, r: s.Radius, g: s.Grow}
	q.lox, q.hix = math.Min(q.x0, q.x1), math.Max(q.x0, q.x1)
	q.loy, q.hiy = math.Min(q.y0, q.y1), math.Max(q.y0, q.y1)
	q.zlo = math.Min(s.From.Z, s.To.Z) - s.Below
	q.zhi = math.Max(s.From.Z, s.To.Z) + s.Above
	q.size = math.Max(math.Max(math.Abs(q.lox), math.Abs(q.hix)), math.Max(math.Abs(q.loy), math.Abs(q.hiy))) + q.r + q.g
	if s.From == s.To && s.Radius+s.Grow+s.Below+s.Above == 0 {
		q.bare = true
		return true
	}
	if s.Below > 0 || s.Above > 0 {
		q.slack = roundoff * math.Max(math.Abs(q.zlo), math.Abs(q.zhi))
	}
	q.direct()
	return true
}

// direct works out the direction. A way shorter than rounding counts as none.
func (q *query) direct() {
	dx, dy := q.x1-q.x0, q.y1-q.y0
	if dx == 0 && dy == 0 {
		return
	}
	q.length = math.Hypot(dx, dy)
	if q.length <= roundoff*q.size {
		q.r += q.length
		q.length = 0
		return
	}
	q.ux, q.uy = dx/q.length, dy/q.length
	q.slope = q.g / q.length
	q.mx, q.my, q.half = (q.x0+q.x1)/2, (q.y0+q.y1)/2, q.length/2+q.g
}

// wall is how near one piece of wall comes to the swept disc, before the
// radius at the start is taken off: min over the way of distance - growth. It
// is the exact minimum for walls that the centre line does not meet; for
// walls that it crosses it is -g, and cut is true. at is where on the way, m.
func (q *query) wall(s *seg) (m, at float64, cut bool) {
	bx, by := s.ax+s.dx, s.ay+s.dy
	m, at = math.Sqrt(s.dist2(q.x0, q.y0)), 0
	if v := math.Sqrt(s.dist2(q.x1, q.y1)) - q.g; v < m {
		m, at = v, q.length
	}
	if v, l := q.post(s.ax, s.ay); v < m {
		m, at = v, l
	}
	if v, l := q.post(bx, by); v < m {
		m, at = v, l
	}
	if q.crosses(s, bx, by) {
		m, cut = -q.g, true
	}
	return m, at, cut
}

// post is wall for a single point.
func (q *query) post(x, y float64) (m, at float64) {
	px, py := x-q.x0, y-q.y0
	u := px*q.ux + py*q.uy
	h := math.Abs(px*q.uy - py*q.ux)
	switch {
	case q.slope >= 1:
		u = q.length
	case q.slope > 0:
		u += q.slope * h / math.Sqrt(1-q.slope*q.slope)
	}
	u = math.Min(q.length, math.Max(0, u))
	dx, dy := px-u*q.ux, py-u*q.uy
	return math.Sqrt(dx*dx+dy*dy) - u*q.slope, u
}

// crosses tells, exactly, whether the centre line and the piece meet; in line
// with each other they may be said to meet when only their boxes do.
func (q *query) crosses(s *seg, bx, by float64) bool {
	if math.Min(s.ay, by) > q.hiy || math.Max(s.ay, by) < q.loy || s.ax > q.hix || bx < q.lox {
		return false
	}
	return orient(q.x0, q.y0, q.x1, q.y1, s.ax, s.ay)*orient(q.x0, q.y0, q.x1, q.y1, bx, by) <= 0 &&
		orient(s.ax, s.ay, bx, by, q.x0, q.y0)*orient(s.ax, s.ay, bx, by, q.x1, q.y1) <= 0
}
