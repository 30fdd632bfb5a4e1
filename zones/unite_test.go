package zones

import (
	"fmt"
	"math"
	"math/big"
	"slices"
	"testing"
)

// Where keep-ins meet there is no wall; where they do not quite, there is.

func zonesOf(rings ...[][]XY) []Shape {
	var out []Shape
	for i, r := range rings {
		z := zoneOf(r)
		z.Name = fmt.Sprint(i)
		out = append(out, z)
	}
	return out
}

// Three walls cross in one point that no float is, (7, 11/3) and the like, with
// zones all around it: no scrap of a wall is left there. The clearances are
// those that simplefeatures finds to the union's border.
func TestNoScrapOfAWallWhereThreeCross(t *testing.T) {
	for _, c := range []struct {
		x, y, want float64
		rings      [][]XY
	}{
		{6.75, 3.25, 1.1660012107752766, [][]XY{{{3, 0}, {5, 4}, {5, 8}}, {{2, 7}, {8, 0}, {8, 3}}, {{6, 6}, {6, 5}, {7, 0}}, {{7, 4}, {7, 1}, {9, 2}}, {{8, 3}, {7, 9}, {5, 5}}, {{7, 8}, {6, 7}, {6, 8}}}},
		{1, 6.25, 0.7115124735378853, [][]XY{{{4, 2}, {2, 0}, {0, 3}}, {{7, 4}, {7, 8}, {6, 0}}, {{0, 7}, {4, 5}, {6, 9}}, {{7, 0}, {7, 9}, {0, 8}}, {{3, 9}, {9, 6}, {5, 1}}, {{2, 1}, {6, 4}, {0, 7}}}},
		{2.75, 6, 1.6601957715883993, [][]XY{{{2, 8}, {8, 6}, {7, 3}}, {{3, 9}, {0, 1}, {4, 3}}, {{0, 4}, {7, 0}, {6, 0}}, {{7, 3}, {1, 9}, {1, 7}}, {{2, 3}, {5, 0}, {5, 8}}, {{0, 9}, {3, 0}, {3, 5}}}},
	} {
		var all [][][]XY
		for _, r := range c.rings {
			all = append(all, [][]XY{r})
		}
		s := mustNew(t, zonesOf(all...)...)
		if h := s.Clearance(point(c.x, c.y, 0)); !near0(h.Clearance, c.want, 1e-12) {
			t.Errorf("(%g, %g): %+v, want %g", c.x, c.y, h, c.want)
		}
	}
}

// Cuts are put in their exact order: against rational arithmetic throughout.
func TestCutsAreOrderedExactly(t *testing.T) {
	r := rng(33)
	equal := 0
	for range 8000 {
		e := edge{a: lattice(r, 9, 1)[0], b: lattice(r, 9, 1)[0]}
		var cuts []stop
		for range 6 {
			f := edge{a: lattice(r, 9, 1)[0], b: lattice(r, 9, 1)[0]}
			if how, at := meet(e.a, e.b, f.a, f.b); how == crossing {
				c := stop{p: at, by: f}
				c.t, c.err = e.crossed(&f)
				if v, _ := e.exactly(&c).Float64(); math.Abs(v-c.t) > c.err {
					t.Fatalf("%v crossed by %v at %.17g, given as %.17g with an error of at most %g", e, f, v, c.t, c.err)
				}
				cuts = append(cuts, c)
			}
		}
		slices.SortStableFunc(cuts, func(s, o stop) int { return e.order(&s, &o) })
		for i := 1; i < len(cuts); i++ {
			want := e.exactly(&cuts[i-1]).Cmp(e.exactly(&cuts[i]))
			if want > 0 || want != e.order(&cuts[i-1], &cuts[i]) {
				t.Fatalf("%v: cuts out of order: %+v", e, cuts)
			}
			if want == 0 {
				equal++
			}
		}
	}
	if equal < 50 {
		t.Errorf("only %d pairs of cuts in one point", equal)
	}
	e := edge{b: XY{3, 3}}
	if got := e.exactly(&stop{p: XY{1, 1}}); got.Cmp(big.NewRat(1, 3)) != 0 {
		t.Errorf("a corner a third along: %v", got)
	}
}

// Sites that are one square of 12 m, put together of parts in every awkward way.
func TestPartsThatMakeOneSquare(t *testing.T) {
	third, up := 4.0, math.Nextafter(6, 7)
	for name, rings := range map[string][][][]XY{
		"three wedges that meet in a point":                   {{{{0, 0}, {12, 0}, {5, 7}}}, {{{12, 0}, {12, 12}, {5, 7}}}, {{{12, 12}, {0, 12}, {0, 0}, {5, 7}}}},
		"five wedges around a point no corner is drawn alike": {{{{0, 0}, {6, 0}, {5, 7}}}, {{{6, 0}, {12, 0}, {12, 5}, {5, 7}}}, {{{12, 5}, {12, 12}, {5, 7}}}, {{{12, 12}, {5, 12}, {5, 7}}}, {{{5, 12}, {0, 12}, {0, 0}, {5, 7}}}},
		"T-junctions along a line":                            {{rect(0, 0, 12, 6)}, {rect(0, 6, third, 12)}, {rect(third, 6, 9, 12)}, {rect(9, 6, 12, 12)}},
		"T-junctions from both sides":                         {{rect(0, 0, 5, 6)}, {rect(5, 0, 12, 6)}, {rect(0, 6, 3, 12)}, {rect(3, 6, 8, 12)}, {rect(8, 6, 12, 12)}},
		"over by an ulp":                                      {{rect(0, 0, up, 12)}, {rect(6, 0, 12, 12)}},
		"fills a hole":                                        {{rect(0, 0, 12, 12), rect(3, 3, 9, 9)}, {rect(3, 3, 9, 9)}},
		"fills a hole in parts":                               {{rect(0, 0, 12, 12), rect(3, 3, 9, 9)}, {rect(3, 3, 6, 9)}, {{{6, 3}, {9, 3}, {9, 9}, {6, 9}, {6, 5}}}},
		"fills a hole and more":                               {{rect(0, 0, 12, 12), rect(3, 3, 9, 9)}, {rect(2, 2, 10, 9)}},
		"frames, one in the other":                            {{rect(0, 0, 12, 12), rect(2, 2, 10, 10)}, {rect(2, 2, 10, 10), rect(4, 4, 8, 8)}, {rect(4, 4, 8, 8)}},
		"a slanting wall, drawn alike":                        {{{{0, 0}, {5, 0}, {7, 12}, {0, 12}}}, {{{12, 12}, {7, 12}, {5, 0}, {12, 0}}}},
		"crossing strips in tenths":                           {{rect(0, 0, 12, 0.1+0.2+6)}, {rect(0, 6.1, 12, 12)}, {rect(0.3, 0, 0.7, 12)}},
		"a corner on a wall, over it":                         {{rect(0, 0, 12, 12)}, {{{6, 6}, {12, 6}, {9, 9}}}},
		"alike twice and a part":                              {{rect(0, 0, 12, 12)}, {rect(0, 0, 12, 12)}, {rect(0, 3, 12, 12)}},
	} {
		whole := mustNew(t, box("w", KeepIn, 0, 0, 12, 12, -1e4, 1e4))
		s := mustNew(t, zonesOf(rings...)...)
		check := func(x, y float64) {
			a, b := s.Clearance(point(x, y, 0)), whole.Clearance(point(x, y, 0))
			if !near0(a.Clearance, b.Clearance, 1e-12) || s.Inside(XYZ{x, y, 0}) != whole.Inside(XYZ{x, y, 0}) {
				t.Errorf("%s: clearance at (%g, %g) = %+v, want %g", name, x, y, a, b.Clearance)
			}
			w := Sweep{From: XYZ{x, y, 0}, To: XYZ{12 - y, x, 0}, Radius: 0.25, Grow: 0.5}
			if c, d := s.Clearance(&w).Clearance, whole.Clearance(&w).Clearance; !near0(c, d, 1e-12) && (c > 0 || d > 0) {
				t.Errorf("%s: sweep from (%g, %g): %g, want %g", name, x, y, c, d)
			}
		}
		for i := -2; i <= 50; i++ {
			for j := -2; j <= 50; j++ {
				check(float64(i)/4, float64(j)/4)
			}
		}
		for _, z := range rings {
			for _, p := range spots(rng(3), z, 200) {
				check(p.X, p.Y)
			}
		}
	}
}

// A gap of an ulp is two walls; so is a corner that only touches.
func TestAGapHoweverSmallIsTwoWalls(t *testing.T) {
	s := mustNew(t, zonesOf([][]XY{rect(0, 0, math.Nextafter(6, 5), 12)}, [][]XY{rect(6, 0, 12, 12)})...)
	if h := s.Clearance(point(5, 6, 0)); !near0(h.Clearance, 1, 1e-12) {
		t.Errorf("beside the gap: %+v", h)
	}
	if s.Clearance(&Sweep{From: XYZ{5, 6, 0}, To: XYZ{7, 6, 0}}).Clearance > 0 {
		t.Error("across the gap")
	}
	c := mustNew(t, zonesOf([][]XY{rect(0, 0, 6, 6)}, [][]XY{rect(6, 6, 12, 12)})...)
	if c.Inside(XYZ{6, 6, 0}) || c.Clearance(&Sweep{From: XYZ{5, 5, 0}, To: XYZ{7, 7, 0}}).Clearance > 0 {
		t.Error("through a corner that only touches")
	}
}

// Bands: where two zones share a wall the way is open as far as both reach.
func TestZonesOfDifferentBandsShareAWall(t *testing.T) {
	s := mustNew(t, box("a", KeepIn, 0, 0, 6, 12, 0, 4), box("b", KeepIn, 6, 0, 12, 12, 1, 3), box("c", KeepIn, 0, 0, 12, 12, 3, 5))
	for _, c := range []struct {
		z    float64
		open bool
	}{{0.5, false}, {1, false}, {2, true}, {3, true}, {3.5, true}, {4.5, true}, {5, false}} {
		w := Sweep{From: XYZ{5, 6, c.z}, To: XYZ{7, 6, c.z}}
		if got := s.Clearance(&w).Clearance > 0; got != c.open {
			t.Errorf("at height %g: open %v, want %v (%+v)", c.z, got, c.open, s.Clearance(&w))
		}
	}
}
