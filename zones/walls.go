package zones

import (
	"fmt"
	"math"
	"slices"
)

// newPens sorts the keep-in zones into pens: zones whose boxes, heights
// included, overlap or touch go together.
func newPens(rooms []room) ([]pen, error) {
	group := make([]int, len(rooms))
	for i := range group {
		group[i] = i
	}
	root := func(i int) int {
		for group[i] != i {
			i = group[i]
		}
		return i
	}
	for i := range rooms {
		for j := range i {
			if rooms[i].beside(&rooms[j]) {
				group[root(i)] = root(j)
			}
		}
	}
	b := builder{}
	var out []pen
	for i := range rooms {
		if root(i) != i {
			continue
		}
		var members []room
		for j := range rooms {
			if root(j) == i {
				members = append(members, rooms[j])
			}
		}
		p, err := b.pen(members)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// beside tells whether the boxes of two zones overlap or touch.
func (r *room) beside(o *room) bool {
	return r.floor <= o.ceiling && o.floor <= r.ceiling && r.area.boxesMeet(o.area)
}

func (a *area) boxesMeet(o *area) bool {
	return a.lo.X <= o.hi.X && o.lo.X <= a.hi.X && a.lo.Y <= o.hi.Y && o.lo.Y <= a.hi.Y
}

// builder makes pens and counts the walls of the whole site.
type builder struct{ walls int }

func (b *builder) pen(members []room) (pen, error) {
	p := pen{zones: members, lo: XY{math.Inf(1), math.Inf(1)}, hi: XY{math.Inf(-1), math.Inf(-1)}}
	var levels []float64
	for i := range members {
		r := &members[i]
		levels = append(levels, r.floor, r.ceiling)
		p.lo = XY{math.Min(p.lo.X, r.area.lo.X), math.Min(p.lo.Y, r.area.lo.Y)}
		p.hi = XY{math.Max(p.hi.X, r.area.hi.X), math.Max(p.hi.Y, r.area.hi.Y)}
	}
	slices.Sort(levels)
	levels = slices.Compact(levels)
	for i := 1; i < len(levels); i++ {
		s := slab{lo: levels[i-1], hi: levels[i]}
		var in []*area
		for k := range members {
			if members[k].floor <= s.lo && members[k].ceiling >= s.hi {
				in = append(in, members[k].area)
			}
		}
		if s.area = in[0]; len(in) > 1 {
			s.area = unite(in)
			if b.walls += len(s.area.walls); b.walls > MaxWalls {
				return p, &Invalid{Problems: []Problem{{Shape: -1, Ring: -1, Vertex: -1, Fault: TooMuch,
					Says: fmt.Sprintf("the walls of the keep-in zones that hang together come to more than %d pieces, counted for every layer between their different floors and ceilings", MaxWalls),
					Try:  "give zones that touch the same floor and ceiling, or simplify their outlines"}}}
			}
		}
		s.area.layPlat()
		p.slabs = append(p.slabs, s)
	}
	return p, nil
}

// unite makes the union of several areas of one polygon each. A wall is kept
// where not both sides of it are within the union: walls that lie in another
// part go, and so do walls that two parts share from opposite sides.
func unite(in []*area) *area {
	a := &area{}
	for _, o := range in {
		a.parts, a.zone = append(a.parts, o.parts[0]), append(a.zone, o.zone[0])
	}
	c := cutter{a: a, marks: make([][][]mark, len(in))}
	var edges []edge
	for k, p := range a.parts {
		c.marks[k] = make([][]mark, len(p.x))
		for i, n := range p.next {
			edges = append(edges, edge{XY{p.x[i], p.y[i]}, XY{p.x[n], p.y[n]}, int32(k), int32(i)})
		}
	}
	pairs(edges, func(e, f edge) {
		if e.ring != f.ring {
			c.pair(&e, &f)
		}
	})
	for i := range edges {
		c.cut(&edges[i])
	}
	if len(a.walls) > scanMax {
		a.index = newTree(a.walls)
	}
	a.measure()
	return a
}

// mark is where another part's wall meets an edge: from t0 to t1 along it
// (equal for a point).
type mark struct {
	t0, t1   float64
	p0, p1   XY
	part     int32 // the other part, for a shared stretch; else -1
	opposite bool  // the other part's inside is on the other side
}

type cutter struct {
	a     *area
	marks [][][]mark // by part and edge
}

// along is where a point of the edge lies on it, 0 to 1.
func (e *edge) along(p XY) float64 {
	dx, dy := e.b.X-e.a.X, e.b.Y-e.a.Y
	if math.Abs(dx) >= math.Abs(dy) {
		return (p.X - e.a.X) / dx
	}
	return (p.Y - e.a.Y) / dy
}

func (c *cutter) pair(e, f *edge) {
	how, at := meet(e.a, e.b, f.a, f.b)
	switch how {
	case touching, crossing:
		c.mark(e, mark{p0: at, p1: at, part: -1})
		c.mark(f, mark{p0: at, p1: at, part: -1})
	case overlap:
		to := XY{math.Inf(-1), math.Inf(-1)}
		for _, v := range [4]XY{e.a, e.b, f.a, f.b} {
			if inBox(e.a, e.b, v) && inBox(f.a, f.b, v) && after(v, to) {
				to = v
			}
		}
		sameWay := after(e.a, e.b) == after(f.a, f.b)
		opposite := sameWay != (c.a.parts[e.ring].side[e.i] == c.a.parts[f.ring].side[f.i])
		c.mark(e, mark{p0: at, p1: to, part: f.ring, opposite: opposite})
		c.mark(f, mark{p0: at, p1: to, part: e.ring, opposite: opposite})
	}
}

func (c *cutter) mark(e *edge, m mark) {
	m.t0, m.t1 = e.along(m.p0), e.along(m.p1)
	if m.t0 > m.t1 {
		m.t0, m.t1, m.p0, m.p1 = m.t1, m.t0, m.p1, m.p0
	}
	c.marks[e.ring][e.i] = append(c.marks[e.ring][e.i], m)
}

// stop is a point at which an edge is cut.
type stop struct {
	t float64
	p XY
}

// cut cuts an edge where others meet it and keeps the pieces that are walls of
// the union.
func (c *cutter) cut(e *edge) {
	marks := c.marks[e.ring][e.i]
	stops := []stop{{0, e.a}, {1, e.b}}
	for _, m := range marks {
		for _, s := range [2]stop{{m.t0, m.p0}, {m.t1, m.p1}} {
			if s.t > 0 && s.t < 1 {
				stops = append(stops, s)
			}
		}
	}
	slices.SortFunc(stops, func(s, o stop) int { return cmpFloat(s.t, o.t) })
	for i := 1; i < len(stops); i++ {
		s, o := stops[i-1], stops[i]
		if s.p == o.p || !c.isWall(e, (s.t+o.t)/2, XY{(s.p.X + o.p.X) / 2, (s.p.Y + o.p.Y) / 2}) {
			continue
		}
		c.a.walls = append(c.a.walls, newSeg(s.p.X, s.p.Y, o.p.X, o.p.Y))
		c.a.tags = append(c.a.tags, tag{part: e.ring, edge: e.i, cut: len(stops) > 2})
	}
}

// isWall tells whether the middle of a piece, at t of the edge, is not within
// the union on both sides.
func (c *cutter) isWall(e *edge, t float64, mid XY) bool {
	marks := c.marks[e.ring][e.i]
	for k, p := range c.a.parts {
		if int32(k) == e.ring {
			continue
		}
		shared := false
		for i := range marks {
			m := &marks[i]
			if m.part != int32(k) || t < m.t0 || t > m.t1 {
				continue
			}
			if m.opposite || int32(k) < e.ring {
				return false
			}
			shared = true
		}
		if !shared && p.locate(mid.X, mid.Y) > 0 {
			return false
		}
	}
	return true
}
