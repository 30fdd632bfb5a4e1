package zones

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// bare is the site without maps, trees and anything that leaves out walls or
// zones: every wall is looked at.
func bare(t testing.TB, shapes []Shape) *Set {
	s := mustNew(t, shapes...)
	strip := func(a *area) {
		a.index, a.plat = nil, nil
		for _, p := range a.parts {
			p.index = nil
		}
	}
	for i := range s.pens {
		for k := range s.pens[i].slabs {
			strip(s.pens[i].slabs[k].area)
		}
		for k := range s.pens[i].zones {
			strip(s.pens[i].zones[k].area)
		}
	}
	for i := range s.outs {
		strip(s.outs[i].area)
	}
	return s
}

// bareHits is Judge without the index over keep-outs and without a limit.
func bareHits(s *Set, w *Sweep) []Hit {
	var q query
	if !q.set(w) {
		return []Hit{nothing()}
	}
	out := make([]Hit, 1, 1+len(s.outs))
	s.judgePen(&q, &out[0])
	for i := range s.outs {
		var h Hit
		if s.outs[i].judge(&q, math.Inf(1), &h) {
			out = append(out, h)
			sink(out)
		}
	}
	return out
}

// plainSite is a random site for the comparison: small and crowded, or one
// outline of many kinds, huge and tiny, with others as keep-outs.
func plainSite(r *rand.Rand, kind int) []Shape {
	switch kind % 4 {
	case 0:
		return crowd(r)
	case 1: // many walls
		out := []Shape{zoneOf([][]XY{star(r, 0, 0, 8, 12, 20+r.IntN(1500)), star(r, 0, 0, 1, 2, 3+r.IntN(200))})}
		if r.IntN(2) == 0 {
			out[0].Rings = [][]XY{smooth(r, 10, 400+r.IntN(3000))}
		}
		for i := range 3 {
			out = append(out, Shape{Name: string(rune('a' + i)), Kind: KeepOut, Floor: -1, Ceiling: 1, Rings: [][]XY{smooth(r, 1+2*r.Float64(), 13+r.IntN(500))}})
		}
		return out
	case 2: // a comb and its like, where squares are crowded
		var ring []XY
		n := 50 + r.IntN(300)
		for i := range n {
			ring = append(ring, XY{float64(i) / float64(n), 0}, XY{(float64(i) + 0.5) / float64(n), 9})
		}
		return []Shape{zoneOf([][]XY{append(ring, XY{1, 0}, XY{1, -1}, XY{0, -1})})}
	}
	for {
		z := zoneOf(outlines(r, r.IntN(8)))
		if _, err := New([]Shape{z}); err == nil {
			return []Shape{z}
		}
	}
}

// borders are points on the borders of a plat's squares, and beside them.
func borders(r *rand.Rand, a *area, n int) []XY {
	if a.plat == nil {
		return nil
	}
	out := make([]XY, n)
	for i := range out {
		f := func(lo float64) float64 {
			v := lo + float64(r.IntN(int(a.plat.side)+1))/a.plat.scale
			switch r.IntN(4) {
			case 0:
				return math.Nextafter(v, math.Inf(1))
			case 1:
				return math.Nextafter(v, math.Inf(-1))
			case 2:
				return lo + r.Float64()*a.plat.side/a.plat.scale
			}
			return v
		}
		out[i] = XY{f(a.plat.x), f(a.plat.y)}
	}
	return out
}

// Maps, trees and what is remembered change nothing, bit for bit: wherever the
// body is, every hit is that of a look at all walls of all zones.
func TestPlainIsTheSame(t *testing.T) {
	r := rng(41)
	var last Last
	cases, mapped := 0, 0
	for kind := 0; cases < caseCount(8_000); kind++ {
		shapes := plainSite(r, kind)
		s, plain := mustNew(t, shapes...), bare(t, shapes)
		size := 0.0
		for i := range shapes {
			size = max(size, extent(shapes[i].Rings))
		}
		var at []XY
		for i := range min(3, len(shapes)) {
			at = append(at, spots(r, shapes[r.IntN(len(shapes))].Rings, 20)...)
			if i < len(s.outs) {
				at = append(at, borders(r, s.outs[i].area, 10)...)
			}
		}
		at = append(at, borders(r, s.pens[0].slabs[0].area, 20)...)
		for range 10 {
			at = append(at, XY{4 * size * r.NormFloat64(), 4 * size * r.NormFloat64()})
		}
		if s.pens[0].slabs[0].area.plat != nil {
			mapped++
		}
		for _, p := range at {
			cases++
			w := plainSweep(r, p, size)
			sameAsPlain(t, s, plain, &w, &last)
		}
	}
	if t.Logf("%d sites with a map", mapped); mapped == 0 {
		t.Error("the cases are too tame")
	}
}

// plainSweep is a point, a disc or a capsule at p, long or very short.
func plainSweep(r *rand.Rand, p XY, size float64) Sweep {
	l := size * math.Pow(10, -4*r.Float64())
	w := Sweep{From: XYZ{p.X, p.Y, r.NormFloat64()}}
	w.To = w.From
	switch r.IntN(6) {
	case 0:
	case 1:
		w.Radius = l * r.Float64()
	case 2: // along an axis
		w.To.X += l
	case 3: // nearly no way
		w.To.X, w.Radius = math.Nextafter(w.To.X, math.Inf(1)), l
	default:
		w.To = XYZ{p.X + l*r.NormFloat64(), p.Y + l*r.NormFloat64(), w.From.Z + 0.1*r.NormFloat64()}
		w.Radius, w.Grow, w.Above = 0.2*l*r.Float64(), 0.3*l*r.Float64(), 0.1*r.Float64()
	}
	return w
}

func sameAsPlain(t *testing.T, s, plain *Set, w *Sweep, last *Last) {
	t.Helper()
	want := bareHits(plain, w)
	worst := want[0]
	for _, h := range []Hit{s.Clearance(w), s.ClearanceAfter(w, last), s.ClearanceAfter(w, last)} {
		if !sameBits(h, worst) {
			t.Fatalf("%+v: %+v, plainly %+v", *w, h, worst)
		}
	}
	for _, got := range [][]Hit{s.Judge(w, math.Inf(1), nil), s.JudgeAfter(w, math.Inf(1), nil, last)} {
		if !slices.EqualFunc(got, want, sameBits) {
			t.Fatalf("%+v: %+v, plainly %+v", *w, got, want)
		}
	}
	if within := worst.Clearance + 0.1; !math.IsInf(within, 0) {
		k := 0
		for k < len(want) && want[k].Clearance <= within {
			k++
		}
		if got := s.JudgeAfter(w, within, nil, last); !slices.EqualFunc(got, want[:k], sameBits) {
			t.Fatalf("%+v within %g: %+v, plainly %+v", *w, within, got, want[:k])
		}
	}
}
