package zones

import (
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
