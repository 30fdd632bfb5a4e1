package zones

import (
	"math"
	"testing"
)

// What worst says of the way between two looks is no more than what is there.
func TestWorstIsALowerBound(t *testing.T) {
	r := rng(66)
	for range 300 {
		s := mustNew(t, zoneOf([][]XY{star(r, 0, 0, 2, 10, 3+r.IntN(20))}))
		a := s.pens[0].slabs[0].area
		for range 20 {
			at := func() XYZ { return XYZ{8 * r.NormFloat64(), 8 * r.NormFloat64(), 0} }
			var q query
			q.set(&Sweep{From: at(), To: at(), Radius: r.Float64(), Grow: 3 * r.Float64() * float64(r.IntN(2))})
			glanceAt := func(s float64) (g glance) {
				x, y := q.place(s)
				n := near{}
				a.nearest(x, y, math.Inf(1), &n)
				a.look(&q, 1, s, &n, &flat{h: math.Inf(1), wall: -1}, &g)
				return g
			}
			u, v := r.Float64(), r.Float64()
			p, o := glanceAt(min(u, v)), glanceAt(max(u, v))
			bound, _ := a.worst(&q, q.length+q.g, &p, &o)
			for i := range 21 {
				if g := glanceAt(p.s + float64(i)/20*(o.s-p.s)); g.f < bound-1e-9 {
					t.Fatalf("%g at %g, said to be %g at least from %+v to %+v", g.f, g.s, bound, p, o)
				}
			}
		}
	}
}
