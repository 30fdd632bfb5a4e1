package zones

import (
	"math"
	"slices"
)

// Room is what a site leaves to the centre of a body.
type Room struct {
	Area    float64 // m², on the floor plan, of where the centre may be at some height
	Pieces  int     // the parts this falls into: from one to another there is no way
	Floor   float64 // m, how low the centre may be anywhere
	Ceiling float64 // m, how high
	Circle  Circle  // the largest circle in one height that fits into it
	Cell    float64 // m, the side of the finest squares looked at
	Unsure  float64 // m², the squares that the edge of the area passes through
}

// Circle is a circle on the floor plan.
type Circle struct {
	Center XY
	Radius float64 // m
}

// The bounds of the raster behind Usable: squares along the longer side of the
// site, and squares over all heights together.
const (
	maxRaster = 512
	minRaster = 64
	maxCells  = 1 << 21
	// circleSlack is how much the circle's radius may fall short, as a part of
	// the site's longer side.
	circleSlack = 1e-5
)

// Usable tells what remains for the centre of a body that must keep inset
// metres off every wall and keep-out, and below and above metres off floors and
// ceilings (and off the tops and undersides of keep-outs). Where nothing
// remains, and for sizes that are negative or not finite, Room is zero.
//
// How exact: squares wholly inside or outside are found by their distance to
// the nearest wall, exactly. Squares on the edge, of side Cell (1/512 of the
// longer side of the site, coarser down to 1/64 where there are many different
// heights), count with the part that a straight edge at that distance would
// leave, so Area is exact for walls along x or y but for corners, and never off
// by more than Unsure. Two pieces are never taken for one; a passage, or a
// piece, narrower than Cell may be missed. Circle.Radius is the clearance at
// Circle.Center, so never too large, and short of the largest by at most 1e-5
// of the longer side. Floor and Ceiling are exact.
func (s *Set) Usable(inset, below, above float64) Room {
	for _, v := range [3]float64{inset, below, above} {
		if !(v >= 0 && v <= MaxQuery) {
			return Room{}
		}
	}
	if s == nil || len(s.pens) == 0 {
		return Room{}
	}
	r := raster{set: s, inset: inset, below: below, above: above}
	r.frame()
	r.who = make([]int32, len(r.part))
	for k := range r.layers {
		r.fill(k, 0, 0, r.n, r.inLayer(k))
	}
	return r.room()
}

// layer is a range of heights of the centre in which nothing begins or ends.
type layer struct{ lo, hi float64 }

// raster is the floor plan in squares, once for each layer.
type raster struct {
	set                 *Set
	inset, below, above float64
	layers              []layer
	x, y, cell          float64 // m, the lower left corner, and the side of a square
	n                   int     // squares along a side
	part                []float32
	clear               []float32 // clearance in the middle, m; for squares of their own
	who                 []int32   // the pen that clearance is in
	heap                []int32   // lists of pens, one on the other
	best                Circle
}

// frame lays the squares and the layers.
func (r *raster) frame() {
	lo, hi := XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	var at []float64
	for i := range r.set.pens {
		p := &r.set.pens[i]
		lo, hi = XY{min(lo.X, p.lo.X), min(lo.Y, p.lo.Y)}, XY{max(hi.X, p.hi.X), max(hi.Y, p.hi.Y)}
		for _, s := range p.slabs {
			at = append(at, s.lo+r.below, s.lo-r.above, s.hi+r.below, s.hi-r.above)
		}
	}
	for i := range r.set.outs {
		o := &r.set.outs[i]
		at = append(at, o.floor-r.above, o.ceiling+r.below)
	}
	slices.Sort(at)
	at = slices.Compact(at)
	for i := 1; i < len(at); i++ {
		if l := (layer{at[i-1], at[i]}); l.hi-l.lo > 1e-9 && r.inBand((l.lo+l.hi)/2) {
			r.layers = append(r.layers, l)
		}
	}
	side := max(hi.X-lo.X, hi.Y-lo.Y)
	r.n = maxRaster
	for r.n > minRaster && r.n*r.n*len(r.layers) > maxCells {
		r.n /= 2
	}
	// A little larger, so that no wall lies on the edges of the squares.
	r.cell = side * (1 + 1e-6) / float64(r.n)
	r.x, r.y = (lo.X+hi.X-float64(r.cell*float64(r.n)))/2, (lo.Y+hi.Y-float64(r.cell*float64(r.n)))/2
	r.part = make([]float32, r.n*r.n*len(r.layers))
	r.clear = make([]float32, len(r.part))
}

// inBand tells whether any pen has room for the body at height z.
func (r *raster) inBand(z float64) bool {
	z = float64(z) // rounded, whatever the caller made it of
	for i := range r.set.pens {
		p := &r.set.pens[i]
		if z-r.below >= p.floor() && z+r.above <= p.ceiling() {
			return true
		}
	}
	return false
}

// inLayer lists the pens that have room for the body in layer k.
func (r *raster) inLayer(k int) []int32 {
	z := float64((r.layers[k].lo + r.layers[k].hi) / 2)
	var in []int32
	for i := range r.set.pens {
		p := &r.set.pens[i]
		if z-r.below >= p.floor() && z+r.above <= p.ceiling() {
			in = append(in, int32(i))
		}
	}
	return in
}

// sweep is the body in layer k that goes from (x0, y0) to (x1, y1).
func (r *raster) sweep(k int, x0, y0, x1, y1 float64, q *query) bool {
	z := float64((r.layers[k].lo + r.layers[k].hi) / 2)
	return q.set(&Sweep{From: XYZ{x0, y0, z}, To: XYZ{x1, y1, z}, Radius: r.inset, Below: r.below, Above: r.above})
}

// clearAt is the clearance on the floor plan of a body, and the pen it is in:
// of those listed. Clearances of at most least are of no interest, and may be
// given as any of them.
func (r *raster) clearAt(q *query, pens []int32, least float64) (float64, int32) {
	best, who := least, int32(-1)
	for _, i := range pens {
		p := &r.set.pens[i]
		if p.mostFlat(q) <= best {
			continue
		}
		c := math.Inf(1)
		for j := range p.slabs {
			if c > best && p.meets(j, q) {
				c = min(c, p.slabs[j].area.keep(q, 1, math.Inf(1)).h)
			}
		}
		if c > best {
			best, who = c, i
		}
	}
	if who < 0 {
		return least, who
	}
	f := finder{set: r.set, q: q}
	f.begin(best)
	for i := f.next(); i >= 0 && best > least; i = f.next() {
		o := &r.set.outs[i]
		if q.zhi <= o.floor || q.zlo >= o.ceiling {
			continue
		}
		if g := o.area.keep(q, -1, best); g.h < best {
			best = g.h
			f.lower(best)
		}
	}
	return best, who
}

// fill looks at the block of n by n squares at (i, j) of layer k, and into it
// where it is not all of one kind. pens are those with a clearance of more
// than minus one square anywhere in it; and more, perhaps.
func (r *raster) fill(k, i, j, n int, pens []int32) {
	half := float64(r.cell * float64(n) / 2)
	x, y := r.x+float64(r.cell*float64(i))+half, r.y+float64(r.cell*float64(j))+half
	var q query
	if !r.sweep(k, x, y, x, y, &q) {
		return
	}
	diagonal := half * math.Sqrt2
	c, who := r.clearAt(&q, pens, -diagonal)
	if c > r.best.Radius {
		r.best = Circle{XY{x, y}, c}
	}
	if c <= -diagonal {
		return
	}
	if n == 1 {
		r.put(r.at(k, i, j), min(1, max(0, 0.5+c/r.cell)), c, who)
		return
	}
	if c >= diagonal {
		for b := j; b < j+n; b++ {
			for a := i; a < i+n; a++ {
				r.put(r.at(k, a, b), 1, c, who)
			}
		}
		return
	}
	from := len(r.heap)
	for _, p := range pens {
		if r.set.pens[p].mostFlat(&q) > -half-r.cell {
			r.heap = append(r.heap, p)
		}
	}
	in := r.heap[from:]
	for s := range 4 {
		r.fill(k, i+s%2*n/2, j+s/2*n/2, n/2, in)
	}
	r.heap = r.heap[:from]
}

// put notes a square's part, clearance and pen.
func (r *raster) put(m int, part, clear float64, who int32) {
	r.part[m], r.clear[m], r.who[m] = float32(part), float32(clear), who
}

func (r *raster) at(k, i, j int) int { return (k*r.n+j)*r.n + i }
