package zones

import "math"

// platter makes a plat. From the whole down to the squares of the grid it does
// not look at walls but at blocks of walls that follow each other, which mostly
// lie side by side.
type platter struct {
	p      *plat
	walls  []seg
	blocks []rect4
	side   float64 // m, of the whole plat
	pad    float64 // m
	most   int     // squares
	// stack holds the candidates of the square being filled, over those of the
	// squares around it; dist and far what is known of the topmost.
	stack []int32
	dist  []float64
	far   [][4]float64
}

// platBlock is how many walls make a block.
const platBlock = 8

// rect4 is a box on the floor plan.
type rect4 struct{ lx, ly, hx, hy float64 }

func (r *rect4) dist2(x, y float64) float64 {
	dx, dy := beyond(x, r.lx, r.hx), beyond(y, r.ly, r.hy)
	return dx*dx + dy*dy
}

func newPlatter(p *plat, walls []seg, side float64) *platter {
	b := &platter{p: p, walls: walls, side: side, pad: platPad * (side + math.Abs(p.x) + math.Abs(p.y)), most: platSquares * len(walls)}
	for from := 0; from < len(walls); from += platBlock {
		inf := math.Inf(1)
		r := rect4{inf, inf, -inf, -inf}
		for _, s := range walls[from:min(from+platBlock, len(walls))] {
			x, y := s.point(1)
			r = rect4{min(r.lx, s.ax, x), min(r.ly, s.ay, y), max(r.hx, s.ax, x), max(r.hy, s.ay, y)}
		}
		b.stack = append(b.stack, int32(len(b.blocks)))
		b.blocks = append(b.blocks, r)
	}
	b.dist, b.far = make([]float64, len(walls)), make([][4]float64, len(walls))
	return b
}

// plot is a square: the ith and jth along x and y when the plat is halved
// level times, its middle, and its number, where it has one.
type plot struct {
	i, j, level, k int
	x, y, half     float64 // m
}

// fill makes a square of those of b.stack[from:], walls or blocks, that are
// candidates throughout the square around it.
func (b *platter) fill(at plot, from int, blocks bool) {
	to := len(b.stack)
	at.half = b.side / float64(int(2)<<at.level)
	at.x, at.y = b.p.x+at.half*float64(2*at.i+1), b.p.y+at.half*float64(2*at.j+1)
	first := b.loose(&at, from, blocks)
	if len(b.stack)-to > 2 {
		b.tight(&at, to, first, blocks)
	}
	if blocks && (at.level == int(b.p.grid) || len(b.stack)-to <= 2) {
		b.open(to)
		b.fill(at, to, false)
	} else {
		b.put(at, to, first, blocks)
	}
	b.stack = b.stack[:to]
}

// open puts the walls of the blocks on top of the stack in their place.
func (b *platter) open(from int) {
	in := len(b.stack)
	for k := from; k < in; k++ {
		w := b.stack[k] * platBlock
		for end := min(w+platBlock, int32(len(b.walls))); w < end; w++ {
			b.stack = append(b.stack, w)
		}
	}
	b.stack = append(b.stack[:from], b.stack[in:]...)
}

// nearer is the nearest wall: the one given, or of a block.
func (b *platter) nearer(k int32, x, y float64, blocks bool) int32 {
	if !blocks {
		return k
	}
	from := k * platBlock
	best, least := from, math.Inf(1)
	for w := from; w < min(from+platBlock, int32(len(b.walls))); w++ {
		if d := b.walls[w].dist2(x, y); d < least {
			best, least = w, d
		}
	}
	return best
}

// loose puts the candidates on the stack by their distance from the middle,
// and tells a near wall. A wall cannot be the nearest anywhere in the square
// if it is further from the middle than another by more than the diagonal.
func (b *platter) loose(at *plot, from int, blocks bool) int32 {
	in := b.stack[from:]
	dist := b.dist[:len(in)]
	least, first := math.Inf(1), int32(0)
	for i, w := range in {
		var d float64
		if blocks {
			d = b.blocks[w].dist2(at.x, at.y)
		} else {
			d = b.walls[w].dist2(at.x, at.y)
		}
		dist[i] = d
		if d < least {
			least, first = d, w
		}
	}
	if blocks {
		first = b.nearer(first, at.x, at.y, true)
		least = b.walls[first].dist2(at.x, at.y)
	}
	r := (math.Sqrt(least)+2*math.Sqrt2*at.half)*(1+sliver) + b.pad
	r *= r
	for i, w := range in {
		if dist[i] <= r {
			b.stack = append(b.stack, w)
		}
	}
	return first
}

// tight takes off the stack what the loose bound has left but cannot be the
// nearest either. The points that are nearer to a point v than to a wall make
// up a convex region: it is what half planes, one for each point of the wall,
// have in common (with a margin, what branches of hyperbolas do). So a wall is
// out when all four corners are nearer, by a margin, to some v on the walls. As
// v serve the points of the walls near the middle and near the corners.
func (b *platter) tight(at *plot, from int, first int32, blocks bool) {
	in := b.stack[from:]
	cx := [4]float64{at.x - at.half, at.x + at.half, at.x - at.half, at.x + at.half}
	cy := [4]float64{at.y - at.half, at.y - at.half, at.y + at.half, at.y + at.half}
	least := [4]float64{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1)}
	best := [4]int32{}
	far := b.far[:len(in)]
	for i, w := range in {
		f := &far[i]
		for c := range 4 {
			if blocks {
				f[c] = b.blocks[w].dist2(cx[c], cy[c])
			} else {
				f[c] = b.walls[w].dist2(cx[c], cy[c])
			}
			if f[c] < least[c] {
				least[c], best[c] = f[c], w
			}
		}
	}
	var out [5][4]float64
	out[0] = b.reach(first, at.x, at.y, &cx, &cy)
	for c := range 4 {
		out[c+1] = b.reach(b.nearer(best[c], cx[c], cy[c], blocks), cx[c], cy[c], &cx, &cy)
	}
	n := 0
	for i, w := range in {
		f, drop := &far[i], false
		for v := range out {
			o := &out[v]
			if f[0] > o[0] && f[1] > o[1] && f[2] > o[2] && f[3] > o[3] {
				drop = true
				break
			}
		}
		if !drop {
			in[n] = w
			n++
		}
	}
	b.stack = b.stack[:from+n]
}

// reach is the squared distance from each corner beyond which the point of
// wall w nearest to (x, y) is nearer, by more than rounding and by more than
// sliver of the distance anywhere in the square.
func (b *platter) reach(w int32, x, y float64, cx, cy *[4]float64) [4]float64 {
	s := &b.walls[w]
	vx, vy := s.point(s.at(x, y))
	var d [4]float64
	most := 0.0
	for c := range d {
		d[c] = math.Sqrt((cx[c]-vx)*(cx[c]-vx) + (cy[c]-vy)*(cy[c]-vy))
		most = max(most, d[c])
	}
	for c := range d {
		d[c] += sliver*most + b.pad
		d[c] *= d[c] * (1 + sliver)
	}
	return d
}

// put stores the candidates, or halves the square and goes on.
func (b *platter) put(at plot, from int, first int32, blocks bool) {
	p := b.p
	deeper := at.level - int(p.grid)
	few := !blocks && len(b.stack)-from <= platFew<<max(0, deeper)
	switch {
	case few && deeper <= 0:
		b.spread(at, b.store(from, first))
		return
	case few || deeper == int(p.deep) || deeper >= 0 && len(p.squares)+4 > b.most:
		p.squares[at.k] = b.store(from, first)
		return
	}
	k := -1
	if deeper >= 0 {
		k = len(p.squares)
		p.squares[at.k] = square{at: int32(k), is: halved}
		p.squares = append(p.squares, make([]square, 4)...)
	}
	for q := range 4 {
		to := plot{i: 2*at.i + q%2, j: 2*at.j + q/2, level: at.level + 1, k: k + q}
		if to.level == int(p.grid) {
			to.k = to.j<<p.grid + to.i
		}
		b.fill(to, from, blocks)
	}
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
func (b *platter) store(from int, first int32) square {
	in := b.stack[from:]
	n := len(in)
	span := int(in[n-1]-in[0]) + 1
	switch {
	case span <= platRow && span <= n+n/4+1:
		return square{at: in[0], n: uint16(span), is: inRow}
	case n > platList:
		return square{at: first, is: crowded}
	}
	p := b.p
	s := square{at: int32(len(p.list)), n: uint16(n), is: listed}
	if k := b.same(in); k >= 0 {
		s.at = int32(k)
		return s
	}
	p.list = append(p.list, in...)
	return s
}

// same is where the list ends with the candidates already; -1: it does not.
func (b *platter) same(in []int32) int {
	k := len(b.p.list) - len(in)
	if k < 0 {
		return -1
	}
	for i, w := range b.p.list[k:] {
		if w != in[i] {
			return -1
		}
	}
	return k
}
