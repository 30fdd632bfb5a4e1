package zones

import (
	"math"
	"slices"
	"testing"
)

// A keep-out is found up to the very limit it is asked within, so that neither
// the order of the search nor a Last decides between two that are as near but
// for rounding.
func TestKeepOutsUpToTheLimit(t *testing.T) {
	r := rng(63)
	var last Last
	for range 40 {
		shapes := []Shape{box("hall", KeepIn, -20, -20, 20, 20, -20, 20)}
		for i := range 6 { // side by side, level with each other, of different sizes
			x, y, l := float64(r.IntN(40)-20)/10, float64(r.IntN(40)-20)/10, float64(1+r.IntN(80))/10
			shapes = append(shapes, box("out "+string(rune('a'+i)), KeepOut, x, y, x+l, y+l, -5, 5))
		}
		s := mustNew(t, shapes...)
		for k := range 300 {
			at := func() float64 { return float64(r.IntN(240)-120) / 10 }
			w := Sweep{From: XYZ{at(), at(), 1}}
			w.To = w.From
			if k%3 > 0 {
				w.To.X, w.To.Y = at(), at()
			}
			if k%2 > 0 {
				w.Radius, w.Grow = r.Float64(), r.Float64()/4
			}
			each := eachAlone(s, &w)
			if got := s.Clearance(&w); !sameBits(got, each[0]) {
				t.Fatalf("%+v: %+v, one by one %+v in %+v", w, got, each[0], shapes)
			}
			if got := s.ClearanceAfter(&w, &last); !sameBits(got, each[0]) {
				t.Fatalf("%+v: %+v after another, one by one %+v in %+v", w, got, each[0], shapes)
			}
			for _, h := range each {
				n := 0
				for n < len(each) && each[n].Clearance <= h.Clearance {
					n++
				}
				if got := s.Judge(&w, h.Clearance, nil); !slices.EqualFunc(got, each[:n], sameBits) {
					t.Fatalf("%+v within %g: %+v, one by one %+v in %+v", w, h.Clearance, got, each[:n], shapes)
				}
			}
		}
	}
}

// eachAlone is Judge of everything, each asked without a limit, worst first.
func eachAlone(s *Set, w *Sweep) []Hit {
	var q query
	q.set(w)
	out := make([]Hit, 1+len(s.outs))
	s.judgePen(&q, &out[0])
	for i := range s.outs {
		s.outs[i].judge(&q, math.Inf(1), &out[i+1])
		sink(out[:i+2])
	}
	return out
}
