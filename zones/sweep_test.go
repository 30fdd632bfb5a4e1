package zones

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Sweeps against dense sampling with the slow second opinion: a sweep judged
// inside is inside, and the clearance is never larger than the truth.

// scene is a random site; many says whether its pen has several zones.
func scene(r *rand.Rand, many bool) []Shape {
	var out []Shape
	if many {
		for i := range 2 + r.IntN(4) {
			x, y := float64(r.IntN(12)), float64(r.IntN(12))
			lo := float64(r.IntN(3))
			z := Shape{Name: string(rune('a' + i)), Kind: KeepIn, Floor: lo, Ceiling: lo + 1 + float64(r.IntN(4)), Rings: [][]XY{rect(x, y, x+2+float64(r.IntN(9)), y+2+float64(r.IntN(9)))}}
			if r.IntN(3) == 0 {
				z.Rings[0] = star(r, x, y, 2, 8, 5+r.IntN(12))
			}
			out = append(out, z)
		}
	} else {
		out = append(out, Shape{Name: "hall", Kind: KeepIn, Floor: 0, Ceiling: 4, Rings: [][]XY{star(r, 8, 8, 6, 12, 8+r.IntN(40)), star(r, 8, 8, 0.5, 3, 3+r.IntN(20))}})
	}
	for i := range r.IntN(4) {
		lo := 3 * r.Float64()
		out = append(out, Shape{Name: "out " + string(rune('a'+i)), Kind: KeepOut, Floor: lo, Ceiling: lo + 0.2 + 2*r.Float64(),
			Rings: [][]XY{star(r, 16*r.Float64(), 16*r.Float64(), 0.2, 1.5, 3+r.IntN(16))}})
	}
	return out
}

func randomSweep(r *rand.Rand) Sweep {
	x, y, z := 18*r.Float64()-1, 18*r.Float64()-1, 5*r.Float64()-0.5
	l, a := 4*r.Float64()*r.Float64(), 2*math.Pi*r.Float64()
	w := Sweep{From: XYZ{x, y, z}, To: XYZ{x + l*math.Cos(a), y + l*math.Sin(a), z + r.NormFloat64()*0.3},
		Radius: r.Float64() * r.Float64(), Grow: r.Float64() * r.Float64(), Below: 0.3 * r.Float64(), Above: 0.3 * r.Float64()}
	switch r.IntN(6) {
	case 0:
		w.To = w.From
	case 1:
		w.To.Z = w.From.Z
	case 2:
		w.Radius, w.Grow = 0, 0
	case 3:
		w.Grow *= 8 // faster than the way is long
	}
	return w
}

// slowHole is how far a point is outside of what is allowed, measured to the
// zones by their definition; 0 for a point inside. For several keep-ins it is
// the least over them.
func slowHole(shapes []Shape, x, y, z float64) float64 {
	pen, deepest := math.Inf(1), 0.0
	for i := range shapes {
		s := &shapes[i]
		d := slowSigned(s.Rings, x, y)
		v := min(z-s.Floor, s.Ceiling-z)
		if s.Kind == KeepIn {
			pen = min(pen, math.Hypot(min(d, 0), min(v, 0)))
		} else if d > 0 && v > 0 {
			deepest = max(deepest, min(d, v))
		}
	}
	return max(pen, deepest)
}

func TestSweepJudgedInsideIsInside(t *testing.T) {
	r := rng(5)
	n := caseCount(3000)
	inside, out := 0, 0
	for done := 0; done < n; {
		shapes := scene(r, r.IntN(2) == 0)
		s := mustNew(t, shapes...)
		for range 50 {
			done++
			w := randomSweep(r)
			c := s.Clearance(&w).Clearance
			if c > 0 {
				inside++
			} else {
				out++
			}
			sampleBody(t, r, shapes, &w, c)
		}
	}
	t.Logf("%d inside, %d not", inside, out)
	if inside < n/20 || out < n/20 {
		t.Error("the cases are too tame")
	}
}

// sampleBody looks at points of the body all along the way.
func sampleBody(t *testing.T, r *rand.Rand, shapes []Shape, w *Sweep, c float64) {
	t.Helper()
	for i := range 40 {
		s := float64(i) / 39
		x, y, z := w.From.X+s*(w.To.X-w.From.X), w.From.Y+s*(w.To.Y-w.From.Y), w.From.Z+s*(w.To.Z-w.From.Z)
		a := 2 * math.Pi * r.Float64()
		d := (w.Radius + s*w.Grow) * math.Sqrt(min(1, 2*r.Float64()))
		h := z - w.Below
		if r.IntN(2) == 0 {
			h = z + w.Above
		}
		x, y = x+d*math.Cos(a), y+d*math.Sin(a)
		hole := slowHole(shapes, x, y, h)
		if c > 0 && hole > 1e-9 || c <= 0 && hole > -c+1e-9 {
			t.Fatalf("%+v: clearance %g, but at (%g, %g, %g) it is %g outside: %+v", *w, c, x, y, h, hole, shapes)
		}
	}
}

// In one zone the clearance has a closed definition at each place on the way;
// the least of it over many places is the truth from above.
func TestSweepIsTight(t *testing.T) {
	r := rng(6)
	for range caseCount(4000) / 40 {
		shapes := scene(r, false)[:1]
		s := mustNew(t, shapes...)
		for range 10 {
			w := randomSweep(r)
			c := s.Clearance(&w).Clearance
			truth, deep := sampledClearance(shapes[0], &w)
			l := math.Hypot(w.To.X-w.From.X, w.To.Y-w.From.Y) + w.Grow
			if c > truth+1e-9 {
				t.Fatalf("%+v: clearance %g, truth at most %g: %+v", w, c, truth, shapes)
			}
			step := l / 400 // what sampling may miss
			if deep {       // height and floor plan are joined, each at its worst
				continue
			}
			if c < truth-step-max(depthSlack, depthPart*l) || truth > 0 && c > 0 && c < truth-step-1e-9 {
				t.Fatalf("%+v: clearance %g, truth about %g: %+v", w, c, truth, shapes)
			}
		}
	}
}

// sampledClearance is the least over 401 places; deep says that the body is
// past the band and the wall at once somewhere.
func sampledClearance(z Shape, w *Sweep) (least float64, deep bool) {
	least = math.Inf(1)
	h, v := math.Inf(1), math.Inf(1)
	for i := range 401 {
		s := float64(i) / 400
		d := slowSigned(z.Rings, w.From.X+s*(w.To.X-w.From.X), w.From.Y+s*(w.To.Y-w.From.Y)) - w.Radius - s*w.Grow
		at := w.From.Z + s*(w.To.Z-w.From.Z)
		room := min(at-w.Below-z.Floor, z.Ceiling-at-w.Above)
		h, v = min(h, d), min(v, room)
		c := min(d, room)
		if c <= 0 {
			c = -math.Hypot(min(d, 0), min(room, 0))
		}
		least = min(least, c)
	}
	return least, h < 0 && v < 0
}

// Keep-outs: distance in space, checked by sampling the way; the error of
// joining height and floor plan is at most the change in height.
func TestSweepOverKeepOut(t *testing.T) {
	r := rng(7)
	for range caseCount(4000) / 40 {
		shapes := []Shape{box("all", KeepIn, -1e3, -1e3, 1e3, 1e3, -1e3, 1e3), {Name: "out", Kind: KeepOut, Floor: 1, Ceiling: 2, Rings: [][]XY{star(r, 8, 8, 1, 6, 3+r.IntN(30))}}}
		s := mustNew(t, shapes...)
		for range 10 {
			w := randomSweep(r)
			c := s.Clearance(&w).Clearance
			truth := math.Inf(1)
			for i := range 401 {
				f := float64(i) / 400
				d := -slowSigned(shapes[1].Rings, w.From.X+f*(w.To.X-w.From.X), w.From.Y+f*(w.To.Y-w.From.Y)) - w.Radius - f*w.Grow
				at := w.From.Z + f*(w.To.Z-w.From.Z)
				v := max(1-at-w.Above, at-w.Below-2)
				if d > 0 && v > 0 {
					truth = min(truth, math.Hypot(d, v))
				} else {
					truth = min(truth, max(d, v))
				}
			}
			l := math.Hypot(w.To.X-w.From.X, w.To.Y-w.From.Y) + w.Grow
			slack := math.Abs(w.To.Z-w.From.Z) + l/400 + max(depthSlack, depthPart*l)
			if c > truth+1e-9 || c < truth-slack-1e-9 {
				t.Fatalf("%+v: clearance %g, truth about %g: %+v", w, c, truth, shapes[1])
			}
		}
	}
}
