package walk

import (
	"fmt"
	"math"
	"slices"

	"pinfold/zones"
)

// side is a stretch of a zone's outline that a person takes for one edge: its
// parts bend little.
type side struct {
	way  []zones.XY // two corners or more
	hole bool
}

// sidesOf cuts the outline of a zone into sides, at corners that turn by more
// than bend degrees from where the side began.
func sidesOf(s *zones.Shape, bend float64) (all []side) {
	for r, ring := range s.Rings {
		n := len(ring)
		if n > 1 && ring[0] == ring[n-1] {
			n--
		}
		first := firstCorner(ring[:n], bend)
		var cur []zones.XY
		for k := range n {
			a, b := ring[(first+k)%n], ring[(first+k+1)%n]
			if len(cur) > 1 && turned(cur[0], cur[1], a, b) > bend {
				all = append(all, side{cur, r > 0})
				cur = nil
			}
			if cur == nil {
				cur = []zones.XY{a}
			}
			cur = append(cur, b)
		}
		all = append(all, side{cur, r > 0})
	}
	return all
}

// firstCorner is the index of the first true corner: a side must not begin in
// the middle of a straight stretch. An outline without any begins anywhere.
func firstCorner(ring []zones.XY, bend float64) int {
	n := len(ring)
	for k := range n {
		if turned(ring[(k+n-1)%n], ring[k], ring[k], ring[(k+1)%n]) > bend {
			return k
		}
	}
	return 0
}

// turned is by how many degrees the way from c to d turns from that from a to b.
func turned(a, b, c, d zones.XY) float64 {
	t := math.Atan2(d.Y-c.Y, d.X-c.X) - math.Atan2(b.Y-a.Y, b.X-a.X)
	return math.Abs(math.Remainder(t, 2*math.Pi)) * 180 / math.Pi
}

func (s *side) length() (l float64) {
	for i := 1; i < len(s.way); i++ {
		l += math.Hypot(s.way[i].X-s.way[i-1].X, s.way[i].Y-s.way[i-1].Y)
	}
	return l
}

// along is the place at the share t of the side, and the unit vector along it.
func (s *side) along(t float64) (at, dir zones.XY) {
	left := t * s.length()
	for i := 1; ; i++ {
		a, b := s.way[i-1], s.way[i]
		l := math.Hypot(b.X-a.X, b.Y-a.Y)
		if left <= l || i == len(s.way)-1 {
			dir = zones.XY{X: (b.X - a.X) / l, Y: (b.Y - a.Y) / l}
			return zones.XY{X: a.X + dir.X*left, Y: a.Y + dir.Y*left}, dir
		}
		left -= l
	}
}

// apart is how far p is from the side, m, on the floor plan.
func apart(way []zones.XY, p zones.XY) float64 {
	least := math.Inf(1)
	for i := 1; i < len(way); i++ {
		a, b := way[i-1], way[i]
		dx, dy := b.X-a.X, b.Y-a.Y
		t := 0.0
		if l := dx*dx + dy*dy; l > 0 {
			t = math.Min(1, math.Max(0, ((p.X-a.X)*dx+(p.Y-a.Y)*dy)/l))
		}
		least = math.Min(least, math.Hypot(p.X-a.X-t*dx, p.Y-a.Y-t*dy))
	}
	return least
}

// shares are the places along a side that are tried, the middle first.
func shares() []float64 { return []float64{0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.1, 0.9} }

// probe is how far beside a side it is asked what is allowed there, m.
const probe = 0.02

// boundary finds a place on the side where the allowed space ends: allowed on one
// side of it and not on the other. The one with the most room to stand before it
// is taken, and of equals the one nearest the middle.
func (p *planner) boundary(s *side, z float64) (at zones.XY, ok bool) {
	best := math.Inf(-1)
	for _, t := range shares() {
		q, dir := s.along(t)
		for _, n := range []zones.XY{{X: -dir.Y, Y: dir.X}, {X: dir.Y, Y: -dir.X}} {
			in := zones.XYZ{X: q.X + probe*n.X, Y: q.Y + probe*n.Y, Z: z}
			out := zones.XYZ{X: q.X - probe*n.X, Y: q.Y - probe*n.Y, Z: z}
			if !p.cfg.Zones.Inside(in) || p.cfg.Zones.Inside(out) {
				continue
			}
			stand := zones.XYZ{X: q.X + n.X, Y: q.Y + n.Y, Z: z}
			w := zones.Sweep{From: stand, To: stand}
			if c := math.Min(p.cfg.Zones.Clearance(&w).Clearance, 1); c > best+1e-6 {
				best, at, ok = c, q, true
			}
		}
	}
	return at, ok
}

// within is a place well within a shape's outline on the floor plan.
func (p *planner) within(s *zones.Shape) (at zones.XY, ok bool) {
	lo, hi := s.Rings[0][0], s.Rings[0][0]
	for _, c := range s.Rings[0] {
		lo = zones.XY{X: math.Min(lo.X, c.X), Y: math.Min(lo.Y, c.Y)}
		hi = zones.XY{X: math.Max(hi.X, c.X), Y: math.Max(hi.Y, c.Y)}
	}
	one := zones.Shape{Name: "one", Kind: zones.KeepIn, Floor: 0, Ceiling: 2, Rings: s.Rings}
	set, err := zones.New([]zones.Shape{one})
	if err != nil {
		return at, false
	}
	const n = 12
	best := 0.0
	for i := 1; i < n; i++ {
		for j := 1; j < n; j++ {
			q := zones.XYZ{X: lo.X + (hi.X-lo.X)*float64(i)/n, Y: lo.Y + (hi.Y-lo.Y)*float64(j)/n, Z: 1}
			if c := set.Clearance(&zones.Sweep{From: q, To: q}).Clearance; c > best+1e-6 {
				best, at, ok = c, zones.XY{X: q.X, Y: q.Y}, true
			}
		}
	}
	return at, ok
}

// words says where the side is, in plain words.
func (s *side) words(all []side, at zones.XY) string {
	what := "the side"
	switch l := s.length(); sized(all, l) {
	case 1:
		what = "the long side"
	case -1:
		what = "the short side"
	}
	if s.hole {
		what += " of the hole"
	}
	a, b := s.way[0], s.way[len(s.way)-1]
	switch {
	case math.Abs(a.X-b.X) < 0.02:
		what += fmt.Sprintf(" at x = %.4g m", a.X)
	case math.Abs(a.Y-b.Y) < 0.02:
		what += fmt.Sprintf(" at y = %.4g m", a.Y)
	default:
		what += fmt.Sprintf(" from (%.1f, %.1f) to (%.1f, %.1f)", a.X, a.Y, b.X, b.Y)
	}
	return what + fmt.Sprintf(", at about (%.1f, %.1f)", at.X, at.Y)
}

// sized tells a long side from a short one where there are just four, in two
// pairs that differ: 1 long, -1 short, 0 neither.
func sized(all []side, l float64) int {
	if len(all) != 4 {
		return 0
	}
	var ls []float64
	for i := range all {
		ls = append(ls, all[i].length())
	}
	slices.Sort(ls)
	switch {
	case ls[2] < 1.1*ls[1]:
		return 0
	case l > 0.95*ls[2]:
		return 1
	}
	return -1
}
