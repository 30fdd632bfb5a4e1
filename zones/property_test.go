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
			m.Rings = append(m.Rings, redrawn(t, r))
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

// |clearance(a) - clearance(b)| <= |a - b|, whatever the zones, for points and
// for upright cylinders.
func TestClearanceChangesNoFasterThanThePoint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rng(rapid.Uint64().Draw(t, "scene"))
		shapes := scene(r, rapid.Bool().Draw(t, "many"))
		s, err := New(shapes)
		if err != nil {
			t.Fatal(err)
		}
		disc := rapid.Bool().Draw(t, "disc")
		for range 20 {
			a := XYZ{18*r.Float64() - 1, 18*r.Float64() - 1, 5*r.Float64() - 0.5}
			l := math.Pow(10, 1-5*r.Float64())
			b := XYZ{a.X + l*r.NormFloat64(), a.Y + l*r.NormFloat64(), a.Z + l*r.NormFloat64()}
			v, w := Sweep{From: a, To: a}, Sweep{From: b, To: b}
			if disc {
				v.Radius, v.Below, v.Above = r.Float64(), 0.3*r.Float64(), 0.3*r.Float64()
				w.Radius, w.Below, w.Above = v.Radius, v.Below, v.Above
			}
			x, y := s.Clearance(&v).Clearance, s.Clearance(&w).Clearance
			if d := math.Sqrt((a.X-b.X)*(a.X-b.X) + (a.Y-b.Y)*(a.Y-b.Y) + (a.Z-b.Z)*(a.Z-b.Z)); math.Abs(x-y) > d*(1+1e-9)+1e-12 {
				t.Fatalf("%+v: %g, %v: %g, only %g apart: %+v", v, x, b, y, d, shapes)
			}
		}
	})
}

// manyZones draws a site of several keep-ins, some with holes, in no special
// position to each other, and keep-outs.
func manyZones(t *rapid.T) []Shape {
	r := rng(rapid.Uint64().Draw(t, "site"))
	var out []Shape
	for i := range rapid.IntRange(2, 6).Draw(t, "zones") {
		x, y, lo := 12*r.Float64()-6, 12*r.Float64()-6, 2*r.Float64()-1
		z := Shape{Name: string(rune('a' + i)), Kind: KeepIn, Floor: lo, Ceiling: lo + 1 + 4*r.Float64(), Rings: [][]XY{star(r, x, y, 3, 8, 8+r.IntN(20))}}
		switch r.IntN(3) {
		case 0:
			z.Rings = append(z.Rings, star(r, x, y, 0.5, 2, 3+r.IntN(8)))
		case 1:
			z.Kind = KeepOut
			z.Rings[0] = star(r, x, y, 0.5, 2, 3+r.IntN(12))
		}
		out = append(out, z)
	}
	out[0].Kind = KeepIn
	return out
}

// A site of many zones, moved, turned, mirrored, its zones in another order and
// its rings drawn another way round from another corner, answers the same. The
// zones keep their shape but for rounding.
func TestHowASiteLiesChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		shapes := manyZones(t)
		a, err := New(shapes)
		if err != nil {
			t.Fatal(err)
		}
		sin, cos := math.Sincos(rapid.Float64Range(0, 7).Draw(t, "angle"))
		d, flip := anyXYZ(t, "by"), 1.0
		if rapid.Bool().Draw(t, "mirror") {
			flip = -1
		}
		move := func(p XY) XY { return XY{flip*(p.X*cos-p.Y*sin) + d.X, p.X*sin + p.Y*cos + d.Y} }
		var moved []Shape
		for _, z := range shapes {
			z.Rings = mapRings(z.Rings, move)
			for k, r := range z.Rings {
				z.Rings[k] = redrawn(t, r)
			}
			moved = append(moved, z)
		}
		if rapid.Bool().Draw(t, "order") {
			slices.Reverse(moved)
		}
		b, err := New(moved)
		if err != nil {
			t.Fatal(err)
		}
		for range 10 {
			w := anySweep(t)
			if rapid.Bool().Draw(t, "at rest") {
				w.To, w.Grow = w.From, 0
			}
			v := w
			from, to := move(XY{w.From.X, w.From.Y}), move(XY{w.To.X, w.To.Y})
			v.From.X, v.From.Y, v.To.X, v.To.Y = from.X, from.Y, to.X, to.Y
			x, y := a.Clearance(&w).Clearance, b.Clearance(&v).Clearance
			tol := 1e-11
			if w.From != w.To && min(x, y) < tol {
				tol = looked(&w)
			}
			if math.Abs(x-y) > tol {
				t.Fatalf("%+v: clearance %.17g, moved %.17g: %+v", w, x, y, shapes)
			}
		}
	})
}

// redrawn is a ring from another corner on, perhaps the other way round or closed.
func redrawn(t *rapid.T, r []XY) []XY {
	k := rapid.IntRange(0, len(r)-1).Draw(t, "start")
	r = append(slices.Clone(r[k:]), r[:k]...)
	if rapid.Bool().Draw(t, "reverse") {
		slices.Reverse(r)
	}
	if rapid.Bool().Draw(t, "close") {
		r = append(r, r[0])
	}
	return r
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
