package zones

import (
	"math"
	"slices"
)

// edge is edge i of a ring, or of a part of an area.
type edge struct {
	a, b XY
	ring int32
	i    int32
}

// contact is an edge of a polygon that meets a given one.
type contact struct {
	edge int32
	how  meeting
	at   XY // as meet has it
}

// edge is edge i of the polygon; its ring is left out.
func (p *polygon) edge(i int32) edge {
	n := p.next[i]
	return edge{a: XY{p.x[i], p.y[i]}, b: XY{p.x[n], p.y[n]}, i: i}
}

// contacts appends to list the edges of the polygon, numbered beyond the given
// one, that meet the segment from a to b: each once, in order.
func (p *polygon) contacts(a, b XY, beyond int32, list []contact) []contact {
	first := len(list)
	if p.index == nil {
		for i := beyond + 1; i < int32(len(p.x)); i++ {
			list = p.contact(a, b, i, list)
		}
		return list
	}
	list = p.index.contacts(p, newStrip(a, b, p), beyond, list)
	found := list[first:]
	if len(found) > 1 { // the pieces of an edge each find it
		slices.SortFunc(found, func(c, d contact) int { return int(c.edge - d.edge) })
		found = slices.CompactFunc(found, func(c, d contact) bool { return c.edge == d.edge })
	}
	return list[:first+len(found)]
}

// contact appends edge i if it meets the segment from a to b.
func (p *polygon) contact(a, b XY, i int32, list []contact) []contact {
	e := p.edge(i)
	if min(e.a.X, e.b.X) > max(a.X, b.X) || max(e.a.X, e.b.X) < min(a.X, b.X) ||
		min(e.a.Y, e.b.Y) > max(a.Y, b.Y) || max(e.a.Y, e.b.Y) < min(a.Y, b.Y) {
		return list
	}
	if how, at := meet(a, b, e.a, e.b); how != apart {
		list = append(list, contact{i, how, at})
	}
	return list
}

// strip is a segment, ready to be held against boxes.
type strip struct {
	a, b   XY
	lo, hi XY
	nx, ny float64 // across it
	slack  float64 // what rounding may do to a product with them
}

func newStrip(a, b XY, p *polygon) *strip {
	s := &strip{a: a, b: b, lo: XY{min(a.X, b.X), min(a.Y, b.Y)}, hi: XY{max(a.X, b.X), max(a.Y, b.Y)}, nx: b.Y - a.Y, ny: a.X - b.X}
	size := max(math.Abs(s.lo.X), math.Abs(s.lo.Y), math.Abs(s.hi.X), math.Abs(s.hi.Y),
		math.Abs(p.lo.X), math.Abs(p.lo.Y), math.Abs(p.hi.X), math.Abs(p.hi.Y))
	s.slack = 1e-14 * size * (math.Abs(s.nx) + math.Abs(s.ny))
	return s
}

// misses tells that child i of a node is off the segment for sure.
func (s *strip) misses(c *node, i int) bool {
	if c.lx[i] > s.hi.X || c.hx[i] < s.lo.X || c.ly[i] > s.hi.Y || c.hy[i] < s.lo.Y {
		return true
	}
	x, y := float64((c.lx[i]+c.hx[i])/2)-s.a.X, float64((c.ly[i]+c.hy[i])/2)-s.a.Y
	w, h := (c.hx[i]-c.lx[i])/2, (c.hy[i]-c.ly[i])/2
	return math.Abs(float64(s.nx*x)+float64(s.ny*y)) > float64(math.Abs(s.nx)*w)+float64(math.Abs(s.ny)*h)+s.slack
}

// contacts is polygon.contacts by the tree over the polygon's edges; an edge
// that is in it in several pieces may come several times.
func (t *tree) contacts(p *polygon, s *strip, beyond int32, list []contact) []contact {
	var stack [stackMax]int32
	stack[0] = t.top
	for sp := 1; sp > 0; {
		sp--
		k := stack[sp]
		if k >= 0 {
			c := &t.nodes[k]
			for i := range 2 {
				if !s.misses(c, i) {
					stack[sp] = c.kid[i]
					sp++
				}
			}
			continue
		}
		l := t.leaves[^k]
		for i := l.from; i < l.to; i++ {
			if t.id[i] > beyond {
				list = p.contact(s.a, s.b, t.id[i], list)
			}
		}
	}
	return list
}

func cmpFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
