package zones

import (
	"fmt"
	"math"
	"slices"
)

// newPens sorts the keep-in zones into pens: zones that overlap or touch, heights
// included, go together. It does not depend on how the site is turned.
func newPens(rooms []room) ([]pen, error) {
	group := make([]int32, len(rooms))
	for i := range group {
		group[i] = int32(i)
	}
	for i := range rooms {
		for j := range i {
			if find(group, int32(i)) != find(group, int32(j)) && rooms[i].beside(&rooms[j]) {
				join(group, i, j)
			}
		}
	}
	members := make([][]room, len(rooms))
	var order []int32 // of the groups, by their first zone
	for i := range rooms {
		k := find(group, int32(i))
		if len(members[k]) == 0 {
			order = append(order, k)
		}
		members[k] = append(members[k], rooms[i])
	}
	b := builder{}
	var out []pen
	for _, k := range order {
		p, err := b.pen(members[k])
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// beside tells, exactly, whether two zones overlap or touch.
func (r *room) beside(o *room) bool {
	return r.floor <= o.ceiling && o.floor <= r.ceiling && r.area.boxesMeet(o.area) && r.area.parts[0].touches(o.area.parts[0])
}

// touches tells whether two polygons have a point in common.
func (p *polygon) touches(o *polygon) bool {
	if len(p.x) > len(o.x) {
		p, o = o, p
	}
	if p.locate(o.x[0], o.y[0]) >= 0 || o.locate(p.x[0], p.y[0]) >= 0 {
		return true
	}
	var list [4]contact
	for i := range int32(len(p.x)) {
		e := p.edge(i)
		if min(e.a.X, e.b.X) > o.hi.X || max(e.a.X, e.b.X) < o.lo.X || min(e.a.Y, e.b.Y) > o.hi.Y || max(e.a.Y, e.b.Y) < o.lo.Y {
			continue
		}
		if len(o.contacts(e.a, e.b, -1, list[:0])) > 0 {
			return true
		}
	}
	return false
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
		p.slabs = append(p.slabs, slab{lo: levels[i-1], hi: levels[i]})
	}
	if !b.unite(&p) {
		return p, &Invalid{Problems: []Problem{{Shape: -1, Ring: -1, Vertex: -1, Fault: TooMuch,
			Says: fmt.Sprintf("the walls of the keep-in zones that hang together come to more than %d pieces, counted for every layer between their different floors and ceilings", MaxWalls),
			Try:  "give zones that touch the same floor and ceiling, or simplify their outlines"}}}
	}
	return p, nil
}
