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

// finder hands out the keep-outs that may be within a limit, near ones first.
type finder struct {
	set   *Set
	q     *query
	past  float64 // m², of what bound says: what is further is not of interest
	d     float64 // m², of what bound said of the last one
	wide  float64 // m, the radius and what rounding may do
	slack float64 // m, what rounding may do
	n     int
	stack [stackMax]later // d: see bound
}

// begin starts a search for keep-outs whose clearance is at most limit.
func (f *finder) begin(limit float64) {
	f.slack = float64(2*roundoff*(f.set.field.scale+f.q.size)) + f.q.slack
	f.wide = f.q.r + f.q.g + f.slack
	f.lower(limit)
	if len(f.set.outs) > 0 {
		f.stack[0], f.n = later{meets, f.set.field.top}, 1
	}
}

// lower makes the limit less.
func (f *finder) lower(limit float64) {
	r := max(0, limit+f.wide)
	f.past = r * r * (1 + sliver)
}

// next is the next keep-out, -1 when there is none.
func (f *finder) next() int32 {
	for f.n > 0 {
		f.n--
		l := f.stack[f.n]
		if l.d > f.past {
			continue
		}
		if l.k < 0 {
			f.d = l.d
			return ^l.k
		}
		c := &f.set.field.nodes[l.k]
		d, e := f.bound(c, 0), f.bound(c, 1)
		first, second := later{d, c.kid[0]}, later{e, c.kid[1]}
		if e < d {
			first, second = second, first
		}
		if second.d <= f.past {
			f.stack[f.n] = second
			f.n++
		}
		if first.d <= f.past {
			f.stack[f.n] = first
			f.n++
		}
	}
	return -1
}

// clear is a lower bound of the clearance of the keep-out found last.
func (f *finder) clear() float64 {
	if f.d < 0 {
		return math.Inf(-1)
	}
	return float64(math.Sqrt(f.d)*(1-sliver)) - f.wide
}

// meets is the bound of a box that the body may meet.
const meets = -1

// bound is a lower bound of the clearance of what is in a box, plus wide,
// squared; or meets. Beside the box, where most are, that is the squared
// distance on the floor plan.
func (f *finder) bound(c *fieldNode, i int) float64 {
	q := f.q
	dx, dy := max(0, c.lx[i]-q.hix, q.lox-c.hx[i]), max(0, c.ly[i]-q.hiy, q.loy-c.hy[i])
	d := float64(dx*dx) + float64(dy*dy)
	v := max(c.lz[i]-q.zhi, q.zlo-c.hz[i])
	switch {
	case v <= f.slack && d <= f.wide*f.wide:
		return meets
	case v <= 0:
		return d
	}
	if h := math.Sqrt(d) - q.r - q.g; h > 0 {
		v = math.Sqrt(float64(h*h) + float64(v*v))
	}
	v += f.wide - f.slack
	return v * v
}
