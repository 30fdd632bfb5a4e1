package zones

import "math"

// seg is a piece of a wall, ready for distances. Its ends are ordered, so that
// the distance does not depend on the direction the ring was drawn in.
type seg struct {
	ax, ay float64 // m, the end with the smaller x (then y)
	dx, dy float64 // m, to the other end
	inv    float64 // 1/(dx²+dy²)
}

func newSeg(ax, ay, bx, by float64) seg {
	if bx < ax || bx == ax && by < ay {
		ax, ay, bx, by = bx, by, ax, ay
	}
	s := seg{ax: ax, ay: ay, dx: bx - ax, dy: by - ay}
	if n := float64(s.dx*s.dx) + float64(s.dy*s.dy); n > 0 {
		s.inv = 1 / n
	}
	if math.IsInf(s.inv, 0) { // shorter than 1e-154 m: a point
		s.inv = 0
	}
	return s
}

// dist2 is the squared distance from a point to the piece, m².
func (s *seg) dist2(x, y float64) float64 {
	qx, qy := x-s.ax, y-s.ay
	b := int64(math.Float64bits((float64(qx*s.dx) + float64(qy*s.dy)) * s.inv)) // see clamp
	t := math.Float64frombits(uint64(min(b&^(b>>63), one)))
	qx -= float64(t * s.dx)
	qy -= float64(t * s.dy)
	return float64(qx*qx) + float64(qy*qy)
}

// clamp is max(0, min(1, t)) for a t that is a number. Numbers that are not
// negative are in the order of their bits, and of whole numbers processors find
// the smaller without a branch.
func clamp(t float64) float64 {
	b := int64(math.Float64bits(t))
	b &^= b >> 63
	return math.Float64frombits(uint64(min(b, one)))
}

// one is 1.0.
const one = 0x3FF0_0000_0000_0000

// at is the parameter, 0 to 1, of the point of the piece nearest to (x, y).
func (s *seg) at(x, y float64) float64 {
	return clamp((float64((x-s.ax)*s.dx) + float64((y-s.ay)*s.dy)) * s.inv)
}

// point is the point at parameter t.
func (s *seg) point(t float64) (x, y float64) { return s.ax + float64(t*s.dx), s.ay + float64(t*s.dy) }

// near is the outcome of a search for the nearest pieces: the nearest, the one
// after it, and how far the third is. Distances are squared, m².
type near struct {
	d1, d2, d3 float64
	i1, i2     int32
	side       int8 // where a map knew it: see square
}

func (n *near) reset(limit float64) {
	n.d1, n.d2, n.d3, n.i1, n.i2, n.side = limit, math.Inf(1), math.Inf(1), -1, -1, 0
}

// sliver is how much two squared distances may differ, relatively, and still
// count as the same: far above rounding, far below what matters.
const sliver = 1e-8

// add takes piece i at squared distance d. Equal distances go by the index, so
// that the outcome does not depend on the order of the search.
func (n *near) add(d float64, i int32) {
	switch {
	case d < n.d1 || d == n.d1 && (n.i1 < 0 || i < n.i1):
		n.d3 = n.d2
		if n.i1 >= 0 {
			n.d2, n.i2 = n.d1, n.i1
		}
		n.d1, n.i1 = d, i
	case i == n.i1:
	case d < n.d2:
		n.d3 = n.d2
		n.d2, n.i2 = d, i
	case i == n.i2:
	case d < n.d3:
		n.d3 = d
	}
}

// chunk is how many walls are looked at before it is asked which was nearest.
const chunk = 16

// row adds up to chunk walls that follow each other, the first of which is
// number first.
func (n *near) row(row []seg, first int32, x, y float64) {
	var d [chunk]float64
	least := math.Float64bits(n.d1) // see clamp
	for i := range row {
		v := row[i].dist2(x, y)
		d[i&(chunk-1)] = v
		least = min(least, math.Float64bits(v))
	}
	same := math.Float64frombits(least) * (1 + sliver)
	for i, v := range d[:len(row)] {
		if v <= same {
			n.add(v, first+int32(i))
		}
	}
}

// fewMost is how many walls few takes: so few that branches cost less than what
// saves them.
const fewMost = 4

// few is list for few walls.
func (n *near) few(walls []seg, list []int32, x, y float64) {
	d1, d2, d3, i1, i2 := n.d1, n.d2, n.d3, n.i1, n.i2
	for _, i := range list {
		d := walls[i].dist2(x, y)
		switch {
		case d < d1 || d == d1 && i1 < 0:
			d3 = d2
			if i1 >= 0 {
				d2, i2 = d1, i1
			}
			d1, i1 = d, i
		case d < d2:
			d3 = d2
			d2, i2 = d, i
		case d < d3:
			d3 = d
		}
	}
	n.d1, n.d2, n.d3, n.i1, n.i2 = d1, d2, d3, i1, i2
}

// list adds up to chunk walls by their numbers.
func (n *near) list(walls []seg, list []int32, x, y float64) {
	var d [chunk]float64
	least := math.Float64bits(n.d1)
	for i, w := range list {
		v := walls[w].dist2(x, y)
		d[i&(chunk-1)] = v
		least = min(least, math.Float64bits(v))
	}
	same := math.Float64frombits(least) * (1 + sliver)
	for i, v := range d[:len(list)] {
		if v <= same {
			n.add(v, list[i])
		}
	}
}
