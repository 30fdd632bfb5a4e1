package zones

import (
	"math"
	"slices"
)

// edge is edge i of a ring, or of a part of an area.
type edge struct {
	a, b XY
	ring int32
	i    int32
}

// pairs calls f once for every two edges whose boxes meet. It sweeps along x,
// in an order that depends on nothing but the edges.
func pairs(edges []edge, f func(e, f edge)) {
	byX := slices.Clone(edges)
	slices.SortFunc(byX, func(e, f edge) int {
		if c := cmpFloat(math.Min(e.a.X, e.b.X), math.Min(f.a.X, f.b.X)); c != 0 {
			return c
		}
		if e.ring != f.ring {
			return int(e.ring - f.ring)
		}
		return int(e.i - f.i)
	})
	var open []int32
	for i := range byX {
		e := &byX[i]
		left := math.Min(e.a.X, e.b.X)
		lo, hi := math.Min(e.a.Y, e.b.Y), math.Max(e.a.Y, e.b.Y)
		k := 0
		for _, j := range open {
			o := &byX[j]
			if math.Max(o.a.X, o.b.X) < left {
				continue
			}
			open[k] = j
			k++
			if math.Max(o.a.Y, o.b.Y) >= lo && math.Min(o.a.Y, o.b.Y) <= hi {
				f(*e, *o)
			}
		}
		open = append(open[:k], int32(i))
	}
}

func cmpFloat(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
