package zones

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/simplify"
)

// Simplify leaves out corners of a shape, on the safe side only: the shape is
// never further than tolerance metres from what it was, a keep-in never gains
// a point and a keep-out never loses one. Which corners may go, orb's
// Douglas-Peucker says; of these it takes away one by one, in ring order, each
// only where that cuts off part of a keep-in or fills up part of a keep-out and
// nothing else lies in between. So more corners are left than by orb alone. The shape must be one that
// New takes; else the error is New's. The input is not changed.
func Simplify(s Shape, tolerance float64) (Shape, error) {
	if !(tolerance >= 0 && tolerance <= MaxCoordinate) {
		return Shape{}, fmt.Errorf("zone %q: a tolerance of %g m cannot be used: give one from 0 to %g", s.Name, tolerance, MaxCoordinate)
	}
	set, err := New([]Shape{s})
	if err != nil {
		return Shape{}, err
	}
	out := set.shapes[0]
	t := thinner{p: newPolygon(out.Rings), tolerance: tolerance, sign: 1}
	if s.Kind == KeepOut {
		t.sign = -1
	}
	t.gone, t.may = make([]bool, len(t.p.x)), make([]bool, len(t.p.x))
	t.byX = make([]int32, len(t.p.x))
	for v := range t.byX {
		t.byX[v] = int32(v)
	}
	slices.SortFunc(t.byX, func(a, b int32) int { return cmp.Compare(t.p.x[a], t.p.x[b]) })
	for r := 1; r < len(t.p.ring); r++ {
		t.propose(t.p.ring[r-1], t.p.ring[r])
		out.Rings[r-1] = t.ring(t.p.ring[r-1], t.p.ring[r])
	}
	return out, nil
}

// thinner is a polygon losing corners. next and prev of p skip what is gone.
type thinner struct {
	p         *polygon
	tolerance float64
	sign      int
	may       []bool // corners that Douglas-Peucker leaves out
	gone      []bool
	byX       []int32 // all corners, by their x
}

// propose marks the corners that orb's Douglas-Peucker leaves out of a ring. No
// corner comes twice in a ring that New takes, so what is left is found again
// by its coordinates, in order.
func (t *thinner) propose(from, to int32) {
	line := make(orb.LineString, 0, to-from+1)
	for v := from; v < to; v++ {
		line = append(line, orb.Point{t.p.x[v], t.p.y[v]})
	}
	line = append(line, line[0])
	kept := simplify.DouglasPeucker(t.tolerance).LineString(line)
	for v, k := from, 0; v < to; v++ {
		t.may[v] = k >= len(kept) || kept[k] != orb.Point{t.p.x[v], t.p.y[v]}
		if !t.may[v] {
			k++
		}
	}
}

// ring thins out the ring of corners from to to, and returns what is left.
func (t *thinner) ring(from, to int32) []XY {
	left := int(to - from)
	for again := true; again; {
		again = false
		for v := from; v < to && left > 3; v++ {
			if t.may[v] && !t.gone[v] && t.spare(v, from, to) {
				a, b := t.p.prev[v], t.p.next[v]
				t.p.next[a], t.p.prev[b], t.gone[v] = b, a, true
				left--
				again = true
			}
		}
	}
	var out []XY
	for v := from; v < to; v++ {
		if !t.gone[v] {
			out = append(out, XY{t.p.x[v], t.p.y[v]})
		}
	}
	return out
}

// spare tells whether corner v can go.
func (t *thinner) spare(v, from, to int32) bool {
	p := t.p
	a, b := p.prev[v], p.next[v]
	turn := orient(p.x[a], p.y[a], p.x[v], p.y[v], p.x[b], p.y[b])
	if turn*int(p.side[v])*t.sign < 0 {
		return false
	}
	// Corners that went before must stay within tolerance too.
	chord := newSeg(p.x[a], p.y[a], p.x[b], p.y[b])
	for c := a; c != b; {
		if c++; c == to {
			c = from
		}
		if chord.dist2(p.x[c], p.y[c]) > t.tolerance*t.tolerance {
			return false
		}
	}
	return turn == 0 || t.empty(a, v, b, turn)
}

// empty tells whether no other corner lies in the triangle or on its rim, so
// that no edge comes to cross the new one.
func (t *thinner) empty(a, v, b int32, turn int) bool {
	p := t.p
	lx, hx := math.Min(p.x[a], math.Min(p.x[v], p.x[b])), math.Max(p.x[a], math.Max(p.x[v], p.x[b]))
	ly, hy := math.Min(p.y[a], math.Min(p.y[v], p.y[b])), math.Max(p.y[a], math.Max(p.y[v], p.y[b]))
	first, _ := slices.BinarySearchFunc(t.byX, lx, func(c int32, x float64) int { return cmp.Compare(p.x[c], x) })
	for _, c := range t.byX[first:] {
		x, y := p.x[c], p.y[c]
		if x > hx {
			break
		}
		if y < ly || y > hy || t.gone[c] || c == a || c == v || c == b {
			continue
		}
		if turn*orient(p.x[a], p.y[a], p.x[v], p.y[v], x, y) >= 0 && turn*orient(p.x[v], p.y[v], p.x[b], p.y[b], x, y) >= 0 &&
			turn*orient(p.x[b], p.y[b], p.x[a], p.y[a], x, y) >= 0 {
			return false
		}
	}
	return true
}
