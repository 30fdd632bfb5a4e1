package config

import (
	"pinfold/watchdog"
	"pinfold/zones"
)

// withinSlack is how far, m, a zone may stick out of another and still count
// as within it: rounding, and nothing a vehicle could use.
const withinSlack = 1e-6

// zones compares the pens of one vehicle, as judged.
func (c *comparison) zones(a, b *watchdog.Config) {
	for _, n := range b.Zones.Shapes() {
		if n.Kind == zones.KeepIn && !anyOf(a.Zones.Shapes(), zones.KeepIn, func(o zones.Shape) bool { return within(n, o) }) {
			c.looser("zone", "smaller or not there", n.Name, "reaches outside every keep-in zone there was")
		}
	}
	for _, o := range a.Zones.Shapes() {
		if o.Kind == zones.KeepOut && !anyOf(b.Zones.Shapes(), zones.KeepOut, func(n zones.Shape) bool { return within(o, n) }) {
			c.looser("zone", "a keep-out zone", o.Name, "is no longer covered by a keep-out zone")
		}
	}
}

func anyOf(shapes []zones.Shape, kind zones.Kind, is func(zones.Shape) bool) bool {
	for _, s := range shapes {
		if s.Kind == kind && is(s) {
			return true
		}
	}
	return false
}

// within says whether inner lies in outer, edges included: its band in the
// band, each edge of it in the area of outer, and no hole of outer in its
// area.
func within(inner, outer zones.Shape) bool {
	if !(inner.Floor >= outer.Floor && inner.Ceiling <= outer.Ceiling) {
		return false
	}
	room, err := zones.New([]zones.Shape{flatShape(outer, zones.KeepIn)})
	if err != nil {
		return false
	}
	for _, r := range inner.Rings {
		if !ringClear(room, r) {
			return false
		}
	}
	if len(outer.Rings) == 1 {
		return true
	}
	all := zones.Shape{Name: "all", Kind: zones.KeepIn, Floor: -1, Ceiling: 1, Rings: [][]zones.XY{around()}}
	rest, err := zones.New([]zones.Shape{all, flatShape(inner, zones.KeepOut)})
	if err != nil {
		return false
	}
	for _, hole := range outer.Rings[1:] {
		if !ringClear(rest, hole) {
			return false
		}
	}
	return true
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

// ringClear says whether every edge of the ring keeps clear of what the set
// does not allow; on the line is clear here.
func ringClear(set *zones.Set, ring []zones.XY) bool {
	for i, p := range ring {
		q := ring[(i+1)%len(ring)]
		w := zones.Sweep{From: zones.XYZ{X: p.X, Y: p.Y}, To: zones.XYZ{X: q.X, Y: q.Y}}
		if !(set.Clearance(&w).Clearance >= -withinSlack) {
			return false
		}
	}
	return true
}
