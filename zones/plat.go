package zones

import (
	"math"
	"slices"
)

// plat is a map over and around the walls of an area: a grid of squares, some
// of them halved further, each with the walls that can be nearest to any of its
// points. A query looks up the square and tries those few. Flat arrays, built
// once.
type plat struct {
	squares []square // the grid, row by row; after it the quarters
	list    []int32
	x, y    float64 // m, the lower left corner
	scale   float64 // the smallest squares per metre
	side    float64 // the smallest squares along a side
	pad     float64 // m, how far around itself what a square says holds
	grid    uint8   // the grid has 2^grid squares along a side
	deep    uint8   // its squares are halved up to so many times
}

// square says what to try in it: n walls one after the other from at on; with
// listed set, the n walls in plat.list from at on; with halved, what its four
// quarters from at on say; with crowded, nothing short: at is a near wall.
type square struct {
	at int32
	n  uint16
	is squareKind
	// side is +1 where all of it, and a little around it, is inside the area,
	// -1 where it is outside, 0 where that is not known.
	side int8
}

type squareKind uint8

const (
	inRow squareKind = iota
	listed
	halved
	crowded
)

const (
	// platGrid is the least grid: small outlines have many squares to a wall, so
	// that most squares are crossed by none. Larger ones have one to four.
	platGrid = 3
	// platRow and platList are the numbers of walls, in a row and listed, up to
	// which trying them all beats the tree.
	platRow  = 384
	platList = 64
	// platDeep is how often a square of the grid is halved at most.
	platDeep = 2
	// platSquares bounds the squares, as a multiple of the walls.
	platSquares = 16
	// platIDs bounds the listed walls, as a multiple of the walls.
	platIDs = 64
	// platTotal bounds the walls of a site for which plats are made: those of
	// the pen first, then those of the keep-outs in their order. With the
	// bounds above a site's plats take 96 MB at most, mostly 10 to 40.
	platTotal = 250_000
	// platMargin is how far the plat reaches beyond the walls on every side, as
	// a part of their longer side.
	platMargin = 0.25
	// platPad covers the rounding of a point's square, as a part of the side.
	platPad = 1e-9
)

// platSize says, for a number of walls, how many of them there are to a square
// of the grid at most, and with how many a square is left whole; twice as many
// for one halved once, and so on. Finer plats of many walls would be large, and
// slow to make.
func platSize(walls int) (per, few int) {
	switch {
	case walls <= 64:
		return 1, 4
	case walls <= 4096:
		return 1, 8
	}
	return 4, 16
}

func newPlat(a *area) *plat {
	walls, lo, hi := a.walls, a.lo, a.hi
	side := float64(max(hi.X-lo.X, hi.Y-lo.Y) * (1 + 2*platMargin))
	p := &plat{deep: platDeep, grid: platGrid, x: (lo.X + hi.X - side) / 2, y: (lo.Y + hi.Y - side) / 2}
	per, few := platSize(len(walls))
	for p.grid < 12 && per<<(2*p.grid) < len(walls) {
		p.grid++
	}
	p.side = float64(int(1) << (p.grid + p.deep))
	p.scale = p.side / side
	if !(p.scale < 1e12) { // so small that squares would lose their bits
		return nil
	}
	p.pad = float64(platPad * (side + math.Abs(p.x) + math.Abs(p.y)))
	p.squares = make([]square, 1<<(2*p.grid))
	newPlatter(p, a, side, few).make()
	p.squares, p.list = slices.Clone(p.squares), slices.Clone(p.list) // no more than it takes
	return p
}

// layPlats adds plats where they pay.
func (s *Set) layPlats() {
	left := platTotal
	for i := range s.pens {
		for k := range s.pens[i].slabs {
			s.pens[i].slabs[k].area.layPlat(&left)
		}
	}
	for i := range s.outs {
		s.outs[i].area.layPlat(&left)
	}
}

// layPlat adds the plat, if it is among those left to make.
func (a *area) layPlat(left *int) {
	if a.plat == nil && len(a.walls) <= *left {
		*left -= len(a.walls)
		a.plat = newPlat(a)
	}
}

// find is the square a point is in; false: off the plat.
func (p *plat) find(x, y float64) (square, bool) {
	fx, fy := (x-p.x)*p.scale, (y-p.y)*p.scale
	if !(fx >= 0 && fy >= 0 && fx < p.side && fy < p.side) {
		return square{}, false
	}
	i, j := uint32(fx), uint32(fy)
	s := p.squares[j>>p.deep<<p.grid+i>>p.deep]
	for l := p.deep - 1; s.is == halved; l-- {
		s = p.squares[uint32(s.at)+i>>(l&31)&1+(j>>(l&31)&1)<<1]
	}
	return s, true
}

// holds is the square that all of the way is in; false: there is none.
func (p *plat) holds(q *query) (square, bool) {
	fx, fy := (q.x0-p.x)*p.scale, (q.y0-p.y)*p.scale
	gx, gy := (q.x1-p.x)*p.scale, (q.y1-p.y)*p.scale
	if !(fx >= 0 && fy >= 0 && fx < p.side && fy < p.side && gx >= 0 && gy >= 0 && gx < p.side && gy < p.side) {
		return square{}, false
	}
	i, j := uint32(fx), uint32(fy)
	s, l := p.squares[j>>p.deep<<p.grid+i>>p.deep], p.deep
	for s.is == halved {
		l--
		s = p.squares[uint32(s.at)+i>>(l&31)&1+(j>>(l&31)&1)<<1]
	}
	return s, ((i^uint32(gx))|(j^uint32(gy)))>>(l&31) == 0
}

// nearest is area.nearest by the plat; false: it has not found all, and what
// it has is no more than a start.
func (p *plat) nearest(walls []seg, x, y float64, n *near) bool {
	s, ok := p.find(x, y)
	return ok && p.among(s, walls, x, y, n)
}

// among is nearest for a point of the square.
func (p *plat) among(s square, walls []seg, x, y float64, n *near) bool {
	n.side = s.side
	switch s.is {
	case inRow:
		for i, to := s.at, s.at+int32(s.n); i < to; i += chunk {
			n.row(walls[i:min(i+chunk, to)], i, x, y)
		}
	case listed:
		list := p.list[s.at : s.at+int32(s.n)]
		if len(list) <= fewMost {
			n.few(walls, list, x, y)
			return true
		}
		for len(list) > chunk {
			n.list(walls, list[:chunk], x, y)
			list = list[chunk:]
		}
		n.list(walls, list, x, y)
	default:
		if d := walls[s.at].dist2(x, y); d <= n.d1 {
			n.add(d, s.at)
		}
		return false
	}
	return true
}

// platWalk bounds the squares looked up for one sweep.
const platWalk = 12

// sweep is area.sweep by the plat. Where on the way a wall comes nearest it is
// the nearest wall: so what the squares on the way list is enough. It reports
// false when it has not seen all of them.
func (p *plat) sweep(walls []seg, q *query, b *best) bool {
	x, y := q.x0, q.y0
	for range platWalk {
		s, ok := p.find(x, y)
		if !ok || s.is == crowded {
			return false
		}
		if s.is == inRow {
			for i := s.at; i < s.at+int32(s.n); i++ {
				b.try(q, &walls[i], i)
			}
		} else {
			for _, i := range p.list[s.at : s.at+int32(s.n)] {
				b.try(q, &walls[i], i)
			}
		}
		// A little past where the way leaves the square, within its pad.
		u := p.leave(x, y, q) + float64(p.pad/8)
		if u >= q.length {
			return true
		}
		x, y = q.x0+float64(u*q.ux), q.y0+float64(u*q.uy)
	}
	return false
}

// leave is how far along the way it leaves the square with (x, y) in it, m.
func (p *plat) leave(x, y float64, q *query) float64 {
	i, j := uint32((x-p.x)*p.scale), uint32((y-p.y)*p.scale)
	s := p.squares[j>>p.deep<<p.grid+i>>p.deep]
	l := p.deep
	for s.is == halved {
		l--
		s = p.squares[uint32(s.at)+i>>(l&31)&1+(j>>(l&31)&1)<<1]
	}
	size := float64(uint32(1)<<l) / p.scale
	u := math.Inf(1)
	for _, c := range [2]struct{ at, u, from float64 }{{p.x + float64(float64(i>>l)*size), q.ux, q.x0}, {p.y + float64(float64(j>>l)*size), q.uy, q.y0}} {
		switch {
		case c.u > 0:
			u = min(u, (c.at+size-c.from)/c.u)
		case c.u < 0:
			u = min(u, (c.at-c.from)/c.u)
		}
	}
	return u
}
