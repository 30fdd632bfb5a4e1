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
	root           float64 // √(1 - slope²) for a slope between 0 and 1
	mx, my, half   float64 // m, the middle of the way and half its length, rounded up
	full2          float64 // m², the length squared, rounded up
}

// roundoff times the largest coordinate bounds the rounding of a distance
// between pieces of wall and a centre line. It is taken off the clearance of
// every body that is not a bare point, so that rounding never lets one through
// (for coordinates of 10 m: 4e-14 m).
const roundoff = 4e-15

// set fills the query. It reports false for a sweep that is not finite, out of
// MaxQuery or has a negative size.
func (q *query) set(s *Sweep) bool {
	if !q.stand(s) {
		return false
	}
	if q.x0 != q.x1 || q.y0 != q.y1 {
		q.direct()
		return true
	}
	q.bare = s.From.Z == s.To.Z && s.Radius+s.Grow+s.Below+s.Above == 0
	return true
}

// stand fills where the query is and how large, all that a stance takes.
func (q *query) stand(s *Sweep) bool {
	if !(within(s.From.X) && within(s.From.Y) && within(s.From.Z) && within(s.To.X) && within(s.To.Y) && within(s.To.Z) &&
		within(s.Radius) && within(s.Grow) && within(s.Below) && within(s.Above)) ||
		s.Radius < 0 || s.Grow < 0 || s.Below < 0 || s.Above < 0 {
		return false
	}
	q.x0, q.y0, q.x1, q.y1, q.r, q.g = s.From.X, s.From.Y, s.To.X, s.To.Y, s.Radius, s.Grow
	q.lox, q.hix, q.loy, q.hiy = q.x0, q.x1, q.y0, q.y1
	if q.lox > q.hix {
		q.lox, q.hix = q.hix, q.lox
	}
	if q.loy > q.hiy {
		q.loy, q.hiy = q.hiy, q.loy
	}
	q.zlo, q.zhi = s.From.Z, s.To.Z
	if q.zlo > q.zhi {
		q.zlo, q.zhi = q.zhi, q.zlo
	}
	q.zlo -= s.Below
	q.zhi += s.Above
	q.size = max(math.Abs(q.lox), math.Abs(q.hix), math.Abs(q.loy), math.Abs(q.hiy)) + q.r + q.g
	if s.Below > 0 || s.Above > 0 {
		q.slack = roundoff * max(math.Abs(q.zlo), math.Abs(q.zhi))
	}
	return true
}

// within tells whether a length is a number that may be asked about.
func within(v float64) bool { return math.Abs(v) <= MaxQuery }

// direct works out the direction. A way shorter than rounding counts as none.
func (q *query) direct() {
	dx, dy := q.x1-q.x0, q.y1-q.y0
	q.length = math.Sqrt(float64(dx*dx) + float64(dy*dy))
	if q.length <= roundoff*q.size {
		q.r += q.length
		q.length = 0
		return
	}
	q.ux, q.uy = dx/q.length, dy/q.length
	q.slope = q.g / q.length
	if q.slope > 0 && q.slope < 1 {
		q.root = math.Sqrt(1 - float64(q.slope*q.slope))
	}
	q.mx, q.my = (q.x0+q.x1)/2, (q.y0+q.y1)/2
	q.half = float64(q.length/2) + float64(roundoff*q.size)
	q.full2 = (2 * q.half) * (2 * q.half) * (1 + sliver)
}

// post is how near a point comes to the swept disc, before the radius at the
// start is taken off: min over the way of distance - growth; and where on the
// way, m. Of a point that comes nearest to the ends of the way, or no nearer
// than limit, infinity is said.
func (q *query) post(x, y, limit float64) (m, at float64) {
	px, py := x-q.x0, y-q.y0
	u := float64(px*q.ux) + float64(py*q.uy)
	h := math.Abs(float64(px*q.uy) - float64(py*q.ux))
	if q.slope > 0 {
		if q.slope >= 1 {
			return math.Inf(1), 0
		}
		u += q.slope * h / q.root
	}
	if !(u > 0 && u < q.length && h <= (limit+q.g)*(1+sliver)) {
		return math.Inf(1), 0
	}
	dx, dy := px-float64(u*q.ux), py-float64(u*q.uy)
	return math.Sqrt(float64(dx*dx)+float64(dy*dy)) - float64(u*q.slope), u
}

// crosses tells, exactly, whether the centre line and the piece meet; in line
// with each other they may be said to meet when only their boxes do.
func (q *query) crosses(s *seg, bx, by float64) bool {
	if min(s.ay, by) > q.hiy || max(s.ay, by) < q.loy || s.ax > q.hix || bx < q.lox {
		return false
	}
	return orient(q.x0, q.y0, q.x1, q.y1, s.ax, s.ay)*orient(q.x0, q.y0, q.x1, q.y1, bx, by) <= 0 &&
		orient(s.ax, s.ay, bx, by, q.x0, q.y0)*orient(s.ax, s.ay, bx, by, q.x1, q.y1) <= 0
}
