package zones

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// sameBits is bit for bit.
func sameBits(a, b Hit) bool {
	bits := math.Float64bits
	return a == b && bits(a.Clearance) == bits(b.Clearance) && bits(a.Nearest.X) == bits(b.Nearest.X) &&
		bits(a.Nearest.Y) == bits(b.Nearest.Y) && bits(a.Nearest.Z) == bits(b.Nearest.Z)
}

// crowd is a scene with many keep-outs, some of them on each other.
func crowd(r *rand.Rand) []Shape {
	out := scene(r, r.IntN(2) == 0)
	for i := range r.IntN(40) {
		x, y, lo := 30*r.Float64()-7, 30*r.Float64()-7, 4*r.Float64()
		z := Shape{Name: "more " + string(rune('a'+i)), Kind: KeepOut, Floor: lo, Ceiling: lo + 0.2 + 2*r.Float64(), Rings: [][]XY{star(r, x, y, 0.3, 1.5, 3+r.IntN(30))}}
		if i%3 == 0 {
			x, y = math.Floor(x), math.Floor(y)
			z.Rings[0] = rect(x, y, x+1+float64(r.IntN(2)), y+1)
		}
		out = append(out, z)
	}
	return out
}

// What is remembered changes no answer: on a way, after jumps, with what was
// remembered of another body or another site, at any size and after nonsense.
func TestLastChangesNothing(t *testing.T) {
	r := rng(31)
	var lasts [4]Last // shared by all sites and bodies
	var got, want []Hit
	beyond := 0
	for range caseCount(24_000) / 400 {
		s := mustNew(t, crowd(r)...)
		w := randomSweep(r)
		for range 400 {
			w = wander(r, w)
			last := &lasts[r.IntN(len(lasts))]
			if r.IntN(3) > 0 {
				last = &lasts[0]
			}
			for _, within := range []float64{-1, 0, 0.1, 0.3, 2, math.NaN()} {
				if !s.Beyond(&w, within, last) {
					continue
				}
				beyond++
				if c := s.Clearance(&w).Clearance; !(c > max(within, 0)) {
					t.Fatalf("said to be beyond %g of %+v, and is at %g", within, w, c)
				}
			}
			if r.IntN(4) == 0 {
				continue // nothing is asked of every body
			}
			if g, w := s.ClearanceAfter(&w, last), s.Clearance(&w); !sameBits(g, w) {
				t.Fatalf("%+v with what was remembered, %+v without", g, w)
			}
			if r.IntN(4) == 0 {
				lasts[r.IntN(len(lasts))] = *last
			}
			within := []float64{0, 0.3, 2, -1, math.Inf(1), math.NaN()}[r.IntN(6)]
			got, want = s.JudgeAfter(&w, within, got[:0], last), s.Judge(&w, within, want[:0])
			if !slices.EqualFunc(got, want, sameBits) {
				t.Fatalf("within %g of %+v: %+v with what was remembered, %+v without", within, w, got, want)
			}
		}
	}
	if beyond < 100 {
		t.Errorf("only %d were said to be beyond", beyond)
	}
}

// How near a body may have come is bounded by the most that any of its points
// moved: at the start, at the end, by its width there, down and up. Each alone, by
// as much as there was room, and by a little less.
func TestBeyondBoundsEveryMove(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 20, 20, 0, 10), box("out", KeepOut, 15, 5, 16, 15, 0, 10))
	w := Sweep{From: XYZ{12, 10, 5}, To: XYZ{11, 10, 5}, Radius: 1, Grow: 1.8, Below: 1, Above: 1}
	var none Last
	if s.Beyond(&w, 0, &none) || s.Beyond(&w, 0, nil) {
		t.Fatal("beyond, and nothing was ever asked")
	}
	for name, move := range map[string]func(w *Sweep, d float64){
		"start": func(w *Sweep, d float64) { w.From.Y += d }, "end": func(w *Sweep, d float64) { w.To.X += d },
		"both": func(w *Sweep, d float64) { w.From.X, w.To.X = w.From.X+d, w.To.X+d }, "wider": func(w *Sweep, d float64) { w.Radius += d },
		"wider at the start": func(w *Sweep, d float64) { w.Radius, w.Grow = w.Radius+d, w.Grow-d },
		"wider at the end":   func(w *Sweep, d float64) { w.Grow += d }, "down": func(w *Sweep, d float64) { w.Below += d },
		"up": func(w *Sweep, d float64) { w.Above += d }, "lower": func(w *Sweep, d float64) { w.From.Z, w.To.Z = w.From.Z-d, w.To.Z-d },
		"higher": func(w *Sweep, d float64) { w.From.Z, w.To.Z = w.From.Z+d, w.To.Z+d },
	} {
		var last Last
		room := s.ClearanceAfter(&w, &last).Clearance
		if !(room > 1 && room < 3) {
			t.Fatalf("a clearance of %g", room)
		}
		for _, d := range []float64{-0.5, 0, 0.1, room - 0.501, room - 0.499, room} {
			to := w
			move(&to, d)
			got, may := s.Beyond(&to, 0.5, &last), math.Abs(d) < room-0.5
			if got && !may || !got && d >= 0 && may {
				t.Errorf("%s by %g of %g: beyond 0.5 m: %v", name, d, room, got)
			}
		}
	}
	w.From.X = math.NaN()
	var last Last
	if s.ClearanceAfter(&w, &last); s.Beyond(&w, 0, &last) {
		t.Error("a body that is nowhere is beyond")
	}
}

// wander moves a body on a little, mostly.
func wander(r *rand.Rand, w Sweep) Sweep {
	step := 0.05 * r.Float64()
	switch r.IntN(40) {
	case 0:
		return randomSweep(r)
	case 1:
		return Sweep{From: XYZ{math.NaN(), 0, 0}}
	case 2:
		return Sweep{From: XYZ{9e5, -9e5, 1}, To: XYZ{9e5, -9e5, 1}, Radius: 10}
	case 3:
		w.To = w.From
		w.Radius, w.Grow, w.Below, w.Above = 0, 0, 0, 0
	case 4:
		return w // once more
	case 5:
		w.To = XYZ{w.From.X + r.NormFloat64(), w.From.Y + r.NormFloat64(), w.From.Z}
		w.Grow = r.Float64()
	}
	if math.IsNaN(w.From.X) || math.Abs(w.From.X) > 100 {
		return randomSweep(r)
	}
	for _, p := range []*XYZ{&w.From, &w.To} {
		p.X, p.Y, p.Z = p.X+step*r.NormFloat64(), p.Y+step*r.NormFloat64(), p.Z+0.2*step*r.NormFloat64()
	}
	w.Radius = math.Abs(w.Radius + 0.2*step*r.NormFloat64())
	return w
}

// On a way through a field of keep-outs most answers come from what is
// remembered, or it would not be worth keeping.
func TestLastIsOfUse(t *testing.T) {
	shapes, _, _, _ := hundred()
	s := mustNew(t, shapes...)
	var last Last
	noted, body := 0, Sweep{Radius: 0.3}
	for i := range 2000 {
		x := float64(i)*0.4 - 400
		body.From = XYZ{x, 37 * math.Sin(x/60), 0}
		body.To = XYZ{x + 1, body.From.Y, 0}
		was := last.then
		if g, w := s.ClearanceAfter(&body, &last), s.Clearance(&body); !sameBits(g, w) {
			t.Fatalf("%+v, %+v", g, w)
		}
		if was != last.then {
			noted++
		}
	}
	if noted > 500 {
		t.Errorf("%d of 2000 calls had to look at everything", noted)
	}
	t.Logf("%d of 2000 calls had to look at everything", noted)
}

// A Set that is kept by value and overwritten with another has the same address
// as before, and none of what was remembered holds.
func TestLastSetOverwritten(t *testing.T) {
	wide := mustNew(t, box("hall", KeepIn, 0, 0, 40, 40, 0, 30), box("far", KeepOut, 30, 30, 31, 31, 0, 30), box("farther", KeepOut, 35, 35, 36, 36, 0, 30))
	for name, next := range map[string]*Set{
		"a keep-out at the body": mustNew(t, box("hall", KeepIn, 0, 0, 40, 40, 0, 30), box("here", KeepOut, 9, 9, 11, 11, 0, 30)),
		"no keep-outs":           mustNew(t, box("hall", KeepIn, 9, 9, 11, 11, 0, 30)),
		"no zones":               {},
	} {
		s, w := *wide, point(10, 10, 10)
		var last Last
		s.ClearanceAfter(w, &last)
		if last.n == 0 {
			t.Fatal("nothing was remembered")
		}
		s = *next
		if got, want := s.JudgeAfter(w, 0.5, nil, &last), s.Judge(w, 0.5, nil); !slices.EqualFunc(got, want, sameBits) {
			t.Errorf("%s: %+v with what was remembered, %+v without", name, got, want)
		}
		if g, want := s.ClearanceAfter(w, &last), s.Clearance(w); !sameBits(g, want) {
			t.Errorf("%s: %+v with what was remembered, %+v without", name, g, want)
		}
	}
}

func TestLastNil(t *testing.T) {
	s := mustNew(t, box("hall", KeepIn, 0, 0, 4, 4, 0, 3), box("post", KeepOut, 1, 1, 2, 2, 0, 3))
	w := point(3, 3, 1)
	if g := s.ClearanceAfter(w, nil); !sameBits(g, s.Clearance(w)) {
		t.Errorf("%+v", g)
	}
	if g := s.JudgeAfter(w, 9, nil, nil); len(g) != 2 {
		t.Errorf("%+v", g)
	}
	var none *Set
	var last Last
	if g := none.ClearanceAfter(w, &last); !math.IsInf(g.Clearance, -1) {
		t.Errorf("%+v", g)
	}
	if g := none.JudgeAfter(w, 9, nil, &last); len(g) != 1 || !math.IsInf(g[0].Clearance, -1) {
		t.Errorf("%+v", g)
	}
	if n := testing.AllocsPerRun(100, func() { s.ClearanceAfter(w, &last) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

// Of a keep-out and the pen that are as near, the pen comes first, also where
// what is remembered has them the other way round.
func TestLastOrderOfEquals(t *testing.T) {
	s := mustNew(t, box("out", KeepOut, 4, 0, 5, 10, 0, 30), box("hall", KeepIn, -10, -10, 10, 10, 0, 30), box("far", KeepOut, 9, 9, 10, 10, 0, 30))
	at := func(x float64) *Sweep { return &Sweep{From: XYZ{x, 5, 10}, To: XYZ{x, 5, 10}} }
	var last Last
	s.ClearanceAfter(at(6), &last) // nearer to the keep-out
	got, want := s.JudgeAfter(at(7.5), 2.5, nil, &last), s.Judge(at(7.5), 2.5, nil)
	if len(want) != 2 || !want[0].Pen || want[0].Clearance != want[1].Clearance || !slices.EqualFunc(got, want, sameBits) {
		t.Errorf("%+v with what was remembered, %+v without", got, want)
	}
}
