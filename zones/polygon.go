package zones

import "math"

// polygon is one zone's rings in flat arrays, as Set.Shapes has them: vertex i
// is the start of edge i. It answers containment exactly.
type polygon struct {
	x, y   []float64
	next   []int32 // the vertex after i in its ring
	prev   []int32 // the vertex before i in its ring
	side   []int8  // +1: the inside is to the left of edge i, -1: to the right
	ring   []int32 // where each ring starts; one more entry than rings
	lo, hi XY      // bounding box
	index  *tree   // over the edges; nil where a scan is faster
}

// newPolygon takes rings that check found valid.
func newPolygon(rings [][]XY) *polygon {
	n := 0
	for _, r := range rings {
		n += len(r)
	}
	p := &polygon{x: make([]float64, 0, n), y: make([]float64, 0, n), next: make([]int32, n), prev: make([]int32, n),
		side: make([]int8, n), ring: make([]int32, 1, len(rings)+1),
		lo: XY{math.Inf(1), math.Inf(1)}, hi: XY{math.Inf(-1), math.Inf(-1)}}
	for k, r := range rings {
		p.addRing(r, k > 0)
	}
	if n > scanMax {
		p.index = newTree(p.segments())
	}
	return p
}

func (p *polygon) addRing(r []XY, hole bool) {
	base, n := int32(len(p.x)), int32(len(r))
	side := int8(turning(r))
	if hole {
		side = -side
	}
	for i, v := range r {
		p.x, p.y = append(p.x, v.X), append(p.y, v.Y)
		p.lo = XY{math.Min(p.lo.X, v.X), math.Min(p.lo.Y, v.Y)}
		p.hi = XY{math.Max(p.hi.X, v.X), math.Max(p.hi.Y, v.Y)}
		k := base + int32(i)
		p.next[k], p.prev[k], p.side[k] = k+1, k-1, side
	}
	p.next[base+n-1], p.prev[base] = base, base+n-1
	p.ring = append(p.ring, base+n)
}

// turning is +1 for a ring that runs counter-clockwise, -1 for clockwise,
// exactly: it looks at the turn at the lowest of the leftmost vertices.
func turning(r []XY) int {
	k := 0
	for i, v := range r {
		if v.X < r[k].X || v.X == r[k].X && v.Y < r[k].Y {
			k = i
		}
	}
	a, b, c := r[(k+len(r)-1)%len(r)], r[k], r[(k+1)%len(r)]
	return orient(a.X, a.Y, b.X, b.Y, c.X, c.Y)
}

// segments lists the edges as the index wants them.
func (p *polygon) segments() []seg {
	out := make([]seg, len(p.x))
	for i := range p.x {
		j := p.next[i]
		out[i] = newSeg(p.x[i], p.y[i], p.x[j], p.y[j])
	}
	return out
}

// locate tells exactly where a point is: +1 strictly inside, 0 on the
// boundary, -1 outside. It casts a ray towards +x.
func (p *polygon) locate(x, y float64) int {
	if !(x >= p.lo.X && x <= p.hi.X && y >= p.lo.Y && y <= p.hi.Y) {
		return -1
	}
	if p.index != nil {
		return p.index.locate(p, x, y)
	}
	in := -1
	for r := 1; r < len(p.ring); r++ {
		from, to := p.ring[r-1], p.ring[r]
		bx, by := p.x[to-1], p.y[to-1]
		for i := from; i < to; i++ {
			ax, ay := bx, by
			bx, by = p.x[i], p.y[i]
			switch passes(ax, ay, bx, by, x, y) {
			case 0:
				return 0
			case 1:
				in = -in
			}
		}
	}
	return in
}

// passes tells how the edge from a to b stands to the ray from (x, y) towards
// +x: 1 the ray passes through it, -1 it does not, 0 the point is on the edge.
// The end with the smaller y belongs to the edge, the other does not, so that
// a ray through a vertex is counted once.
func passes(ax, ay, bx, by, x, y float64) int {
	if (ay > y) == (by > y) {
		if ay == y && (ax == x || by == y && (ax < x) != (bx < x)) || by == y && bx == x {
			return 0
		}
		return -1
	}
	if ax > x && bx > x {
		return 1
	}
	if ax < x && bx < x {
		return -1
	}
	o := orient(ax, ay, bx, by, x, y)
	if by < ay {
		o = -o
	}
	return o
}
