package zones

import "slices"

// A pen of several zones is made edge by edge: what other zones cover of an
// edge, in which layers, is found out once; what they leave are walls. A wall
// is kept where not both sides of it are within the union: walls that lie in
// another zone go, and so do walls that two zones share from opposite sides.

// uniter makes the layers of one pen.
type uniter struct {
	p     *pen
	count *int  // the walls of the site's unions so far
	span  []run // of each zone of the pen, the layers it is in
	part  []int32
	near  []int32 // the zones whose boxes meet that of the zone at hand
	cover []cover
	used  int
	in    []int32 // which of cover are in the layer at hand
	was   []int32 // the same for the layer that left was made for
	stops []stop
	bare  []portion // what of the edge at hand no zone is known to hold
	spare []portion
	found []contact
	left  []wall
}

// run is a range of layers.
type run struct{ from, to int }

// cover is how another zone stands to the edge at hand.
type cover struct {
	zone  int32 // in the pen
	side  int   // of its outline on which the edge begins; 0 on it
	plain bool  // the edge crosses its outline, if at all, in mid edge only,
	on    bool  // so that from crossing to crossing it is in and out
	marks []mark
}

// mark is where another zone's outline meets an edge: from t0 to t1 along it
// (equal for a point).
type mark struct {
	t0, t1   float64
	err      float64 // how far t0 may be off; 0 for points that are corners
	edge     int32   // of the other outline, where the two cross; else -1
	p0, p1   XY
	shared   bool // a stretch, not a point
	opposite bool // and the other zone's inside is on the other side of it
}

// stop is a point at which an edge is cut. turn is the cover that is plain and
// whose outline it crosses there, -1 for none.
type stop struct {
	t, err float64
	p      XY
	turn   int32
	by     edge // the edge it is crossed by; of no length where p is a corner
}

// wall is a piece of an edge that is one; cut: not the whole edge.
type wall struct {
	a, b XY
	cut  bool
}

// unite gives every layer of the pen its area. It reports false when the walls
// become more than MaxWalls.
func (b *builder) unite(p *pen) bool {
	u := uniter{p: p, count: &b.walls, span: make([]run, len(p.zones)), part: make([]int32, len(p.slabs))}
	members := make([]int, len(p.slabs))
	for k := range p.zones {
		u.span[k] = p.layers(&p.zones[k])
		for s := u.span[k].from; s < u.span[k].to; s++ {
			members[s]++
			p.slabs[s].area = p.zones[k].area
		}
	}
	for s, n := range members {
		if n > 1 {
			p.slabs[s].area = &area{parts: make([]*polygon, 0, n), zone: make([]int32, 0, n)}
		}
	}
	for k := range p.zones {
		if !u.zone(int32(k), members) {
			return false
		}
	}
	for s, n := range members {
		if a := p.slabs[s].area; n > 1 {
			if len(a.walls) > scanMax {
				a.index = newTree(a.walls)
			}
			a.measure()
		}
	}
	return true
}

// layers is the range of layers that a zone of the pen spans.
func (p *pen) layers(r *room) run {
	from, _ := slices.BinarySearchFunc(p.slabs, r.floor, func(s slab, z float64) int { return cmpFloat(s.lo, z) })
	to, _ := slices.BinarySearchFunc(p.slabs, r.ceiling, func(s slab, z float64) int { return cmpFloat(s.lo, z) })
	return run{from, to}
}

// zone adds zone k of the pen and its walls to the layers it is in.
func (u *uniter) zone(k int32, members []int) bool {
	own := &u.p.zones[k]
	crowd := false
	for s := u.span[k].from; s < u.span[k].to; s++ {
		if members[s] == 1 {
			continue
		}
		crowd = true
		a := u.p.slabs[s].area
		u.part[s] = int32(len(a.parts))
		a.parts, a.zone = append(a.parts, own.area.parts[0]), append(a.zone, own.area.zone[0])
	}
	if !crowd {
		return true
	}
	u.near = u.near[:0]
	for o := range u.p.zones {
		r := &u.p.zones[o]
		if int32(o) != k && r.floor < own.ceiling && own.floor < r.ceiling && r.area.boxesMeet(own.area) {
			u.near = append(u.near, int32(o))
		}
	}
	q := own.area.parts[0]
	for i := range int32(len(q.x)) {
		e := q.edge(i)
		e.ring = k
		if u.look(&e) {
			u.put(&e, members)
		}
		if *u.count > MaxWalls {
			return false
		}
	}
	return true
}

// put adds what is left of an edge to the layers its zone is in.
func (u *uniter) put(e *edge, members []int) {
	fresh := true
	for s := u.span[e.ring].from; s < u.span[e.ring].to; s++ {
		if members[s] == 1 {
			continue
		}
		u.in = u.in[:0]
		for i := range u.cover[:u.used] {
			if r := u.span[u.cover[i].zone]; r.from <= s && s < r.to {
				u.in = append(u.in, int32(i))
			}
		}
		if fresh || !slices.Equal(u.in, u.was) {
			u.cut(e)
			u.was, fresh = append(u.was[:0], u.in...), false
		}
		a := u.p.slabs[s].area
		for _, w := range u.left {
			a.walls = append(a.walls, newSeg(w.a.X, w.a.Y, w.b.X, w.b.Y))
			a.tags = append(a.tags, tag{part: u.part[s], edge: e.i, cut: w.cut})
		}
		*u.count += len(u.left)
	}
}

// cut cuts an edge where the outlines of the covers in hand meet it, and finds
// the pieces that are walls of the union.
func (u *uniter) cut(e *edge) {
	u.left = u.left[:0]
	inside, whole := u.stopsOf(e)
	for i := 1; i < len(u.stops); i++ {
		s, o := &u.stops[i-1], &u.stops[i]
		if s.turn >= 0 {
			c := &u.cover[s.turn]
			if c.on = !c.on; c.on {
				inside++
			} else {
				inside--
			}
		}
		if s.p != o.p && inside == 0 && u.isWall(e, (s.t+o.t)/2, XY{(s.p.X + o.p.X) / 2, (s.p.Y + o.p.Y) / 2}) {
			u.left = append(u.left, wall{s.p, o.p, !whole})
		}
	}
}

// stopsOf lists where an edge is cut, from its begin to its end. It returns how
// many of the plain covers hold its begin, and whether the edge stays whole.
func (u *uniter) stopsOf(e *edge) (inside int, whole bool) {
	u.stops = append(u.stops[:0], stop{p: e.a, turn: -1})
	for _, i := range u.in {
		c := &u.cover[i]
		turn := int32(-1)
		if c.plain {
			turn = i
			if c.on = c.side > 0; c.on {
				inside++
			}
		}
		q := u.p.zones[c.zone].area.parts[0]
		for k := range c.marks {
			u.addStops(&c.marks[k], q, turn)
		}
	}
	found := u.stops[1:]
	slices.SortStableFunc(found, func(s, o stop) int { return e.order(&s, &o) })
	for i := 1; i < len(found); i++ { // one point, however many zones meet in it
		if e.order(&found[i-1], &found[i]) == 0 {
			found[i].p = found[i-1].p
		}
	}
	u.stops = append(u.stops, stop{t: 1, p: e.b, turn: -1})
	return inside, len(found) == 0
}

// addStops adds the ends of a mark that the outline of q makes, as far as they
// lie within the edge.
func (u *uniter) addStops(m *mark, q *polygon, turn int32) {
	if m.edge >= 0 {
		u.stops = append(u.stops, stop{m.t0, m.err, m.p0, turn, q.edge(m.edge)})
		return
	}
	if m.t0 > 0 && m.t0 < 1 {
		u.stops = append(u.stops, stop{t: m.t0, p: m.p0, turn: -1})
	}
	if m.shared && m.t1 > 0 && m.t1 < 1 {
		u.stops = append(u.stops, stop{t: m.t1, p: m.p1, turn: -1})
	}
}

// isWall tells whether the middle of a piece, at t of the edge, is not within
// the union on both sides, as far as the covers go that are not plain.
func (u *uniter) isWall(e *edge, t float64, mid XY) bool {
	for _, i := range u.in {
		c := &u.cover[i]
		if c.plain {
			continue
		}
		shared := false
		for k := range c.marks {
			m := &c.marks[k]
			if !m.shared || t < m.t0 || t > m.t1 {
				continue
			}
			if m.opposite || c.zone < e.ring { // of two alike the first stays
				return false
			}
			shared = true
		}
		if !shared && u.p.zones[c.zone].area.parts[0].locate(mid.X, mid.Y) > 0 {
			return false
		}
	}
	return true
}
