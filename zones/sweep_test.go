package zones

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// Sweeps against dense sampling with the slow second opinion: a sweep judged
// inside is inside, and the clearance is never larger than the truth.

// sampled is what the rounding of the sampling itself may come to, m: places
// and distances of some 20 m, each a few times off by an ulp, 4e-15 m. What the
// package allows for its own rounding, 4e-15 of the largest coordinate, is on
// the safe side and not granted here.
const sampled = 1e-13

// scene is a random site; many says whether its pen has several zones.
func scene(r *rand.Rand, many bool) []Shape {
	var out []Shape
	if many {
		for i := range 2 + r.IntN(4) {
			x, y := float64(r.IntN(12)), float64(r.IntN(12))
			lo := float64(r.IntN(3))
			z := Shape{Name: string(rune('a' + i)), Kind: KeepIn, Floor: lo, Ceiling: lo + 1 + float64(r.IntN(4)), Rings: [][]XY{rect(x, y, x+2+float64(r.IntN(9)), y+2+float64(r.IntN(9)))}}
			switch r.IntN(6) {
			case 0, 1:
				z.Rings[0] = star(r, x, y, 2, 8, 5+r.IntN(12))
			case 2:
				z.Rings = append(z.Rings, star(r, x+1, y+1, 0.1, 0.9, 3+r.IntN(8)))
			}
			out = append(out, z)
		}
	} else {
		rings := [][]XY{star(r, 8, 8, 6, 12, 8+r.IntN(40)), star(r, 8, 8, 0.5, 3, 3+r.IntN(20))}
		for i := range r.IntN(7) { // posts around the hole in the middle
			sin, cos := math.Sincos(float64(i) * math.Pi / 3)
			rings = append(rings, star(r, 8+4.5*cos, 8+4.5*sin, 0.1, 0.9, 3+r.IntN(8)))
		}
		out = append(out, Shape{Name: "hall", Kind: KeepIn, Floor: 0, Ceiling: 4, Rings: rings})
	}
	for i := range r.IntN(4) {
		lo := 3 * r.Float64()
		out = append(out, Shape{Name: "out " + string(rune('a'+i)), Kind: KeepOut, Floor: lo, Ceiling: lo + 0.2 + 2*r.Float64(),
			Rings: [][]XY{star(r, 16*r.Float64(), 16*r.Float64(), 0.2, 1.5, 3+r.IntN(16))}})
	}
	return out
}

// features are what is special about a scene and a sweep in it.
func features(shapes []Shape, w *Sweep, c tally) {
	ins := 0
	for i := range shapes {
		if shapes[i].Kind == KeepIn {
			ins++
		}
	}
	for _, f := range []struct {
		name string
		is   bool
	}{
		{"one concave zone with a hole", ins == 1}, {"several holes", ins == 1 && len(shapes[0].Rings) > 3}, {"several zones", ins > 1}, {"keep-outs", ins < len(shapes)},
		{"growing", w.Grow > 0}, {"at rest", w.From == w.To}, {"climbing or sinking", w.From.Z != w.To.Z}, {"with a width", w.Radius > 0},
	} {
		if f.is {
			c[f.name]++
		}
	}
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

// capsuleCount is how many capsules must be judged inside: 100 000 where the
// long tests run, else some thousands.
func capsuleCount() int {
	if os.Getenv("PINFOLD_LONG") != "" {
		return caseCount(100_000)
	}
	return caseCount(2000)
}

func TestSweepJudgedInsideIsInside(t *testing.T) {
	want := capsuleCount()
	c := inShards(t, 5, want, func(t *testing.T, r *rand.Rand, want int, c tally) {
		for c["cases"] < want {
			shapes := scene(r, r.IntN(2) == 0)
			s := mustNew(t, shapes...)
			for range 50 {
				w := randomSweep(r)
				h := s.Clearance(&w)
				if r.IntN(2) == 0 {
					h = fatten(r, s.Clearance, &w)
				}
				if h.Clearance > 0 {
					c["cases"]++
					features(shapes, &w, c)
				} else {
					if c["not inside"]++; c["not inside"]%4 != 0 {
						continue
					}
				}
				if at, hole := escape(r, shapes, &w, &h); hole > 0 {
					t.Fatalf("%+v: %+v, but at %v it is %g outside: %+v", w, h, at, hole, shapes)
				}
			}
		}
	})
	for _, name := range []string{"one concave zone with a hole", "several holes", "several zones", "keep-outs", "growing", "at rest", "climbing or sinking", "with a width", "not inside"} {
		if c[name] < want/20 {
			t.Errorf("only %d capsules: %s", c[name], name)
		}
	}
}

// fatten makes a body that is inside, as judge has it, nearly as large as there
// is room for.
func fatten(r *rand.Rand, judge func(*Sweep) Hit, w *Sweep) Hit {
	h := judge(w)
	for i := 0; i < 3 && h.Clearance > 0; i++ {
		more := h.Clearance * (1 - math.Pow(10, -1-8*r.Float64()))
		switch {
		case h.Face == Wall:
			w.Radius += more
		case h.Nearest.Z > w.From.Z:
			w.Above += more
		default:
			w.Below += more
		}
		h = judge(w)
	}
	return h
}

// A judge that takes the body for a little smaller, slower or shorter than it
// is must be found out by the same sampling: the test above can fail.
func TestSweepSamplingFindsAnEscape(t *testing.T) {
	for name, mutate := range map[string]func(w *Sweep){
		"radius a hundredth less":    func(w *Sweep) { w.Radius *= 0.99 },
		"growth a twentieth less":    func(w *Sweep) { w.Grow *= 0.95 },
		"growth forgotten":           func(w *Sweep) { w.Grow = 0 },
		"way a twentieth shorter":    func(w *Sweep) { w.To.X += 0.05 * (w.From.X - w.To.X); w.To.Y += 0.05 * (w.From.Y - w.To.Y) },
		"reach up a hundredth less":  func(w *Sweep) { w.Above *= 0.99 },
		"reach down forgotten":       func(w *Sweep) { w.Below = 0 },
		"height at the end mistaken": func(w *Sweep) { w.To.Z = w.From.Z },
	} {
		r := rng(55)
		inside, found := 0, 0
		for inside < 600 {
			shapes := scene(r, r.IntN(2) == 0)
			s := mustNew(t, shapes...)
			for range 50 {
				w := randomSweep(r)
				h := fatten(r, func(w *Sweep) Hit {
					believed := *w
					mutate(&believed)
					return s.Clearance(&believed)
				}, &w)
				if h.Clearance <= 0 {
					continue
				}
				inside++
				if _, hole := escape(r, shapes, &w, &h); hole > 0 {
					found++
				}
			}
		}
		t.Logf("%s: %d of %d escapes found", name, found, inside)
		if found < 40 {
			t.Errorf("%s: only %d of %d capsules were found to escape", name, found, inside)
		}
	}
}

// escape looks at points of the body all along the way, by the slow second
// opinion, and where it passes the wall that is said to be nearest: on the rim
// towards that, and anywhere, mostly on the rim too. It returns the first that is further outside than the
// hit allows, and how far.
func escape(r *rand.Rand, shapes []Shape, w *Sweep, hit *Hit) (XYZ, float64) {
	most := sampled + max(0, -hit.Clearance)
	dx, dy := w.To.X-w.From.X, w.To.Y-w.From.Y
	pass := ((hit.Nearest.X-w.From.X)*dx + (hit.Nearest.Y-w.From.Y)*dy) / max(dx*dx+dy*dy, 1e-12)
	for i := range 40 {
		s := float64(i) / 38
		if i == 39 {
			s = min(1, max(0, pass))
		}
		x, y, z := w.From.X+s*(w.To.X-w.From.X), w.From.Y+s*(w.To.Y-w.From.Y), w.From.Z+s*(w.To.Z-w.From.Z)
		rim := w.Radius + s*w.Grow
		to := math.Atan2(hit.Nearest.Y-y, hit.Nearest.X-x)
		for _, p := range [2]struct{ a, d float64 }{{to, rim}, {2 * math.Pi * r.Float64(), rim * math.Sqrt(min(1, 2*r.Float64()))}} {
			sin, cos := math.Sincos(p.a)
			for _, h := range [2]float64{z - w.Below, z + w.Above} {
				at := XYZ{x + p.d*cos, y + p.d*sin, h}
				if hole := slowHole(shapes, at.X, at.Y, at.Z); hole > most {
					return at, hole
				}
			}
		}
	}
	return XYZ{}, 0
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
			if c > truth+sampled {
				t.Fatalf("%+v: clearance %g, truth at most %g: %+v", w, c, truth, shapes)
			}
			step := l / 400 // what sampling may miss
			if deep {       // height and floor plan are joined, each at its worst
				continue
			}
			if c < truth-step-max(depthSlack, depthPart*l) || truth > 0 && c > 0 && c < truth-step-sampled {
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
			if c > truth+sampled || c < truth-slack-sampled {
				t.Fatalf("%+v: clearance %g, truth about %g: %+v", w, c, truth, shapes[1])
			}
		}
	}
}
