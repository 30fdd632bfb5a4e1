package zones

import (
	"math"
	"math/big"
	"testing"
)

// Published cases. OGC Simple Features / JTS test data: TestValid.xml,
// TestRelatePA.xml. Kettner, Mehlhorn, Pion, Schirra, Yap: Classroom examples of
// robustness problems in geometric computations, 2008. Shewchuk 1997.

func faults(t *testing.T, rings ...[]XY) []Problem {
	t.Helper()
	_, err := New([]Shape{{Name: "z", Kind: KeepIn, Floor: 0, Ceiling: 1, Rings: rings}})
	if err == nil {
		return nil
	}
	return err.(*Invalid).Problems
}

func TestPublishedBowTie(t *testing.T) {
	p := faults(t, []XY{{0, 0}, {0, 1}, {1, 0}, {1, 1}, {0, 0}})
	if len(p) != 1 || p[0].Fault != SelfCrossing || p[0].Ring != 0 || p[0].Vertex < 0 {
		t.Fatalf("%v", p)
	}
	if !contains(p[0].Says, "(0.5, 0.5)") {
		t.Errorf("the crossing is at (0.5, 0.5): %s", p[0].Says)
	}
}

func TestPublishedSpike(t *testing.T) {
	p := faults(t, []XY{{0, 60}, {0, 0}, {60, 0}, {60, 20}, {100, 20}, {60, 20}, {60, 60}, {0, 60}})
	found := false
	for _, q := range p {
		found = found || q.Fault == Spike && q.Vertex == 4 && q.At == XY{100, 20}
	}
	if !found {
		t.Fatalf("no spike at corner 4: %v", p)
	}
}

func TestPublishedRepeatedPointIsValid(t *testing.T) {
	if p := faults(t, []XY{{0, 0}, {0, 0}, {10, 0}, {10, 0}, {10, 0}, {10, 10}, {0, 0}, {0, 0}}); p != nil {
		t.Fatalf("%v", p)
	}
	s := mustNew(t, Shape{Name: "z", Kind: KeepIn, Ceiling: 1, Rings: [][]XY{{{0, 0}, {0, 0}, {10, 0}, {10, 10}, {10, 10}, {0, 0}}}})
	if n := len(s.Shapes()[0].Rings[0]); n != 3 {
		t.Errorf("%d corners after merging", n)
	}
}

// JTS TestRelatePA.xml: three points against one polygon.
func TestPublishedPointInPolygon(t *testing.T) {
	s := mustNew(t, Shape{Name: "z", Kind: KeepIn, Floor: 0, Ceiling: 1000,
		Rings: [][]XY{{{60, 120}, {60, 40}, {160, 40}, {160, 120}, {60, 120}}}})
	for _, c := range []struct {
		x, y float64
		want int
	}{{160, 120, 0}, {100, 80, 1}, {20, 20, -1}} {
		if got := s.pens[0].slabs[0].area.locate(c.x, c.y); got != c.want {
			t.Errorf("(%g, %g): %d, want %d", c.x, c.y, got, c.want)
		}
		if s.Inside(XYZ{c.x, c.y, 500}) != (c.want > 0) {
			t.Errorf("inside (%g, %g)", c.x, c.y)
		}
	}
}

// Kettner et al.: p = (0.5+41u, 0.5+48u), q = (12, 12), r = (24, 24): the exact
// sign is +1, plain doubles say -1.
func TestPublishedOrientation(t *testing.T) {
	const u = 1.0 / (1 << 53)
	px, py := 0.5+41*u, 0.5+48*u
	if naive := (12-px)*(24-py) - (12-py)*(24-px); naive >= 0 {
		t.Errorf("the example does not fool doubles here: %g", naive)
	}
	if got := orient(px, py, 12, 12, 24, 24); got != 1 {
		t.Errorf("orient = %d, want 1", got)
	}
}

// Every third row of the 256 by 256 grid of the same example, against rational arithmetic, and the
// laws of orient.
func TestOrientationGrid(t *testing.T) {
	const u = 1.0 / (1 << 53)
	r := func(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }
	for i := 0; i < 256; i += 3 {
		for j := range 256 {
			px, py := 0.5+float64(i)*u, 0.5+float64(j)*u
			l := new(big.Rat).Mul(new(big.Rat).Sub(r(px), r(24)), new(big.Rat).Sub(r(12), r(24)))
			m := new(big.Rat).Mul(new(big.Rat).Sub(r(py), r(24)), new(big.Rat).Sub(r(12), r(24)))
			want := l.Cmp(m)
			got := orient(px, py, 12, 12, 24, 24)
			if got != want || orient(12, 12, 24, 24, px, py) != want || orient(12, 12, px, py, 24, 24) != -want {
				t.Fatalf("(%d, %d): %d, want %d", i, j, got, want)
			}
		}
	}
}

func contains(s, part string) bool {
	for i := 0; i+len(part) <= len(s); i++ {
		if s[i:i+len(part)] == part {
			return true
		}
	}
	return false
}

// OGC Simple Features, and the kinds of cases of JTS TestValid.xml that give no
// answer to compare but "not valid": a vertex that is no number, a hole outside.
func TestPublishedRefusals(t *testing.T) {
	square := []XY{{0, 0}, {10, 0}, {10, 10}, {0, 10}, {0, 0}}
	for name, c := range map[string]struct {
		rings [][]XY
		want  Fault
		at    int
	}{
		"NaN vertex":   {[][]XY{{{0, 0}, {10, 0}, {math.NaN(), 10}, {0, 0}}}, NotFinite, 2},
		"hole outside": {[][]XY{square, {{20, 20}, {20, 21}, {21, 20}, {20, 20}}}, HoleOutside, 0},
	} {
		if p := faults(t, c.rings...); len(p) != 1 || p[0].Fault != c.want || p[0].Vertex != c.at || p[0].Ring != len(c.rings)-1 {
			t.Errorf("%s: %v", name, p)
		}
	}
}

// RFC 7946 §3.1.6: a ring is closed and has four or more positions; the outer
// ring runs counter-clockwise and holes clockwise, but a reader does not refuse
// other windings. §4: other coordinates than longitude and latitude only by prior
// arrangement, so what says that it is those is refused.
func TestPublishedGeoJSONRings(t *testing.T) {
	outer, hole := "[[0,0],[10,0],[10,10],[0,10],[0,0]]", "[[2,2],[2,4],[4,4],[4,2],[2,2]]"
	outerCW, holeCCW := "[[0,0],[0,10],[10,10],[10,0],[0,0]]", "[[2,2],[4,2],[4,4],[2,4],[2,2]]"
	text := func(rings, crs string) []byte {
		return []byte(`{"type":"FeatureCollection",` + crs + `"features":[{"type":"Feature","properties":{"name":"z","kind":"keep-in","floor":0,"ceiling":20},"geometry":{"type":"Polygon","coordinates":[` + rings + `]}}]}`)
	}
	for _, rings := range []string{outer + "," + hole, outer + "," + holeCCW, outerCW + "," + hole, outerCW + "," + holeCCW} {
		shapes, err := ReadGeoJSON(text(rings, ""))
		if err != nil {
			t.Fatalf("%s: %v", rings, err)
		}
		s := mustNew(t, shapes...)
		checkPoints(t, s, []at{{1, 5, 10, 1}, {3, 3, 10, -1}, {2, 3, 10, 0}, {-1, 5, 10, -1}})
	}
	for rings, want := range map[string]string{
		"[[0,0],[10,0],[10,10],[0,10]]": "not closed", "[[0,0],[10,0],[0,0]]": "at least 4",
	} {
		if _, err := ReadGeoJSON(text(rings, "")); err == nil || !contains(err.Error(), want) {
			t.Errorf("%s: %v", rings, err)
		}
	}
	if _, err := ReadGeoJSON(text(outer, `"crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:OGC::CRS84"}},`)); err == nil {
		t.Error("degrees by its own word are taken")
	}
	// What is written follows the right-hand rule.
	shapes, err := ReadGeoJSON(text(outerCW+","+holeCCW, ""))
	if err != nil {
		t.Fatal(err)
	}
	again, err := WriteGeoJSON(shapes)
	if err != nil {
		t.Fatal(err)
	}
	if back, err := ReadGeoJSON(again); err != nil || turning(back[0].Rings[0]) != 1 || turning(back[0].Rings[1]) != -1 {
		t.Errorf("%v: %s", err, again)
	}
}

// Shewchuk 1997, §4.2: ccwerrboundA = (3 + 16ε)ε with ε = 2⁻⁵³.
func TestPublishedErrorBound(t *testing.T) {
	const eps = 1.0 / (1 << 53)
	if want := float64((3 + 16*eps) * eps); float64(filterBound) != want {
		t.Errorf("filterBound = %.17g, want %.17g", filterBound, want)
	}
}
