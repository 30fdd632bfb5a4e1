package zones

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/peterstace/simplefeatures/geom"
)

// Against simplefeatures (github.com/peterstace/simplefeatures), an
// implementation of the OGC standard. PINFOLD_ORACLE sets the number of cases.

func sfPolygon(rings [][]XY) geom.Polygon {
	flat := make([][]float64, len(rings))
	for k, r := range rings {
		for _, v := range r {
			flat[k] = append(flat[k], v.X, v.Y)
		}
		flat[k] = append(flat[k], r[0].X, r[0].Y)
	}
	return geom.NewPolygonXY(flat...)
}

// sfLocate reads the point's place off the relation matrix.
func sfLocate(t *testing.T, g geom.Geometry, x, y float64) int {
	t.Helper()
	m, err := geom.Relate(geom.NewPointXY(x, y).AsGeometry(), g)
	if err != nil {
		t.Fatal(err)
	}
	switch {
	case m[0] != 'F':
		return 1
	case m[1] != 'F':
		return 0
	}
	return -1
}

func zoneOf(rings [][]XY) Shape {
	return Shape{Name: "z", Kind: KeepIn, Floor: -1e4, Ceiling: 1e4, Rings: rings}
}

// reach is a length that everything in the rings lies within.
func extent(rings [][]XY) float64 {
	m := 0.0
	for _, r := range rings {
		for _, v := range r {
			m = max(m, math.Abs(v.X), math.Abs(v.Y))
		}
	}
	return m
}

func TestOracleContainmentAndDistance(t *testing.T) {
	want := caseCount(20_000)
	inShards(t, 1, want, func(t *testing.T, r *rand.Rand, want int, c tally) {
		eachSpot(t, r, want, c, func(rings [][]XY) (bool, func(*Set, XY) int) {
			g := sfPolygon(rings)
			border := g.Boundary().AsGeometry()
			return g.Validate() == nil, func(s *Set, p XY) int { return checkAgainst(t, s, rings, g.AsGeometry(), border, p) }
		})
	}).enough(t, want)
}

// eachSpot goes through outlines and spots of all kinds. For every outline,
// judge says whether it is valid, in which New must agree, and how to check a
// spot; that returns on which side of the boundary the spot is.
func eachSpot(t *testing.T, r *rand.Rand, want int, c tally, judge func([][]XY) (bool, func(*Set, XY) int)) {
	for kind := r.IntN(len(outlineKinds)); c["cases"] < want; kind++ {
		name := outlineKinds[kind%len(outlineKinds)]
		rings := outlines(r, kind)
		s, err := New([]Shape{zoneOf(rings)})
		valid, check := judge(rings)
		if (err == nil) != valid {
			t.Fatalf("%s: New says %v, the other valid: %v: %v", name, err, valid, rings)
		}
		if err != nil {
			c["refused"]++
			c["refused: "+name]++
			continue
		}
		lo, hi := boxOf(rings)
		for range 100 {
			p, k := spot(r, rings, lo, hi)
			c["cases"]++
			c[name]++
			c[spotKinds[k]]++
			if check(s, p) == 0 {
				c["on the boundary"]++
			}
		}
	}
}

// checkAgainst compares one point with simplefeatures and, where that is close
// to the boundary, with rational arithmetic.
func checkAgainst(t *testing.T, s *Set, rings [][]XY, g, border geom.Geometry, p XY) int {
	t.Helper()
	h := s.Clearance(point(p.X, p.Y, 0))
	where := sfLocate(t, g, p.X, p.Y)
	if got := signOf(h.Clearance); got != where {
		t.Fatalf("%v: clearance %g, simplefeatures %d, exact %d: %v", p, h.Clearance, where, ratLocate(rings, p.X, p.Y), rings)
	}
	if got := s.pens[0].slabs[0].area.locate(p.X, p.Y); got != where {
		t.Fatalf("%v: locate %d, simplefeatures %d: %v", p, got, where, rings)
	}
	d, _ := geom.Distance(geom.NewPointXY(p.X, p.Y).AsGeometry(), border)
	if math.Abs(math.Abs(h.Clearance)-d) > 1e-14*extent(rings)+1e-12*d {
		t.Fatalf("%v: clearance %.17g, simplefeatures %.17g: %v", p, h.Clearance, d, rings)
	}
	if n := math.Hypot(p.X-h.Nearest.X, p.Y-h.Nearest.Y); math.Abs(n-d) > 1e-14*extent(rings)+1e-12*d {
		t.Fatalf("%v: nearest point %v is %g away, not %g: %v", p, h.Nearest, n, d, rings)
	}
	return where
}

func signOf(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// Near the boundary simplefeatures itself is checked, by rational arithmetic.
func TestOracleExact(t *testing.T) {
	want := caseCount(20_000) / 10
	inShards(t, 2, want, func(t *testing.T, r *rand.Rand, want int, c tally) {
		for kind := r.IntN(len(outlineKinds)); c["cases"] < want; kind++ {
			rings := outlines(r, kind)
			s, err := New([]Shape{zoneOf(rings)})
			if err != nil {
				continue
			}
			for _, p := range spots(r, rings, 10) {
				c["cases"]++
				if got, want := signOf(s.Clearance(point(p.X, p.Y, 0)).Clearance), ratLocate(rings, p.X, p.Y); got != want {
					t.Fatalf("%v: %d, exactly %d: %v", p, got, want, rings)
				}
			}
		}
	})
}

// Validity of random outlines on whole numbers, where everything that can go
// wrong does, against simplefeatures. A ring that touches itself is refused by both.
func TestOracleValidity(t *testing.T) {
	c := inShards(t, 3, caseCount(20_000)/4, func(t *testing.T, r *rand.Rand, want int, c tally) {
		for range want {
			rings := latticeRings(r)
			_, err := New([]Shape{zoneOf(rings)})
			other := sfPolygon(rings).Validate()
			if (err == nil) != (other == nil) && !(other == nil && holeInHole(rings, err)) {
				t.Fatalf("%v: New says %v, simplefeatures %v", rings, err, other)
			}
			c["cases"]++
			if err == nil {
				c["valid"]++
			}
		}
	})
	if c["valid"] < c["cases"]/50 {
		t.Error("hardly any outline is valid: the cases test nothing")
	}
}

// latticeRings are rings on whole numbers, an outline and up to three holes.
func latticeRings(r *rand.Rand) [][]XY {
	size := 3 + r.IntN(5)
	rings := [][]XY{lattice(r, size, 3+r.IntN(4))}
	switch r.IntN(3) {
	case 0:
		rings = append(rings, lattice(r, size, 3+r.IntN(2)))
	case 1:
		f := float64(size)
		rings = [][]XY{rect(0, 0, f, f)}
		for range 1 + r.IntN(3) {
			rings = append(rings, lattice(r, size+1, 3+r.IntN(2)))
		}
	}
	return rings
}

// holeInHole tells whether New refused a hole within a hole and is right:
// simplefeatures v0.59.0 does not see one that touches the other in the corner
// it begins with. Exactly: one of its corners is strictly inside the other.
func holeInHole(rings [][]XY, err error) bool {
	for _, p := range err.(*Invalid).Problems {
		if p.Fault != HoleInHole {
			continue
		}
		for j := 1; j < len(rings); j++ {
			for _, v := range rings[p.Ring] {
				if j != p.Ring && ratLocate(rings[j:j+1], v.X, v.Y) > 0 {
					return true
				}
			}
		}
	}
	return false
}

// Keep-ins together against the union that simplefeatures makes of them. On
// whole numbers they touch and overlap in every way.
func TestOracleUnion(t *testing.T) {
	c := inShards(t, 4, caseCount(10_000), func(t *testing.T, r *rand.Rand, want int, c tally) {
		for kind := 0; c["cases"] < want; kind++ {
			shapes := cluster(r, kind)
			s, err := New(shapes)
			if err != nil {
				continue
			}
			var all []geom.Geometry
			for i := range shapes {
				all = append(all, sfPolygon(shapes[i].Rings).AsGeometry())
			}
			u, err := geom.UnionMany(all)
			if err != nil {
				t.Fatal(err)
			}
			c[clusterKinds[kind%len(clusterKinds)]]++
			border := u.Boundary()
			for range 100 {
				c["cases"]++
				x, y := float64(r.IntN(60)-4)/4, float64(r.IntN(60)-4)/4
				checkUnion(t, s, shapes, u, border, x, y)
			}
		}
	})
	for _, name := range clusterKinds {
		if c[name] < 5 {
			t.Errorf("only %d unions of %s", c[name], name)
		}
	}
}

func checkUnion(t *testing.T, s *Set, shapes []Shape, u, border geom.Geometry, x, y float64) {
	t.Helper()
	h := s.Clearance(point(x, y, 0))
	d, _ := geom.Distance(geom.NewPointXY(x, y).AsGeometry(), border)
	where := sfLocate(t, u, x, y)
	if d < 1e-9 && signOf(h.Clearance) != where {
		// The union's corners are rounded, ours are not: only the size counts.
		where = signOf(h.Clearance)
	}
	if math.Abs(h.Clearance-float64(where)*d) > 1e-9 && !slit(shapes, border, x, y) {
		t.Fatalf("(%g, %g): clearance %g, simplefeatures %g: %v", x, y, h.Clearance, float64(where)*d, shapes)
	}
}

// slit tells whether the piece of the other union's border nearest to (x, y) is
// a slit without width, left over from rounding where two zones touch along a
// line exactly: all around it there is some zone or other.
func slit(shapes []Shape, border geom.Geometry, x, y float64) bool {
	at, ok := nearestOn(border, x, y)
	if !ok {
		return false
	}
	for i := range 64 {
		a := 2 * math.Pi * (float64(i) + 0.3) / 64
		in := false
		for k := range shapes {
			in = in || ratLocate(shapes[k].Rings, at.X+1e-7*math.Cos(a), at.Y+1e-7*math.Sin(a)) >= 0
		}
		if !in {
			return false
		}
	}
	return true
}

// nearestOn is the point of the border's lines nearest to (x, y).
func nearestOn(border geom.Geometry, x, y float64) (XY, bool) {
	best, at := math.Inf(1), XY{}
	for _, line := range border.Dump() {
		l, ok := line.AsLineString()
		if !ok {
			return at, false
		}
		c := l.Coordinates()
		for i := 1; i < c.Length(); i++ {
			a, b := c.GetXY(i-1), c.GetXY(i)
			s := newSeg(a.X, a.Y, b.X, b.Y)
			if d := s.dist2(x, y); d < best {
				px, py := s.point(s.at(x, y))
				best, at = d, XY{px, py}
			}
		}
	}
	return at, !math.IsInf(best, 1)
}

// clusterKinds names the kinds of clusters.
var clusterKinds = [...]string{"right angles", "stars", "triangles", "zones in holes"}

// cluster is a handful of keep-ins that overlap and touch.
func cluster(r *rand.Rand, kind int) []Shape {
	shapes := make([]Shape, 2+r.IntN(5))
	for i := range shapes {
		x, y := r.IntN(8), r.IntN(8)
		var rings [][]XY
		switch kind % len(clusterKinds) {
		case 0:
			rings = [][]XY{rightAngled(r, x, y)}
		case 1:
			rings = [][]XY{star(r, float64(x), float64(y), 0.5, 4, 3+r.IntN(20))}
		case 2:
			rings = [][]XY{lattice(r, 10, 3)}
		default: // frames, one in the hole of the other or filling it, and what fills the last
			d, w := float64(i), 0.25*float64(1+r.IntN(4))
			if r.IntN(3) == 0 {
				w = 1
			}
			rings = [][]XY{rect(d, d, 14-d, 14-d), rect(d+w, d+w, 14-d-w, 14-d-w)}
			if i == len(shapes)-1 {
				rings = rings[:1]
			}
		}
		shapes[i] = zoneOf(rings)
		shapes[i].Name = string(rune('a' + i))
	}
	return shapes
}
