package zones

import (
	"math"
	"slices"
)

// field is an index over the boxes of the keep-outs, heights included: a
// binary tree in a flat array.
type field struct {
	nodes []fieldNode
	top   int32
	scale float64 // m, the largest coordinate
}

// fieldNode carries the boxes of both children. kid is a node, or the
// complement of a keep-out.
type fieldNode struct {
	lx, ly, lz, hx, hy, hz [2]float64
	kid                    [2]int32
}

func newField(outs []keepOut) field {
	f := field{top: -1}
	all := make([]int32, len(outs))
	for i := range all {
		all[i] = int32(i)
		f.scale = max(f.scale, outs[i].area.scale)
	}
	if len(all) > 0 {
		f.top = f.build(outs, all)
	}
	return f
}

func (f *field) build(outs []keepOut, in []int32) int32 {
	if len(in) == 1 {
		return ^in[0]
	}
	lo, hi := fieldBox(outs, in)
	alongX := hi.X-lo.X >= hi.Y-lo.Y
	slices.SortFunc(in, func(i, j int32) int {
		a, b := outs[i].area, outs[j].area
		c := cmpFloat(a.lo.X+a.hi.X, b.lo.X+b.hi.X)
		if !alongX {
			c = cmpFloat(a.lo.Y+a.hi.Y, b.lo.Y+b.hi.Y)
		}
		if c == 0 {
			c = int(i - j)
		}
		return c
	})
	k := int32(len(f.nodes))
	f.nodes = append(f.nodes, fieldNode{})
	var n fieldNode
	m := len(in) / 2
	for i, half := range [2][]int32{in[:m], in[m:]} {
		lo, hi := fieldBox(outs, half)
		n.lx[i], n.ly[i], n.lz[i], n.hx[i], n.hy[i], n.hz[i] = lo.X, lo.Y, lo.Z, hi.X, hi.Y, hi.Z
		n.kid[i] = f.build(outs, half)
	}
	f.nodes[k] = n
	return k
}

func fieldBox(outs []keepOut, in []int32) (lo, hi XYZ) {
	inf := math.Inf(1)
	lo, hi = XYZ{inf, inf, inf}, XYZ{-inf, -inf, -inf}
	for _, i := range in {
		o := &outs[i]
		lo = XYZ{min(lo.X, o.area.lo.X), min(lo.Y, o.area.lo.Y), min(lo.Z, o.floor)}
		hi = XYZ{max(hi.X, o.area.hi.X), max(hi.Y, o.area.hi.Y), max(hi.Z, o.ceiling)}
	}
	return lo, hi
}

// finder hands out the keep-outs that may be within limit, near ones first.
// limit may be lowered on the way.
type finder struct {
	set   *Set
	q     *query
	limit float64
	begun bool
	n     int
	stack [stackMax]later // d is a lower bound of the clearance, m
}

// next is the next keep-out, -1 when there is none.
func (f *finder) next() int32 {
	if !f.begun {
		f.begun = true
		if len(f.set.outs) == 0 {
			return -1
		}
		f.stack[0], f.n = later{math.Inf(-1), f.set.field.top}, 1
	}
	for f.n > 0 {
		f.n--
		l := f.stack[f.n]
		if l.d > f.limit {
			continue
		}
		if l.k < 0 {
			return ^l.k
		}
		c := &f.set.field.nodes[l.k]
		d, e := f.bound(c, 0), f.bound(c, 1)
		first, second := later{d, c.kid[0]}, later{e, c.kid[1]}
		if e < d {
			first, second = second, first
		}
		if second.d <= f.limit {
			f.stack[f.n] = second
			f.n++
		}
		if first.d <= f.limit {
			f.stack[f.n] = first
			f.n++
		}
	}
	return -1
}

// bound is a lower bound of the clearance of what is in a box: the distance
// of the body from it, or minus infinity when they meet.
func (f *finder) bound(c *fieldNode, i int) float64 {
	q := f.q
	dx := max(0, c.lx[i]-q.hix, q.lox-c.hx[i])
	dy := max(0, c.ly[i]-q.hiy, q.loy-c.hy[i])
	h := math.Sqrt(dx*dx+dy*dy) - q.r - q.g
	v := max(c.lz[i]-q.zhi, q.zlo-c.hz[i])
	slack := 2*roundoff*(f.set.field.scale+q.size) + q.slack
	switch {
	case h <= slack && v <= slack:
		return math.Inf(-1)
	case v <= 0:
		return h - slack
	case h <= 0:
		return v - slack
	}
	return math.Sqrt(h*h+v*v) - slack
}
