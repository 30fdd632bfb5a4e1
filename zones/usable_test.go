package zones

import (
	"math"
	"testing"
)

// Closed forms: inset rectangles, a disc cut out, pieces, heights.

func TestUsableRectangle(t *testing.T) {
	s := mustNew(t, box("cage", KeepIn, 1, 2, 8, 7, 0, 3.2)) // 7 by 5
	for _, inset := range []float64{0, 0.25, 0.6, 1, 2, 2.4375} {
		r := s.Usable(inset, 0.1, 0.2)
		want := (7 - 2*inset) * (5 - 2*inset)
		if math.Abs(r.Area-want) > 1e-4*35 || math.Abs(r.Area-want) > r.Unsure || r.Pieces != 1 {
			t.Errorf("inset %g: %+v, want %g m²", inset, r, want)
		}
		if d := (2.5 - inset) - r.Circle.Radius; d < -1e-9 || d > circleSlack*7 || math.Abs(r.Circle.Center.Y-4.5) > circleSlack*7*1.01 {
			t.Errorf("inset %g: circle %+v, want radius %g", inset, r.Circle, 2.5-inset)
		}
		if !near0(r.Floor, 0.1, 1e-12) || !near0(r.Ceiling, 3, 1e-12) {
			t.Errorf("inset %g: height %g to %g", inset, r.Floor, r.Ceiling)
		}
	}
	for _, r := range []Room{s.Usable(2.5, 0, 0), s.Usable(9, 0, 0), s.Usable(0, 2, 1.2), s.Usable(0, 0, 4), s.Usable(-1, 0, 0), s.Usable(math.NaN(), 0, 0), s.Usable(0, math.Inf(1), 0), (*Set)(nil).Usable(0, 0, 0)} {
		if r != (Room{}) {
			t.Errorf("room where there is none: %+v", r)
		}
	}
}

// disc is a regular polygon of n corners around a circle.
func disc(x, y, radius float64, n int) []XY {
	out := make([]XY, n)
	for i := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		out[i] = XY{x + radius*cos, y + radius*sin}
	}
	return out
}

// A square with a round hole, and a square with a round keep-out of full
// height: 8² less a disc widened by the inset.
func TestUsableRoundHole(t *testing.T) {
	hole := mustNew(t, Shape{Name: "a", Kind: KeepIn, Floor: 0, Ceiling: 3, Rings: [][]XY{rect(0, 0, 8, 8), disc(4, 4, 1, 720)}})
	post := mustNew(t, box("a", KeepIn, 0, 0, 8, 8, 0, 3), Shape{Name: "post", Kind: KeepOut, Floor: -1, Ceiling: 4, Rings: [][]XY{disc(4, 4, 1, 720)}})
	for _, s := range []*Set{hole, post} {
		for _, inset := range []float64{0, 0.25, 0.5, 1} {
			r := s.Usable(inset, 0.1, 0.1)
			want := (8-2*inset)*(8-2*inset) - math.Pi*(1+inset)*(1+inset)
			if math.Abs(r.Area-want) > 1e-3*64 || math.Abs(r.Area-want) > r.Unsure || r.Pieces != 1 {
				t.Errorf("inset %g: %+v, want %g m²", inset, r, want)
			}
			// The circle between a corner and the disc: r(1+√2) = 4√2 - 1.
			if d := (4*math.Sqrt2-1)/(1+math.Sqrt2) - inset - r.Circle.Radius; d < -1e-4 || d > 2e-4 {
				t.Errorf("inset %g: circle %+v, %g short", inset, r.Circle, d)
			}
		}
	}
}

// Two rooms joined by a passage 1 m wide: one piece for a body narrower than
// it, two for a wider one.
func TestUsablePieces(t *testing.T) {
	s := mustNew(t, Shape{Name: "a", Kind: KeepIn, Floor: 0, Ceiling: 3,
		Rings: [][]XY{{{0, 0}, {4, 0}, {4, 1.5}, {6, 1.5}, {6, 0}, {10, 0}, {10, 4}, {6, 4}, {6, 2.5}, {4, 2.5}, {4, 4}, {0, 4}}}})
	for inset, want := range map[float64]int{0: 1, 0.3: 1, 0.48: 1, 0.5: 2, 0.51: 2, 1: 2, 1.9: 2} {
		if r := s.Usable(inset, 0, 0); r.Pieces != want {
			t.Errorf("inset %g: %d pieces, want %d", inset, r.Pieces, want)
		}
	}
	// A wall thinner than a square of the raster still parts.
	thin := mustNew(t, box("a", KeepIn, 0, 0, 10, 10, 0, 3), box("wall", KeepOut, 4.999, -1, 5.001, 11, -1, 4))
	if r := thin.Usable(0, 0, 0); r.Pieces != 2 || math.Abs(r.Area-99.98) > 0.05 {
		t.Errorf("thin wall: %+v", r)
	}
	apart := mustNew(t, box("a", KeepIn, 0, 0, 4, 4, 0, 3), box("b", KeepIn, 6, 0, 10, 4, 0, 3))
	if r := apart.Usable(0.5, 0, 0); r.Pieces != 2 || math.Abs(r.Area-18) > 0.01 {
		t.Errorf("two pens: %+v", r)
	}
	joined := mustNew(t, box("a", KeepIn, 0, 0, 5, 4, 0, 3), box("b", KeepIn, 5, 0, 10, 4, 0, 3))
	if r := joined.Usable(0.5, 0, 0); r.Pieces != 1 || math.Abs(r.Area-27) > 0.01 {
		t.Errorf("two zones, one pen: %+v", r)
	}
}

// A low crate across the whole cage: a body that can rise over it has it all,
// one that cannot has two pieces.
func TestUsableHeights(t *testing.T) {
	s := mustNew(t, box("cage", KeepIn, 0, 0, 10, 4, 0, 3), box("crate", KeepOut, 4, -1, 6, 5, 0, 1))
	over := s.Usable(0.5, 0.25, 0.25)
	if over.Pieces != 1 || math.Abs(over.Area-27) > 0.01 || !near0(over.Floor, 0.25, 1e-12) || !near0(over.Ceiling, 2.75, 1e-12) {
		t.Errorf("over the crate: %+v", over)
	}
	beside := s.Usable(0.5, 1, 1.25)
	if beside.Pieces != 2 || math.Abs(beside.Area-18) > 0.01 {
		t.Errorf("too tall to pass: %+v", beside)
	}
	step := mustNew(t, box("hall", KeepIn, 0, 0, 10, 10, 0, 4), box("annex", KeepIn, 10, 0, 20, 10, 0, 2))
	if r := step.Usable(1, 0.5, 0.5); r.Pieces != 1 || math.Abs(r.Area-18*8) > 0.1 || r.Ceiling != 3.5 {
		t.Errorf("step: %+v", r)
	}
	if r := step.Usable(1, 1, 1.5); r.Pieces != 1 || math.Abs(r.Area-64) > 0.1 || r.Floor != 1 || r.Ceiling != 2.5 {
		t.Errorf("too tall for the annex: %+v", r)
	}
}
