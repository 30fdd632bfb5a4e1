package zones

import (
	"math"
	"sync"
	"testing"
)

// The definitions of this package, one by one. Closed forms worked by hand.

type at struct{ x, y, z, want float64 }

func checkPoints(t *testing.T, s *Set, list []at) {
	t.Helper()
	for _, c := range list {
		h := s.Clearance(point(c.x, c.y, c.z))
		if !near0(h.Clearance, c.want, 1e-12) {
			t.Errorf("clearance at (%g, %g, %g) = %.17g, want %.17g (%+v)", c.x, c.y, c.z, h.Clearance, c.want, h)
		}
		if (h.Clearance > 0) != (c.want > 0) || s.Inside(XYZ{c.x, c.y, c.z}) != (c.want > 0) {
			t.Errorf("inside at (%g, %g, %g) = %v, clearance %g, want %g", c.x, c.y, c.z, s.Inside(XYZ{c.x, c.y, c.z}), h.Clearance, c.want)
		}
	}
}

func TestPointInOneZone(t *testing.T) {
	s := mustNew(t, Shape{Name: "hall", Kind: KeepIn, Floor: 0, Ceiling: 3,
		Rings: [][]XY{rect(0, 0, 10, 8), rect(4, 3, 6, 5)}})
	checkPoints(t, s, []at{
		{2, 4, 1.5, 1.5},           // floor and ceiling nearest
		{0.5, 4, 1.5, 0.5},         // wall
		{3.75, 4, 1, 0.25},         // wall of the hole
		{1, 1, 0.125, 0.125},       // floor
		{1, 1, 2.75, 0.25},         // ceiling
		{5, 4, 1, -1},              // in the hole
		{-3, 4, 1, -3},             // beside
		{-3, -4, 1, -5},            // off the corner
		{2, 2, 7, -4},              // above
		{13, 4, 7, -5},             // beside and above: hypot(3, 4)
		{13, 12, 15, -13},          // off the corner and above: hypot(5, 12)
		{0, 4, 1, 0}, {0, 0, 1, 0}, // on a wall, on a corner
		{4, 4, 1, 0}, {6, 5, 1, 0}, // on the hole, on its corner
		{2, 2, 0, 0}, {2, 2, 3, 0}, // on the floor, on the ceiling
		{0, 4, 3, 0},                  // on the rim
		{0, 4, 5, -2}, {-2, 4, 3, -2}, // on one line, beyond another
		{math.Nextafter(0, 1), 4, 1, 5e-324}, // as near as can be
		{math.Nextafter(0, -1), 4, 1, -5e-324},
	})
}

func TestPointAndKeepOut(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 20, 20, 0, 10), box("crate", KeepOut, 9, 9, 11, 11, 0, 2))
	checkPoints(t, s, []at{
		{8, 10, 1, 1},               // beside the crate
		{5, 6, 1, 1},                // the floor is nearest
		{10, 10, 3, 1},              // over it
		{10, 10, 2.25, 0.25},        // over it, close
		{8.4, 10, 2.8, 1},           // off its rim: hypot(0.6, 0.8)
		{10, 10, 2, 0},              // on its lid
		{9, 10, 1, 0}, {9, 9, 2, 0}, // on its side, on its corner
		{9.5, 10, 1, -0.5},    // inside: shortest way out
		{10, 10, 1.75, -0.25}, // inside, up is the shortest
	})
	if h := s.Clearance(point(10, 10, 2.25)); h.Zone != 1 || h.Pen || h.Face != CeilFace || h.Edge != -1 || h.Nearest != (XYZ{10, 10, 2}) {
		t.Errorf("over the crate: %+v", h)
	}
	if h := s.Clearance(point(8.5, 10, 1)); h.Zone != 1 || h.Face != Wall || h.Edge != 3 || h.Nearest != (XYZ{9, 10, 1}) {
		t.Errorf("beside the crate: %+v", h)
	}
	if h := s.Clearance(point(0.5, 10, 1)); h.Zone != 0 || !h.Pen || h.Face != Wall || h.Edge != 3 || h.Nearest != (XYZ{0, 10, 1}) {
		t.Errorf("beside the wall: %+v", h)
	}
}

func TestBody(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 10, 10, 0, 4))
	for _, c := range []struct {
		x, y, z, r, below, above, want float64
	}{
		{5, 5, 2, 0.5, 0.25, 0.25, 1.75},
		{1, 5, 2, 0.25, 0.25, 0.25, 0.75},
		{1, 5, 2, 1.5, 0.25, 0.25, -0.5},
		{1, 5, 0.5, 1.3, 0.9, 0.25, -0.5}, // hypot(0.3, 0.4)
		{5, 5, 0.5, 1, 0.75, 0.25, -0.25},
		{-1, 5, 2, 1, 0, 0, -2},
	} {
		w := Sweep{From: XYZ{c.x, c.y, c.z}, To: XYZ{c.x, c.y, c.z}, Radius: c.r, Below: c.below, Above: c.above}
		if h := s.Clearance(&w); !near0(h.Clearance, c.want, 1e-12) {
			t.Errorf("%+v: %.17g, want %g", w, h.Clearance, c.want)
		}
	}
}

func TestSweep(t *testing.T) {
	s := mustNew(t, Shape{Name: "hall", Kind: KeepIn, Floor: 0, Ceiling: 4, Rings: [][]XY{rect(0, 0, 20, 10), rect(9, 0.5, 11, 5)}})
	for _, c := range []struct {
		w    Sweep
		want float64
		tol  float64
	}{
		{Sweep{From: XYZ{2, 8, 2}, To: XYZ{18, 8, 2}, Radius: 0.5}, 1.5, 1e-12},          // along the wall
		{Sweep{From: XYZ{2, 8, 2}, To: XYZ{18, 8, 2}, Radius: 0.5, Grow: 1}, 0.5, 1e-12}, // growing
		{Sweep{From: XYZ{2, 5, 2}, To: XYZ{6, 5, 2}, Radius: 1, Grow: 0.5}, 1, 1e-12},    // 2-1 at the start, 3-1.5 at the end
		{Sweep{From: XYZ{5, 5, 2}, To: XYZ{5, 5, 3}, Above: 0.5}, 0.5, 1e-12},            // climbing
		{Sweep{From: XYZ{8, 2, 2}, To: XYZ{12, 2, 2}}, -1, 0.05},                         // through the hole, ends outside it
		{Sweep{From: XYZ{19, 5, 2}, To: XYZ{23, 5, 2}}, -3, 0.05},                        // out through the wall
		{Sweep{From: XYZ{8, 5, 2}, To: XYZ{12, 5, 2}, Radius: 0.25}, -0.25, 0.041},       // along an edge of the hole
	} {
		h := s.Clearance(&c.w)
		if h.Clearance > c.want+1e-12 || h.Clearance < c.want-c.tol {
			t.Errorf("%+v: %.17g, want %g", c.w, h.Clearance, c.want)
		}
	}
	slit := Sweep{From: XYZ{8, 0.25, 2}, To: XYZ{12, 0.25, 2}, Radius: 0.125}
	if h := s.Clearance(&slit); !near0(h.Clearance, 0.125, 1e-12) {
		t.Errorf("between hole and wall: %+v", h)
	}
}

func TestNothingIsAllowedByDefault(t *testing.T) {
	var none *Set
	var zero Set
	out := mustNew(t, box("crate", KeepOut, 0, 0, 1, 1, 0, 1))
	in := mustNew(t, box("hall", KeepIn, 0, 0, 1, 1, 0, 1))
	nan, inf := math.NaN(), math.Inf(1)
	for name, h := range map[string]Hit{
		"nil":     none.Clearance(point(0, 0, 0)),
		"zero":    zero.Clearance(point(0, 0, 0)),
		"no pen":  out.Clearance(point(5, 5, 5)),
		"NaN":     in.Clearance(point(0.5, nan, 0.5)),
		"NaN z":   in.Clearance(point(0.5, 0.5, nan)),
		"Inf":     in.Clearance(point(inf, 0.5, 0.5)),
		"far":     in.Clearance(point(2e6, 0.5, 0.5)),
		"radius":  in.Clearance(&Sweep{From: XYZ{.5, .5, .5}, To: XYZ{.5, .5, .5}, Radius: nan}),
		"minus":   in.Clearance(&Sweep{From: XYZ{.5, .5, .5}, To: XYZ{.5, .5, .5}, Radius: -1}),
		"to":      in.Clearance(&Sweep{From: XYZ{.5, .5, .5}, To: XYZ{.5, nan, .5}}),
		"below":   in.Clearance(&Sweep{From: XYZ{.5, .5, .5}, To: XYZ{.5, .5, .5}, Below: inf}),
		"nil one": none.Judge(point(0, 0, 0), 1, nil)[0],
	} {
		if !math.IsInf(h.Clearance, -1) || h.Zone != -1 || !h.Pen {
			t.Errorf("%s: %+v", name, h)
		}
	}
	if none.Inside(XYZ{}) || zero.Inside(XYZ{}) || out.Inside(XYZ{5, 5, 5}) || none.Len() != 0 || none.Shapes() != nil {
		t.Error("something is allowed")
	}
}

// Two zones that overlap, share a wall, or stand on each other are one pen.
func TestNoPhantomWall(t *testing.T) {
	cases := map[string]*Set{
		"overlap": mustNew(t, box("a", KeepIn, 0, 0, 6, 4, 0, 4), box("b", KeepIn, 4, 0, 10, 4, 0, 4)),
		"touch":   mustNew(t, box("a", KeepIn, 0, 0, 5, 4, 0, 4), box("b", KeepIn, 5, 0, 10, 4, 0, 4)),
		"stacked": mustNew(t, box("a", KeepIn, 0, 0, 10, 4, 0, 2), box("b", KeepIn, 0, 0, 10, 4, 2, 4)),
		"four": mustNew(t, box("a", KeepIn, 0, 0, 5, 2, 0, 4), box("b", KeepIn, 5, 0, 10, 2, 0, 4),
			box("c", KeepIn, 0, 2, 5, 4, 0, 4), box("d", KeepIn, 5, 2, 10, 4, 0, 4)),
		"twice":  mustNew(t, box("a", KeepIn, 0, 0, 10, 4, 0, 4), box("b", KeepIn, 0, 0, 10, 4, 0, 4)),
		"within": mustNew(t, box("a", KeepIn, 0, 0, 10, 4, 0, 4), box("b", KeepIn, 1, 1, 10, 3, 0, 4)),
	}
	whole := mustNew(t, box("w", KeepIn, 0, 0, 10, 4, 0, 4))
	for name, s := range cases {
		for i := -4; i <= 44; i++ {
			for j := -4; j <= 20; j++ {
				for _, z := range []float64{-0.5, 0, 0.5, 2, 3, 4, 4.5} {
					x, y := float64(i)/4, float64(j)/4
					got, want := s.Clearance(point(x, y, z)).Clearance, whole.Clearance(point(x, y, z)).Clearance
					if !near0(got, want, 1e-12) {
						t.Fatalf("%s: clearance at (%g, %g, %g) = %g, want %g", name, x, y, z, got, want)
					}
					w := Sweep{From: XYZ{x, y, z}, To: XYZ{x + 1.5, y + 0.5, z + 0.25}, Radius: 0.25, Grow: 0.25, Below: 0.25, Above: 0.125}
					got, want = s.Clearance(&w).Clearance, whole.Clearance(&w).Clearance
					if !near0(got, want, 0.02) || want > 0 && !near0(got, want, 1e-12) {
						t.Fatalf("%s: clearance of %+v = %g, want %g", name, w, got, want)
					}
				}
			}
		}
	}
}

// Zones of different heights side by side: a hall 4 m high and an annex 2 m
// high. Below 2 m the way is open; above, the hall's wall stands, and the
// annex's ceiling ends the space.
func TestStepInTheCeiling(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 10, 10, 0, 4), box("annex", KeepIn, 10, 0, 20, 10, 0, 2))
	checkPoints(t, s, []at{
		{10, 5, 1, 1}, // on the seam: floor and step 1 m away
		{9.75, 5, 1.25, 0.75 + (math.Hypot(0.25, 0.75) - 0.75)},
		{9.4, 5, 1.2, 1},     // the edge of the step: hypot(0.6, 0.8)
		{9.5, 5, 3, 0.5},     // the wall above the annex
		{10, 5, 3, 0},        // on it
		{10, 5, 2, 0},        // on the edge of the step
		{12, 5, 1.5, 0.5},    // the annex's ceiling
		{10.25, 5, 3, -0.25}, // beside the hall
		{15, 5, 2.5, -0.5},   // over the annex: down is the shortest
		{13, 5, 6, -math.Hypot(3, 2)},
	})
	through := Sweep{From: XYZ{8, 5, 1}, To: XYZ{12, 5, 1}, Radius: 0.25, Below: 0.25, Above: 0.25}
	if h := s.Clearance(&through); !near0(h.Clearance, 0.75, 1e-12) {
		t.Errorf("through the opening: %+v", h)
	}
	high := Sweep{From: XYZ{8, 5, 2.5}, To: XYZ{12, 5, 2.5}, Radius: 0.25, Below: 0.25, Above: 0.25}
	if h := s.Clearance(&high); h.Clearance > 0 {
		t.Errorf("through the wall above: %+v", h)
	}
	poke := Sweep{From: XYZ{10, 5, 1.9}, To: XYZ{10, 5, 1.9}, Radius: 0.25, Below: 0.25, Above: 0.2}
	if h := s.Clearance(&poke); h.Clearance > -0.1 || h.Clearance < -0.3 {
		t.Errorf("head through the step: %+v", h)
	}
}

func TestPensApart(t *testing.T) {
	s := mustNew(t, box("a", KeepIn, 0, 0, 4, 4, 0, 4), box("b", KeepIn, 6, 0, 10, 4, 0, 4), box("c", KeepIn, 0, 0, 4, 4, 5, 6))
	checkPoints(t, s, []at{{1, 2, 2, 1}, {9, 2, 2, 1}, {5, 2, 2, -1}, {4.25, 2, 2, -0.25}, {2, 2, 5.5, 0.5}, {2, 2, 4.25, -0.25}})
}

func TestJudge(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 20, 20, 0, 10), box("a", KeepOut, 2, 2, 3, 3, 0, 10), box("b", KeepOut, 4, 2, 5, 3, 0, 10), box("c", KeepOut, 15, 15, 16, 16, 0, 10))
	w := &Sweep{From: XYZ{3.25, 2.5, 5}, To: XYZ{3.25, 2.5, 5}, Radius: 0.125}
	h := s.Judge(w, 1, nil)
	if len(h) != 2 || h[0].Zone != 1 || h[1].Zone != 2 || !near0(h[0].Clearance, 0.125, 1e-12) || !near0(h[1].Clearance, 0.625, 1e-12) {
		t.Errorf("within 1 m: %+v", h)
	}
	h = s.Judge(w, math.Inf(1), []Hit{{Zone: 77}})
	if len(h) != 5 || h[0].Zone != 77 || !h[3].Pen || h[4].Zone != 3 {
		t.Errorf("all: %+v", h)
	}
	for i := 2; i < len(h); i++ {
		if h[i].Clearance < h[i-1].Clearance {
			t.Errorf("not worst first: %+v", h)
		}
	}
	if h := s.Judge(w, math.NaN(), nil); len(h) != 4 {
		t.Errorf("within NaN must hide nothing: %+v", h)
	}
	if h := s.Judge(w, -1, nil); len(h) != 0 {
		t.Errorf("within -1: %+v", h)
	}
}

func TestQueriesDoNotAllocate(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 10, 10, 0, 4), box("annex", KeepIn, 10, 0, 20, 10, 0, 2), box("crate", KeepOut, 2, 2, 3, 3, 0, 1))
	dst := make([]Hit, 0, 4)
	for _, w := range []Sweep{*point(10, 5, 1), {From: XYZ{1, 1, 1}, To: XYZ{30, 5, 3}, Radius: 0.5, Grow: 1, Above: 1},
		{From: XYZ{2.5, 2.5, 0.5}, To: XYZ{2.5, 2.5, 0.5}}} {
		if n := testing.AllocsPerRun(100, func() {
			s.Clearance(&w)
			dst = s.Judge(&w, math.Inf(1), dst[:0])
		}); n != 0 {
			t.Errorf("%+v: %g allocations", w, n)
		}
	}
}

func TestConcurrentUse(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 10, 10, 0, 4), box("annex", KeepIn, 10, 0, 20, 10, 0, 2))
	want := s.Clearance(point(9, 5, 1))
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 1000 {
				if got := s.Clearance(point(9, 5, 1)); got != want {
					t.Errorf("%+v, want %+v", got, want)
				}
			}
		})
	}
	wg.Wait()
}
