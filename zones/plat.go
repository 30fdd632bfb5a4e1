package zones

import "math"

// plat is a map over and around the walls of an area: squares, halved as long
// as that helps, each with the walls that can be nearest to any of its points.
// A query looks up the square and tries those few. Flat arrays, built once.
type plat struct {
	squares []square
	list    []int32
	x, y    float64 // m, the lower left corner
	scale   float64 // the smallest squares per metre
	levels  int
}

// square has four quarters from at on (n < 0), or n candidates from at on, or,
// where those were too many (n == 0), one that is near.
type square struct{ at, n int32 }

const (
	// platFew is the number of candidates at which a square is left whole.
	platFew = 6
	// platMost is the number of candidates up to which trying them all beats
	// the tree.
	platMost = 24
	// platWalls is the number of walls up to which a plat is made: over more,
	// its squares no longer fit a processor's near memory.
	platWalls = 512
	// platMargin is how far the plat reaches beyond the walls on every side, as
	// a part of their longer side.
	platMargin = 0.25
	// platPad covers the rounding of a point's square, as a part of the side.
	platPad = 1e-9
)

func newPlat(walls []seg, lo, hi XY) *plat {
	side := math.Max(hi.X-lo.X, hi.Y-lo.Y)
	p := &plat{levels: 1}
	for n := 1; n < len(walls) && p.levels < 15; n *= 4 {
		p.levels++
	}
	side *= 1 + 2*platMargin
	p.x, p.y = (lo.X+hi.X-side)/2, (lo.Y+hi.Y-side)/2
	p.scale = float64(int(1)<<p.levels) / side
	if !(p.scale < 1e12) { // so small that squares would lose their bits
		return nil
	}
	all := make([]int32, len(walls))
	for i := range all {
		all[i] = int32(i)
	}
	b := platter{p: p, walls: walls, dist: make([]float64, len(walls)), pad: platPad * (side + math.Abs(p.x) + math.Abs(p.y))}
	p.squares = append(p.squares, square{})
	b.fill(0, p.x+side/2, p.y+side/2, side/2, p.levels, all)
	return p
}

// platter makes a plat.
type platter struct {
	p     *plat
	walls []seg
	dist  []float64
	pad   float64
}

// fill makes square k, around (x, y), of those walls that are candidates
// throughout the square around it. A wall cannot be the nearest anywhere in
// the square if it is further from the middle than the nearest there by more
// than the diagonal.
func (b *platter) fill(k int, x, y, half float64, levels int, from []int32) {
	least, first := math.Inf(1), int32(0)
	for i, w := range from {
		d := b.walls[w].dist2(x, y)
		b.dist[i] = d
		if d < least {
			least, first = d, w
		}
	}
	r := (math.Sqrt(least) + 2*math.Sqrt2*half) * (1 + sliver)
	r += b.pad
	in := make([]int32, 0, 16)
	for i, w := range from {
		if b.dist[i] <= r*r {
			in = append(in, w)
		}
	}
	p := b.p
	switch {
	case len(in) <= platFew || levels == 0 && len(in) <= platMost:
		p.squares[k] = square{int32(len(p.list)), int32(len(in))}
		p.list = append(p.list, in...)
		return
	case levels == 0:
		p.squares[k] = square{int32(len(p.list)), 0}
		p.list = append(p.list, first)
		return
	}
	at := len(p.squares)
	p.squares[k] = square{int32(at), -1}
	p.squares = append(p.squares, make([]square, 4)...)
	half /= 2
	for q := range 4 {
		b.fill(at+q, x+half*float64(q%2*2-1), y+half*float64(q/2*2-1), half, levels-1, in)
	}
}

// find is the square a point is in; false: off the plat.
func (p *plat) find(x, y float64) (square, bool) {
	fx, fy := (x-p.x)*p.scale, (y-p.y)*p.scale
	side := float64(int64(1) << p.levels)
	if !(fx >= 0 && fy >= 0 && fx < side && fy < side) {
		return square{}, false
	}
	i, j := uint32(fx), uint32(fy)
	s := p.squares[0]
	for l := p.levels - 1; s.n < 0; l-- {
		s = p.squares[uint32(s.at)+i>>l&1+(j>>l&1)<<1]
	}
	return s, true
}

// nearest is area.nearest by the plat; false: it has not found all, and what
// it has is no more than a start.
func (p *plat) nearest(walls []seg, x, y float64, n *near) bool {
	s, ok := p.find(x, y)
	if !ok {
		return false
	}
	if s.n == 0 {
		w := p.list[s.at]
		if d := walls[w].dist2(x, y); d <= n.d1 {
			n.add(d, w)
		}
		return false
	}
	var d [platMost]float64
	least := n.d1
	list := p.list[s.at : s.at+s.n]
	for i, w := range list {
		v := walls[w].dist2(x, y)
		d[i] = v
		least = min(least, v)
	}
	same := least * (1 + sliver)
	for i, w := range list {
		if v := d[i]; v <= same {
			n.add(v, w)
		}
	}
	return true
}
