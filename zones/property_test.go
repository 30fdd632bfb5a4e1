package zones

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Laws that hold for every zone and every body, looked for by pgregory.net/rapid.

// anyZone draws a valid outline, mostly with a hole, and a height band.
func anyZone(t *rapid.T) Shape {
	n := rapid.IntRange(3, 40).Draw(t, "corners")
	r := rng(rapid.Uint64().Draw(t, "seed"))
	z := Shape{Name: "z", Kind: KeepIn, Floor: 0, Ceiling: 5, Rings: [][]XY{star(r, 0, 0, 4, 10, n)}}
	if n >= 8 { // with fewer, an edge may pass close to the middle
		z.Rings = append(z.Rings, star(r, 0, 0, 0.5, 1.9, 3+n/4))
	}
	return z
}

func anyXYZ(t *rapid.T, what string) XYZ {
	f := rapid.Float64Range(-12, 12)
	return XYZ{f.Draw(t, what+" x"), f.Draw(t, what+" y"), rapid.Float64Range(-1, 6).Draw(t, what+" z")}
}

func anySweep(t *rapid.T) Sweep {
	f := rapid.Float64Range(0, 2)
	return Sweep{From: anyXYZ(t, "from"), To: anyXYZ(t, "to"), Radius: f.Draw(t, "radius"), Grow: f.Draw(t, "grow"),
		Below: f.Draw(t, "below"), Above: f.Draw(t, "above")}
}

// same builds both and compares their answers, the number to tol, m.
func same(t *rapid.T, a, b Shape, wa, wb Sweep, tol float64) {
	sa, sb := newRapid(t, a), newRapid(t, b)
	x, y := sa.Clearance(&wa), sb.Clearance(&wb)
	if math.Abs(x.Clearance-y.Clearance) > tol || x.Clearance > tol != (y.Clearance > tol) && math.Abs(x.Clearance) > 2*tol {
		t.Fatalf("clearance %.17g and %.17g", x.Clearance, y.Clearance)
	}
}

func newRapid(t *rapid.T, z Shape) *Set {
	s, err := New([]Shape{z})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// looked is what depth may differ by: where it looks depends on rounding.
func looked(w *Sweep) float64 {
	return max(depthSlack, depthPart*(w.Grow+math.Hypot(w.To.X-w.From.X, w.To.Y-w.From.Y))) * 1.01
}

func TestMovingTheOriginChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, w := anyZone(t), anySweep(t)
		d := anyXYZ(t, "by")
		m, v := z, w
		m.Rings = mapRings(z.Rings, func(p XY) XY { return XY{p.X + d.X, p.Y + d.Y} })
		v.From.X, v.From.Y, v.To.X, v.To.Y = w.From.X+d.X, w.From.Y+d.Y, w.To.X+d.X, w.To.Y+d.Y
		same(t, z, m, w, v, looked(&w))
		w.To, v.To, w.Grow, v.Grow = w.From, v.From, 0, 0
		same(t, z, m, w, v, 1e-12)
	})
}

func TestTurningTheSiteChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, w := anyZone(t), anySweep(t)
		sin, cos := math.Sincos(rapid.Float64Range(0, 7).Draw(t, "angle"))
		turn := func(p XY) XY { return XY{p.X*cos - p.Y*sin, p.X*sin + p.Y*cos} }
		m, v := z, w
		m.Rings = mapRings(z.Rings, turn)
		a, b := turn(XY{w.From.X, w.From.Y}), turn(XY{w.To.X, w.To.Y})
		v.From.X, v.From.Y, v.To.X, v.To.Y = a.X, a.Y, b.X, b.Y
		same(t, z, m, w, v, looked(&w))
		w.To, v.To, w.Grow, v.Grow = w.From, v.From, 0, 0
		same(t, z, m, w, v, 1e-12)
	})
}

func mapRings(in [][]XY, f func(XY) XY) [][]XY {
	out := make([][]XY, len(in))
	for k, r := range in {
		for _, p := range r {
			out[k] = append(out[k], f(p))
		}
	}
	return out
}

// However a ring is drawn, the answer is the same bit for bit, for points that
// are on corners and edges too.
func TestHowARingIsDrawnChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z := anyZone(t)
		m := z
		m.Rings = nil
		for _, r := range z.Rings {
			k := rapid.IntRange(0, len(r)-1).Draw(t, "start")
			r = append(slices.Clone(r[k:]), r[:k]...)
			if rapid.Bool().Draw(t, "reverse") {
				slices.Reverse(r)
			}
			if rapid.Bool().Draw(t, "close") {
				r = append(r, r[0])
			}
			m.Rings = append(m.Rings, r)
		}
		a, b := newRapid(t, z), newRapid(t, m)
		w := anySweep(t)
		if x, y := a.Clearance(&w), b.Clearance(&w); x.Clearance != y.Clearance {
			t.Fatalf("clearance %.17g and %.17g", x.Clearance, y.Clearance)
		}
		r := rng(rapid.Uint64().Draw(t, "spots"))
		for _, p := range spots(r, z.Rings, 20) {
			if x, y := a.Clearance(point(p.X, p.Y, 2.5)), b.Clearance(point(p.X, p.Y, 2.5)); x.Clearance != y.Clearance {
				t.Fatalf("%v: clearance %.17g and %.17g", p, x.Clearance, y.Clearance)
			}
		}
	})
}

// Mirrored, the answer is the same.
func TestMirroringChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, w := anyZone(t), anySweep(t)
		m, v := z, w
		m.Rings = mapRings(z.Rings, func(p XY) XY { return XY{-p.X, p.Y} })
		v.From.X, v.To.X = -w.From.X, -w.To.X
		same(t, z, m, w, v, looked(&w))
	})
}

// |clearance(a) - clearance(b)| <= |a - b|, for points, whatever the zones.
func TestClearanceChangesNoFasterThanThePoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rng(rapid.Uint64().Draw(t, "scene"))
		s, err := New(scene(r, rapid.Bool().Draw(t, "many")))
		if err != nil {
			t.Fatal(err)
		}
		for range 20 {
			a := XYZ{18*r.Float64() - 1, 18*r.Float64() - 1, 5*r.Float64() - 0.5}
			l := math.Pow(10, 1-5*r.Float64())
			b := XYZ{a.X + l*r.NormFloat64(), a.Y + l*r.NormFloat64(), a.Z + l*r.NormFloat64()}
			x, y := s.Clearance(&Sweep{From: a, To: a}).Clearance, s.Clearance(&Sweep{From: b, To: b}).Clearance
			if d := math.Sqrt((a.X-b.X)*(a.X-b.X) + (a.Y-b.Y)*(a.Y-b.Y) + (a.Z-b.Z)*(a.Z-b.Z)); math.Abs(x-y) > d*(1+1e-9)+1e-12 {
				t.Fatalf("%v: %g, %v: %g, only %g apart", a, x, b, y, d)
			}
		}
	})
}

// A larger body, a longer way or more growth never has more room.
func TestMoreBodyLessRoom(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		z, w := anyZone(t), anySweep(t)
		s := newRapid(t, z)
		c := s.Clearance(&w).Clearance
		part := rapid.Float64Range(0, 1).Draw(t, "part")
		v := w
		v.To = XYZ{w.From.X + part*(w.To.X-w.From.X), w.From.Y + part*(w.To.Y-w.From.Y), w.From.Z + part*(w.To.Z-w.From.Z)}
		v.Grow = part * w.Grow
		v.Radius *= rapid.Float64Range(0, 1).Draw(t, "radius part")
		if d := s.Clearance(&v).Clearance; d < c-looked(&w)-1e-9 || c > 0 && d < c-1e-9 {
			t.Fatalf("a part has %g, the whole %g", d, c)
		}
	})
}
