package zones

import (
	"math"
	"testing"
)

// On the safe side: what the simplified keep-in holds the original holds, what
// the original keep-out holds the simplified one holds; and no corner of the
// original is further than the tolerance from the new outline.
func TestSimplifyKeepsToTheSafeSide(t *testing.T) {
	r := rng(11)
	dropped := 0
	for round := range 60 {
		rings := [][]XY{smooth(r, 10, 40+r.IntN(200)), star(r, 0, 0, 1, 1.3, 3+r.IntN(60))}
		if round%3 == 0 {
			rings[0] = star(r, 0, 0, 8, 9, 100)
		}
		z := zoneOf(rings)
		z.Kind = Kind(1 + round%2)
		tolerance := math.Pow(10, -3*r.Float64())
		thin, err := Simplify(z, tolerance)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := New([]Shape{thin}); err != nil {
			t.Fatalf("not valid any more: %v", err)
		}
		for k := range rings {
			dropped += len(rings[k]) - len(thin.Rings[k])
		}
		inner, outer := thin.Rings, rings
		if z.Kind == KeepOut {
			inner, outer = outer, inner
		}
		in, around := newPolygon(inner), newPolygon(outer) // exact: see the oracles
		for _, p := range spots(r, rings, 200) {
			if in.locate(p.X, p.Y) > 0 && around.locate(p.X, p.Y) <= 0 {
				t.Fatalf("%v, tolerance %g: %v is on the wrong side", z.Kind, tolerance, p)
			}
		}
		for k := range rings {
			for _, p := range rings[k] {
				if d := math.Abs(slowSigned(thin.Rings[k:k+1], p.X, p.Y)); d > tolerance+1e-12 {
					t.Fatalf("corner %v is %g from the outline, tolerance %g", p, d, tolerance)
				}
			}
		}
	}
	if dropped < 1000 {
		t.Errorf("only %d corners left out: nothing was tried", dropped)
	}
}

func TestSimplify(t *testing.T) {
	z := zoneOf([][]XY{{{0, 0}, {5, 0}, {10, 0}, {10, 5}, {10.1, 5.05}, {10, 5.1}, {10, 10}, {5, 9.9}, {0, 10}}})
	in, err := Simplify(z, 0.2)
	if err != nil || len(in.Rings[0]) != 5 { // the bump goes, the dent stays
		t.Errorf("keep-in: %v, %v", in.Rings, err)
	}
	z.Kind = KeepOut
	out, err := Simplify(z, 0.2)
	if err != nil || len(out.Rings[0]) != 5 || out.Rings[0][2] != (XY{10.1, 5.05}) { // the dent goes, the bump stays
		t.Errorf("keep-out: %v, %v", out.Rings, err)
	}
	if len(z.Rings[0]) != 9 {
		t.Error("the input was changed")
	}
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		if _, err := Simplify(z, bad); err == nil {
			t.Errorf("tolerance %g is taken", bad)
		}
	}
	if _, err := Simplify(zoneOf([][]XY{{{0, 0}, {1, 1}, {1, 0}, {0, 1}}}), 0.1); err == nil {
		t.Error("a bow tie is taken")
	}
}
