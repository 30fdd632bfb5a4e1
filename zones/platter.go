package zones

import (
	"math"
	"slices"
)

// platter makes a plat, by halving the whole again and again, each time leaving
// out what cannot be nearest in a quarter. Down to the squares of the grid it
// does not look at walls but at blocks of walls that follow each other, which
// mostly lie side by side.
type platter struct {
	p      *plat
	area   *area
	walls  []seg // the area's
	blocks []box2
	side   float64 // m, of the whole plat
	most   int     // squares
	few    int     // see platSize
	// stack holds the candidates of the square being filled, over those of the
	// squares around it.
	stack []candidate
	ids   []int32
}

// candidate is a wall or a block, and how far it is, squared, from the nine
// points of a plot: corners, middles of the sides, middle; row by row.
type candidate struct {
	id int32
	d  [9]float64
}

// plot is a square: the ith and jth along x and y when the plat is halved
// level times, and its number, where it has one.
type plot struct{ i, j, level, k int }

// platBlock is how many walls make a block.
const platBlock = 8

// box2 is a box on the floor plan.
type box2 struct{ lx, ly, hx, hy float64 }

func (r *box2) dist2(x, y float64) float64 {
	dx, dy := beyond(x, r.lx, r.hx), beyond(y, r.ly, r.hy)
	return float64(dx*dx) + float64(dy*dy)
}

func newPlatter(p *plat, a *area, side float64, few int) *platter {
	walls := a.walls
	b := &platter{p: p, area: a, walls: walls, side: side, most: platSquares * len(walls), few: few}
	b.stack = make([]candidate, 0, 2*len(walls)/platBlock+64)
	for from := 0; from < len(walls); from += platBlock {
		inf := math.Inf(1)
		r := box2{inf, inf, -inf, -inf}
		for _, s := range walls[from:min(from+platBlock, len(walls))] {
			x, y := s.point(1)
			r = box2{min(r.lx, s.ax, x), min(r.ly, s.ay, y), max(r.hx, s.ax, x), max(r.hy, s.ay, y)}
		}
		b.stack = append(b.stack, candidate{id: int32(len(b.blocks))})
		b.blocks = append(b.blocks, r)
	}
	return b
}

// make fills the whole plat.
func (b *platter) make() {
	at := plot{}
	b.measure(&at, 0, true, 0, 2, 6, 8)
	b.fill(at, 0, true)
}

// spot is where the nine points of a plot are.
func (b *platter) spot(at *plot, g int) (x, y float64) {
	half := b.side / float64(int(2)<<at.level)
	return b.p.x + float64(half*float64(2*at.i+g%3)), b.p.y + float64(half*float64(2*at.j+g/3))
}

// measure works out how far the candidates are from some of the nine points.
func (b *platter) measure(at *plot, from int, blocks bool, points ...int) {
	in := b.stack[from:]
	for _, g := range points {
		x, y := b.spot(at, g)
		if blocks {
			for i := range in {
				in[i].d[g] = b.blocks[in[i].id].dist2(x, y)
			}
			continue
		}
		for i := range in {
			in[i].d[g] = b.walls[in[i].id].dist2(x, y)
		}
	}
}

// fill makes the square of the candidates b.stack[from:], walls or blocks,
// whose corners are measured.
func (b *platter) fill(at plot, from int, blocks bool) {
	p := b.p
	deeper := at.level - int(p.grid)
	if blocks && (deeper == 0 || len(b.stack)-from <= 2) {
		to := len(b.stack)
		b.open(from)
		b.measure(&at, to, false, 0, 2, 6, 8)
		in, v := len(b.stack), [9]int32{}
		for _, g := range [4]int{0, 2, 6, 8} {
			v[g] = b.near(&at, b.stack[to:], g, false)
		}
		b.sift(&at, &v, [4]int{0, 2, 6, 8}, to, in)
		b.fill(at, in, false)
		b.stack = b.stack[:to]
		return
	}
	few := !blocks && len(b.stack)-from <= b.few<<max(0, deeper)
	switch {
	case few && deeper <= 0:
		b.spread(at, b.store(&at, from))
		return
	case few || deeper == int(p.deep) || deeper >= 0 && len(p.squares)+4 > b.most:
		p.squares[at.k] = b.store(&at, from)
		return
	}
	k := -1
	if deeper >= 0 {
		k = len(p.squares)
		p.squares[at.k] = square{at: int32(k), is: halved}
		p.squares = append(p.squares, make([]square, 4)...)
	}
	b.quarter(&at, k, from, blocks)
}

// quarter fills the four quarters, which begin with number k.
func (b *platter) quarter(at *plot, k, from int, blocks bool) {
	b.measure(at, from, blocks, 1, 3, 4, 5, 7)
	var v [9]int32
	for g := range v {
		v[g] = b.near(at, b.stack[from:], g, blocks)
	}
	to := len(b.stack)
	for q := range 4 {
		next := plot{i: 2*at.i + q%2, j: 2*at.j + q/2, level: at.level + 1, k: k + q}
		if next.level == int(b.p.grid) {
			next.k = next.j<<b.p.grid + next.i
		}
		g := q%2 + q/2*3
		b.sift(&next, &v, [4]int{g, g + 1, g + 3, g + 4}, from, to)
		b.fill(next, to, blocks)
		b.stack = b.stack[:to]
	}
}

// open puts the walls of the blocks on the stack.
func (b *platter) open(from int) {
	for _, c := range b.stack[from:] {
		w := c.id * platBlock
		for end := min(w+platBlock, int32(len(b.walls))); w < end; w++ {
			b.stack = append(b.stack, candidate{id: w})
		}
	}
}

// near is a wall near to one of the nine points: the nearest candidate, or, of
// many, the nearest of some.
func (b *platter) near(at *plot, in []candidate, g int, blocks bool) int32 {
	step := (len(in) + 15) / 16
	least, best := math.Inf(1), in[0].id
	for i := step / 2; i < len(in); i += step {
		if in[i].d[g] < least {
			least, best = in[i].d[g], in[i].id
		}
	}
	if !blocks {
		return best
	}
	x, y := b.spot(at, g)
	from := best * platBlock
	best, least = from, math.Inf(1)
	for w := from; w < min(from+platBlock, int32(len(b.walls))); w++ {
		if d := b.walls[w].dist2(x, y); d < least {
			best, least = w, d
		}
	}
	return best
}

// sift puts those of b.stack[from:to] on the stack that can be the nearest in
// a square whose corners are those of the nine points.
//
// The points that are nearer to a point v than to a wall make up a convex
// region: it is what half planes, one for each point of the wall, have in
// common (with a margin, what branches of hyperbolas do). So a wall is out when
// all four corners are nearer, by a margin, to some v on the walls. As v serve
// the points of the walls near the corners that are nearest to them, and the
// nearest of these walls to the middle.
func (b *platter) sift(at *plot, v *[9]int32, corner [4]int, from, to int) {
	var out [5][4]float64
	x, y := b.spot(at, 4)
	least, middle := math.Inf(1), int32(0)
	for k, c := range corner {
		out[k] = b.reach(at, v[c], 2*(k%2)+6*(k/2))
		if d := b.walls[v[c]].dist2(x, y); d < least {
			least, middle = d, v[c]
		}
	}
	out[4] = b.reach(at, middle, 4)
	n := len(b.stack)
	b.stack = slices.Grow(b.stack, to-from)
	all := b.stack[:n+to-from]
	for i := from; i < to; i++ {
		c := &all[i]
		d0, d1, d2, d3 := c.d[corner[0]], c.d[corner[1]], c.d[corner[2]], c.d[corner[3]]
		drop := false
		for k := range out {
			if o := &out[k]; d0 > o[0] && d1 > o[1] && d2 > o[2] && d3 > o[3] {
				drop = true
				break
			}
		}
		if !drop {
			c := &all[n] // the other distances are measured when they are needed
			c.id, c.d[0], c.d[2], c.d[6], c.d[8] = all[i].id, d0, d1, d2, d3
			n++
		}
	}
	b.stack = all[:n]
}

// reach is the squared distance from each corner beyond which the point v of a
// wall is nearer, by more than rounding and by more than sliver of the distance
// anywhere in the square. Of the wall, v is the nearest to one of the nine
// points.
func (b *platter) reach(at *plot, wall int32, g int) [4]float64 {
	s := &b.walls[wall]
	var v XY
	v.X, v.Y = s.point(s.at(b.spot(at, g)))
	var d [4]float64
	most := 0.0
	for k, g := range [4]int{0, 2, 6, 8} {
		x, y := b.spot(at, g)
		d[k] = float64((x-v.X)*(x-v.X)) + float64((y-v.Y)*(y-v.Y))
		most = max(most, d[k])
	}
	// (√d + e)² is no more than d + (2√most + e)·e.
	most = math.Sqrt(most)
	e := float64(sliver*most) + b.p.pad
	e = float64(e * (float64(2*most) + e))
	for k := range d {
		d[k] = float64(d[k]*(1+sliver)) + e
	}
	return d
}

// spread puts what holds throughout a square into all squares of the grid in it.
func (b *platter) spread(at plot, s square) {
	l := int(b.p.grid) - at.level
	for j := at.j << l; j < (at.j+1)<<l; j++ {
		row := b.p.squares[j<<b.p.grid:]
		for i := at.i << l; i < (at.i+1)<<l; i++ {
			row[i] = s
		}
	}
}

// store keeps the candidates on the stack: by their first and number where
// they come one after the other, or nearly so, and listed otherwise.
func (b *platter) store(at *plot, from int) square {
	s := b.kept(from)
	s.side = b.sideOf(at, b.stack[from:])
	return s
}

// kept is store without the side.
func (b *platter) kept(from int) square {
	in := b.stack[from:]
	n := len(in)
	span := int(in[n-1].id-in[0].id) + 1
	switch {
	case span <= platRow && span <= n+n/4+1:
		return square{at: in[0].id, n: uint16(span), is: inRow}
	case n > platList || len(b.p.list)+n > platIDs*len(b.walls):
		least := 0
		for i := range in {
			if in[i].d[0]+in[i].d[8] < in[least].d[0]+in[least].d[8] {
				least = i
			}
		}
		return square{at: in[least].id, is: crowded}
	}
	b.ids = b.ids[:0]
	for i := range in {
		b.ids = append(b.ids, in[i].id)
	}
	p := b.p
	if k := len(p.list) - n; k >= 0 && slices.Equal(p.list[k:], b.ids) {
		return square{at: int32(k), n: uint16(n), is: listed}
	}
	p.list = append(p.list, b.ids...)
	return square{at: int32(len(p.list) - n), n: uint16(n), is: listed}
}

// sideOf is square.side of a square with its candidates: every wall that comes
// into it is among them.
func (b *platter) sideOf(at *plot, in []candidate) int8 {
	x, y := b.spot(at, 4)
	half := float64(b.side/float64(int(2)<<at.level)) + 2*b.p.pad
	var n near
	n.reset(math.Inf(1))
	for i := range in {
		s := &b.walls[in[i].id]
		if s.meets(x, y, half) {
			return 0
		}
		n.add(s.dist2(x, y), in[i].id)
	}
	return int8(b.area.sign(x, y, &n))
}

// meets tells whether the wall comes into the square around (x, y); it may say
// so of one that comes near.
func (s *seg) meets(x, y, half float64) bool {
	qx, qy := s.ax-x, s.ay-y
	if min(qx, qx+s.dx) > half || max(qx, qx+s.dx) < -half || min(qy, qy+s.dy) > half || max(qy, qy+s.dy) < -half {
		return false
	}
	// Across the wall, the square reaches this far; half has room for rounding.
	wide := float64(half * (math.Abs(s.dx) + math.Abs(s.dy)))
	return math.Abs(float64(qx*s.dy)-float64(qy*s.dx)) <= wide*(1+sliver)
}
