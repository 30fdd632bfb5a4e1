package config

import (
	"math"
	"reflect"
	"sort"

	"pinfold/watchdog"
	"pinfold/zones"
)

// withinSlack is how far, m, a zone may stick out of another and still count
// as within it: rounding, and nothing a vehicle could use.
const withinSlack = 1e-6

// zones compares the pens of one vehicle, as judged, by the zones' names.
func (c *comparison) zones(a, b *watchdog.Config) {
	for _, n := range b.Zones.Shapes() {
		if o, ok := named(a.Zones, n.Name, zones.KeepIn); n.Kind == zones.KeepIn && !(ok && within(n, o)) {
			c.looser("zone", "smaller or not there", n.Name, "reaches outside the keep-in zone of that name")
		}
	}
	for _, o := range a.Zones.Shapes() {
		if n, ok := named(b.Zones, o.Name, zones.KeepOut); o.Kind == zones.KeepOut && !(ok && within(o, n)) {
			c.looser("zone", "a keep-out zone", o.Name, "is no longer covered by the keep-out zone of that name")
		}
	}
}

// slow compares the slow zones of one vehicle.
func (c *comparison) slow(a, b *watchdog.Config) {
	for i := range a.Slow {
		o := &a.Slow[i]
		n := slowNamed(b, o.Shape.Name)
		if n == nil || !within(o.Shape, n.Shape) {
			c.looser("zone.speed", "a slow zone", o.Shape.Name, "is no longer covered by the slow zone of that name")
			continue
		}
		c.most("zone.speed", o.Limit.Max, n.Limit.Max)
	}
}

// apart compares what one vehicle is kept apart from.
func (c *comparison) apart(a, b *watchdog.Config) {
	for _, o := range a.Others {
		n, ok := otherNamed(b, o.Name)
		if !ok {
			c.looser("apart", num(o.Distance)+" m", o.Name, "is no longer kept apart from")
			continue
		}
		c.least("apart.distance", o.Distance, n.Distance)
		c.least("apart.lead", o.Lead, n.Lead)
	}
}

func otherNamed(c *watchdog.Config, name string) (watchdog.Other, bool) {
	for _, o := range c.Others {
		if o.Name == name {
			return o, true
		}
	}
	return watchdog.Other{}, false
}

func slowNamed(c *watchdog.Config, name string) *watchdog.SlowZone {
	for i := range c.Slow {
		if c.Slow[i].Shape.Name == name {
			return &c.Slow[i]
		}
	}
	return nil
}

func named(set *zones.Set, name string, kind zones.Kind) (zones.Shape, bool) {
	for _, s := range set.Shapes() {
		if s.Name == name && s.Kind == kind {
			return s, true
		}
	}
	return zones.Shape{}, false
}

// within says whether inner lies in outer, edges included: its band in the
// band, each edge of it in the area of outer, and no hole of outer in its
// area.
func within(inner, outer zones.Shape) bool {
	if !(inner.Floor >= outer.Floor && inner.Ceiling <= outer.Ceiling) {
		return false
	}
	if reflect.DeepEqual(inner.Rings, outer.Rings) {
		return true
	}
	room, err := zones.New([]zones.Shape{flatShape(outer, zones.KeepIn)})
	if err != nil || !ringsClear(room, inner.Rings, outer.Rings) {
		return false
	}
	all := zones.Shape{Name: "all", Kind: zones.KeepIn, Floor: -1, Ceiling: 1, Rings: [][]zones.XY{around()}}
	rest, err := zones.New([]zones.Shape{all, flatShape(inner, zones.KeepOut)})
	return err == nil && ringsClear(rest, outer.Rings[1:], inner.Rings)
}

// around is a ring round everything a zone may hold.
func around() []zones.XY {
	const m = zones.MaxCoordinate
	return []zones.XY{{X: -m, Y: -m}, {X: m, Y: -m}, {X: m, Y: m}, {X: -m, Y: m}}
}

// flatShape is the area of s as a zone of the given kind, in a band about 0.
func flatShape(s zones.Shape, kind zones.Kind) zones.Shape {
	return zones.Shape{Name: "area", Kind: kind, Floor: -1, Ceiling: 1, Rings: s.Rings}
}

// edge is one side of a ring.
type edge struct{ a, b zones.XY }

func edgesOf(rings [][]zones.XY) (all []edge) {
	for _, r := range rings {
		for i, p := range r {
			all = append(all, edge{p, r[(i+1)%len(r)]})
		}
	}
	return all
}

// ringsClear says whether every edge of the rings lies in what the set allows,
// the walls included, which are the edges of set's own rings.
func ringsClear(set *zones.Set, rings, walls [][]zones.XY) bool {
	w := edgesOf(walls)
	for _, e := range edgesOf(rings) {
		if !edgeClear(set, e, w) {
			return false
		}
	}
	return true
}

// edgeClear cuts e wherever a wall may begin, end or cross it. Each piece is
// then on one side of the walls, and its middle speaks for it.
func edgeClear(set *zones.Set, e edge, walls []edge) bool {
	cuts := []float64{0, 1}
	for _, w := range walls {
		if w.near(e) {
			cuts = append(cuts, e.along(w.a), e.along(w.b), e.crossing(w))
		}
	}
	sort.Float64s(cuts)
	for i, t := range cuts {
		if !pointClear(set, e.at(t)) || i > 0 && !pointClear(set, e.at((t+cuts[i-1])/2)) {
			return false
		}
	}
	return true
}

func pointClear(set *zones.Set, p zones.XY) bool {
	at := zones.XYZ{X: p.X, Y: p.Y}
	return set.Clearance(&zones.Sweep{From: at, To: at}).Clearance >= -withinSlack
}

// near says whether the boxes round two edges come within withinSlack.
func (e edge) near(o edge) bool {
	apart := func(a, b, c, d float64) bool {
		return math.Max(a, b)+withinSlack < math.Min(c, d) || math.Max(c, d)+withinSlack < math.Min(a, b)
	}
	return !apart(e.a.X, e.b.X, o.a.X, o.b.X) && !apart(e.a.Y, e.b.Y, o.a.Y, o.b.Y)
}

// at is the point at share t of the edge.
func (e edge) at(t float64) zones.XY {
	return zones.XY{X: e.a.X + t*(e.b.X-e.a.X), Y: e.a.Y + t*(e.b.Y-e.a.Y)}
}

// along is the share of the edge nearest to p.
func (e edge) along(p zones.XY) float64 {
	dx, dy := e.b.X-e.a.X, e.b.Y-e.a.Y
	return share((p.X-e.a.X)*dx+(p.Y-e.a.Y)*dy, dx*dx+dy*dy)
}

// crossing is the share of the edge at which the line through o crosses it; 0
// where it does not.
func (e edge) crossing(o edge) float64 {
	dx, dy, ox, oy := e.b.X-e.a.X, e.b.Y-e.a.Y, o.b.X-o.a.X, o.b.Y-o.a.Y
	return share((o.a.X-e.a.X)*oy-(o.a.Y-e.a.Y)*ox, dx*oy-dy*ox)
}

// share is n/d within 0 to 1, and 0 where that is no number.
func share(n, d float64) float64 {
	if t := n / d; t > 0 {
		return math.Min(t, 1)
	}
	return 0
}
