package zones

import (
	"fmt"
	"slices"
)

// relate checks the edges of one shape against each other.
type relate struct {
	c       *checker
	p       Problem
	rings   []ring
	all     *polygon // the rings that are sound one by one
	which   []int32  // for each ring of all, its number in rings
	touches []touch
	crossed bool // some rings cross or overlap: who is inside whom is moot
	said    int
}

// touch is a point that two rings share without crossing.
type touch struct {
	at   XY
	a, b int32 // the rings
}

// maxCrossings bounds the crossings told of one shape: one bad outline should
// not hide the other zones' problems.
const maxCrossings = 10

// check returns the polygon of all rings when nothing is wrong with it.
func (r *relate) check() *polygon {
	var fit [][]XY
	for k := range r.rings {
		if r.rings[k].ok {
			fit, r.which = append(fit, r.rings[k].at), append(r.which, int32(k))
		}
	}
	if len(fit) == 0 {
		return nil
	}
	r.all = newPolygon(fit)
	r.pairs()
	if len(fit) < len(r.rings) || r.crossed || r.said > 0 {
		return nil
	}
	before := len(r.c.found)
	r.nest()
	r.parts()
	if len(r.c.found) > before {
		return nil
	}
	return r.all
}

// pairs looks at every two edges that meet. Where there are more faults than
// are told of, the rest need not be found.
func (r *relate) pairs() {
	var list []contact
	for i := range int32(len(r.all.x)) {
		e := r.edge(i)
		list = r.all.contacts(e.a, e.b, i, list[:0])
		for _, c := range list {
			if r.pair(e, r.edge(c.edge), c); r.said > maxCrossings {
				return
			}
		}
	}
}

// edge is edge i of all rings together, by its ring and place in it.
func (r *relate) edge(i int32) edge {
	k, _ := slices.BinarySearch(r.all.ring, i+1)
	e := r.all.edge(i)
	e.ring, e.i = r.which[k-1], i-r.all.ring[k-1]
	return e
}

// pair looks at two edges that meet, e the earlier.
func (r *relate) pair(e, f edge, c contact) {
	n := int32(len(r.rings[e.ring].at))
	if e.ring == f.ring && (f.i == e.i+1 || e.i == 0 && f.i == n-1) {
		return // neighbours share a corner; spikes are found elsewhere
	}
	how, at := c.how, c.at
	if how == touching && e.ring != f.ring && (at == e.b || at == f.b) {
		return // the edges that begin in that corner meet there too
	}
	switch {
	case e.ring == f.ring:
		r.say(&f, at, SelfCrossing, fmt.Sprintf("the edge from this corner meets the edge from corner %d of the same ring at (%g, %g)",
			r.rings[e.ring].was[e.i], at.X, at.Y), "put the corners in order round the outline, or split the zone in two")
	case how == overlap:
		r.say(&f, at, RingsOverlap, fmt.Sprintf("the edge from this corner runs along the edge from corner %d of %s",
			r.rings[e.ring].was[e.i], ringName(e.ring)), "move one of the two, or draw the hole as part of the outline")
	case how == crossing || r.through(&e, &f, at):
		r.say(&f, at, RingsCross, fmt.Sprintf("the edge from this corner crosses the edge from corner %d of %s at (%g, %g)",
			r.rings[e.ring].was[e.i], ringName(e.ring), at.X, at.Y), "keep every hole within the outline and off the other holes")
	default:
		r.touches = append(r.touches, touch{at, e.ring, f.ring})
	}
}

func ringName(k int32) string {
	if k == 0 {
		return "the outer ring"
	}
	return fmt.Sprintf("hole %d", k)
}

func (r *relate) say(e *edge, at XY, f Fault, says, try string) {
	if f == RingsCross || f == RingsOverlap {
		r.crossed = true
	}
	r.rings[e.ring].ok = false
	p := r.p
	if r.said++; r.said > maxCrossings {
		p.Ring, p.Vertex, p.Fault = -1, -1, f
		p.Says = fmt.Sprintf("more of its edges meet than the %d told of", maxCrossings)
		p.Try = "mend these and check again"
		r.c.add(p)
		return
	}
	p.Ring, p.Vertex = int(e.ring), int(r.rings[e.ring].was[e.i])
	p.At = e.a
	p.Fault, p.Says, p.Try = f, says, try
	r.c.add(p)
}

// through tells whether two rings that share the point at cross there: the
// way of one goes in and out of what the other encloses locally.
func (r *relate) through(e, f *edge, at XY) bool {
	a0, a1 := r.ways(e, at)
	b0, b1 := r.ways(f, at)
	s := sector{a0.X, a0.Y, a1.X, a1.Y}
	return between(at.X, at.Y, &s, b0.X, b0.Y) != between(at.X, at.Y, &s, b1.X, b1.Y)
}

// ways are the two corners between which the ring of e passes through a point
// of e.
func (r *relate) ways(e *edge, at XY) (to, from XY) {
	v := r.rings[e.ring].at
	n := int32(len(v))
	switch at {
	case e.a:
		return e.b, v[(e.i+n-1)%n]
	case e.b:
		return v[(e.i+2)%n], e.a
	}
	return e.b, e.a
}

// nest checks that every hole lies in the outer ring and in no other hole.
func (r *relate) nest() {
	if len(r.rings) == 1 {
		return
	}
	solid := make([]*polygon, len(r.rings))
	for k := range r.rings {
		solid[k] = newPolygon([][]XY{r.rings[k].at})
	}
	for k := 1; k < len(r.rings); k++ {
		if !r.within(solid[0], k) {
			r.sayRing(k, HoleOutside, "this hole is outside the outer ring", "move it inside, or make it a zone of its own")
		}
		for j := 1; j < len(r.rings); j++ {
			if j != k && r.within(solid[j], k) {
				r.sayRing(k, HoleInHole, fmt.Sprintf("this hole lies inside hole %d", j), "leave it out: what is in a hole is outside already")
			}
		}
	}
}

func (r *relate) sayRing(k int, f Fault, says, try string) {
	p := r.p
	p.Ring, p.Vertex, p.At = k, int(r.rings[k].was[0]), r.rings[k].at[0]
	p.Fault, p.Says, p.Try = f, says, try
	r.c.add(p)
}

// within tells whether ring k, which does not cross p, lies inside it. One
// corner off the boundary of p tells; where there is none, the way that leaves
// a corner does.
func (r *relate) within(p *polygon, k int) bool {
	at := r.rings[k].at
	for _, v := range at {
		if side := p.locate(v.X, v.Y); side != 0 {
			return side > 0
		}
	}
	var list [maxRays]sector
	v, w := at[0], at[1]
	n := p.sectors(v.X, v.Y, &list, 0)
	for i := range max(n, 0) {
		if between(v.X, v.Y, &list[i], w.X, w.Y) {
			return true
		}
	}
	return false
}

// parts finds rings that touch so that they cut the zone apart: a circle of
// rings, each touching the next.
func (r *relate) parts() {
	seen := make(map[touchEnd]bool)
	points := make(map[XY]int)
	group := make([]int, len(r.rings))
	for i := range group {
		group[i] = i
	}
	root := func(i int) int {
		for group[i] != i {
			i = group[i]
		}
		return i
	}
	for _, t := range r.touches {
		if _, ok := points[t.at]; !ok {
			points[t.at] = len(group)
			group = append(group, len(group))
		}
		for _, k := range [2]int32{t.a, t.b} {
			if seen[touchEnd{t.at, k}] {
				continue
			}
			seen[touchEnd{t.at, k}] = true
			i, j := root(int(k)), root(points[t.at])
			if i == j {
				p := r.p
				p.Ring, p.Vertex, p.At = int(max(t.a, t.b)), -1, t.at
				p.Fault = CutApart
				p.Says = fmt.Sprintf("it touches %s at (%g, %g), and together they cut the zone apart", ringName(min(t.a, t.b)), t.at.X, t.at.Y)
				p.Try = "leave a gap, or draw the parts as zones of their own"
				r.c.add(p)
			}
			group[i] = j
		}
	}
}

type touchEnd struct {
	at   XY
	ring int32
}
