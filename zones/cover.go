package zones

import (
	"math"
	"slices"
)

// What other zones cover of the edge at hand.

// look finds out what other zones cover of an edge. It reports false when
// nothing of it is left in any layer.
func (u *uniter) look(e *edge) bool {
	u.used, u.bare = 0, append(u.bare[:0], portion{0, 1})
	lo, hi := XY{min(e.a.X, e.b.X), min(e.a.Y, e.b.Y)}, XY{max(e.a.X, e.b.X), max(e.a.Y, e.b.Y)}
	for _, o := range u.near {
		q := u.p.zones[o].area.parts[0]
		if lo.X > q.hi.X || hi.X < q.lo.X || lo.Y > q.hi.Y || hi.Y < q.lo.Y {
			continue
		}
		c := u.next()
		c.zone, c.side = o, q.locate(e.a.X, e.a.Y)
		if c.side <= 0 {
			continue
		}
		// Zones the edge begins in come first: one that holds all of it may end
		// the search.
		u.meet(e, c)
		if r := u.span[o]; r.from <= u.span[e.ring].from && r.to >= u.span[e.ring].to && u.hide(c) {
			return false
		}
	}
	kept := 0
	for i := range u.cover[:u.used] {
		c := &u.cover[i]
		if c.side <= 0 {
			u.meet(e, c)
		}
		if c.side > 0 || len(c.marks) > 0 {
			u.cover[kept], u.cover[i] = u.cover[i], u.cover[kept]
			kept++
		}
	}
	u.used = kept
	return true
}

// portion is a part of an edge, from t0 to t1 of 0 to 1.
type portion struct{ t0, t1 float64 }

// hide takes what a plain cover that the edge begins in holds of it from what
// is bare, less a sliver at the crossings for rounding. It reports whether
// nothing is left bare.
func (u *uniter) hide(c *cover) bool {
	if !c.plain {
		return false
	}
	slices.SortFunc(c.marks, func(m, o mark) int { return cmpFloat(m.t0, o.t0) })
	off := sliver
	for k := range c.marks {
		off = max(off, 2*c.marks[k].err)
	}
	for k := 0; k <= len(c.marks); k += 2 {
		in := portion{0, 1}
		if k > 0 {
			in.t0 = c.marks[k-1].t0 + off
		}
		if k < len(c.marks) {
			in.t1 = c.marks[k].t0 - off
		}
		u.spare = u.spare[:0]
		for _, b := range u.bare {
			if b.t0 < in.t0 && in.t0 < b.t1 {
				u.spare = append(u.spare, portion{b.t0, in.t0})
			}
			if b.t0 < in.t1 && in.t1 < b.t1 {
				u.spare = append(u.spare, portion{in.t1, b.t1})
			}
			if b.t1 <= in.t0 || b.t0 >= in.t1 {
				u.spare = append(u.spare, b)
			}
		}
		u.bare, u.spare = u.spare, u.bare
	}
	return len(u.bare) == 0
}

// next is a fresh cover, its memory used again.
func (u *uniter) next() *cover {
	if u.used == len(u.cover) {
		u.cover = append(u.cover, cover{})
	}
	c := &u.cover[u.used]
	c.marks, c.plain = c.marks[:0], true
	u.used++
	return c
}

// meet marks where the outline of a zone meets the edge.
func (u *uniter) meet(e *edge, c *cover) {
	q := u.p.zones[c.zone].area.parts[0]
	u.found = q.contacts(e.a, e.b, -1, u.found[:0])
	for _, f := range u.found {
		if f.how == crossing {
			m := mark{p0: f.at, p1: f.at, edge: f.edge}
			o := q.edge(f.edge)
			m.t0, m.err = e.crossed(&o)
			m.t1 = m.t0
			c.marks = append(c.marks, m)
			continue
		}
		c.plain = false
		m := mark{p0: f.at, p1: f.at}
		if f.how == overlap {
			m = u.stretch(e, q, f)
		}
		m.edge, m.t0, m.t1 = -1, e.along(m.p0), e.along(m.p1)
		if m.t0 > m.t1 {
			m.t0, m.t1, m.p0, m.p1 = m.t1, m.t0, m.p1, m.p0
		}
		c.marks = append(c.marks, m)
	}
}

// stretch is the mark of what an edge shares with an edge of q.
func (u *uniter) stretch(e *edge, q *polygon, f contact) mark {
	o := q.edge(f.edge)
	to := XY{math.Inf(-1), math.Inf(-1)}
	for _, v := range [4]XY{e.a, e.b, o.a, o.b} {
		if inBox(e.a, e.b, v) && inBox(o.a, o.b, v) && after(v, to) {
			to = v
		}
	}
	sameWay := after(e.a, e.b) == after(o.a, o.b)
	own := u.p.zones[e.ring].area.parts[0]
	return mark{p0: f.at, p1: to, shared: true, opposite: sameWay != (own.side[e.i] == q.side[f.edge])}
}
