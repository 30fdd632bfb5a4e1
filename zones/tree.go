package zones

import (
	"math"
	"slices"
)

// The index is a binary tree of boxes in flat arrays, built once. Each node
// carries the boxes of both its children, so that one visit decides which to
// enter. Long slanting walls, whose boxes are mostly empty, are entered in
// several pieces with a box each; distances are always to the whole wall.
const (
	// scanMax is the number of walls up to which a scan beats the index.
	scanMax = 12
	// leafMax is the number of pieces in a leaf.
	leafMax = 4
	// pieceBudget bounds the pieces as a multiple of the walls.
	pieceBudget = 4
	// stackMax bounds the depth of the tree: leaves halve at every level.
	stackMax = 28
)

// node is an inner node. kid is the number of a node, or the complement of the
// number of a leaf.
type node struct {
	lx, ly, hx, hy [2]float64
	kid            [2]int32
}

// leaf is the range of pieces it holds.
type leaf struct{ from, to int32 }

// tree is the index over walls.
type tree struct {
	nodes  []node
	leaves []leaf
	segs   []seg     // the whole wall of each piece
	id     []int32   // its number
	from   []float64 // a piece stands for the heights from <= y < to of its wall,
	to     []float64 // so that a ray meets a wall in one piece only
	top    int32
}

// piece is a piece during building.
type piece struct {
	lx, ly, hx, hy float64
	from, to       float64
	wall           int32
}

func newTree(walls []seg) *tree {
	if len(walls) == 0 {
		return nil
	}
	p := cutPieces(walls)
	t := &tree{}
	t.top = t.build(p, walls)
	return t
}

// cutPieces cuts the walls into pieces for the index.
func cutPieces(walls []seg) []piece {
	size := pieceSize(walls)
	out := make([]piece, 0, len(walls)+len(walls)/2)
	for i := range walls {
		s := &walls[i]
		n := pieceCount(s, size)
		x0, y0 := s.ax, s.ay
		for k := 1; k <= n; k++ {
			x1, y1 := s.point(float64(k) / float64(n))
			// The far end is known only to rounding, and so are cuts.
			pad := 4e-16 * (math.Abs(x1) + math.Abs(y1) + math.Abs(s.ax) + math.Abs(s.ay))
			p := piece{wall: int32(i), lx: math.Min(x0, x1) - pad, hx: math.Max(x0, x1) + pad,
				ly: math.Min(y0, y1) - pad, hy: math.Max(y0, y1) + pad, from: math.Min(y0, y1), to: math.Max(y0, y1)}
			// The first and the last piece go on for ever: the end of the wall
			// itself is looked at when the wall is.
			if k == 1 {
				p.open(s.dy < 0)
			}
			if k == n {
				p.open(s.dy >= 0)
			}
			out = append(out, p)
			x0, y0 = x1, y1
		}
	}
	return out
}

func (p *piece) open(up bool) {
	if up {
		p.to = math.Inf(1)
	} else {
		p.from = math.Inf(-1)
	}
}

// pieceCount is how many pieces of about size a wall is cut into. What counts
// is the shorter side of its box: an upright wall needs no cutting.
func pieceCount(s *seg, size float64) int {
	slant := math.Min(math.Abs(s.dx), math.Abs(s.dy))
	if !(slant > size) {
		return 1
	}
	return int(math.Min(64, math.Ceil(slant/size)))
}

// pieceSize is the side of the square that each wall would have to itself, or
// more where the pieces would exceed the budget.
func pieceSize(walls []seg) float64 {
	lo, hi := XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for i := range walls {
		x, y := walls[i].point(1)
		lo = XY{min(lo.X, walls[i].ax, x), min(lo.Y, walls[i].ay, y)}
		hi = XY{max(hi.X, walls[i].ax, x), max(hi.Y, walls[i].ay, y)}
	}
	size := math.Sqrt((hi.X - lo.X) * (hi.Y - lo.Y) / float64(len(walls)))
	for {
		n := 0
		for i := range walls {
			n += pieceCount(&walls[i], size)
		}
		if n <= pieceBudget*len(walls) || !(size > 0) || math.IsInf(size, 0) {
			return size
		}
		size *= 1.25
	}
}

// build makes the subtree over p and returns its number.
func (t *tree) build(p []piece, walls []seg) int32 {
	if len(p) <= leafMax {
		l := leaf{from: int32(len(t.segs))}
		for i := range p {
			t.segs, t.id = append(t.segs, walls[p[i].wall]), append(t.id, p[i].wall)
			t.from, t.to = append(t.from, p[i].from), append(t.to, p[i].to)
		}
		l.to = int32(len(t.segs))
		t.leaves = append(t.leaves, l)
		return ^int32(len(t.leaves) - 1)
	}
	m := split(p)
	k := int32(len(t.nodes))
	t.nodes = append(t.nodes, node{})
	var n node
	for i, half := range [2][]piece{p[:m], p[m:]} {
		n.lx[i], n.ly[i], n.hx[i], n.hy[i] = around(half)
		n.kid[i] = t.build(half, walls)
	}
	t.nodes[k] = n
	return k
}

// split sorts the pieces along the longer side of where their middles lie and
// says where to part them: in the middle, on a whole number of leaves.
func split(p []piece) int {
	lo, hi := XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for i := range p {
		x, y := p[i].lx+p[i].hx, p[i].ly+p[i].hy
		lo, hi = XY{math.Min(lo.X, x), math.Min(lo.Y, y)}, XY{math.Max(hi.X, x), math.Max(hi.Y, y)}
	}
	alongX := hi.X-lo.X >= hi.Y-lo.Y
	slices.SortFunc(p, func(a, b piece) int {
		c := cmpFloat(a.lx+a.hx, b.lx+b.hx)
		if !alongX {
			c = cmpFloat(a.ly+a.hy, b.ly+b.hy)
		}
		if c == 0 {
			c = int(a.wall - b.wall)
		}
		return c
	})
	leaves := (len(p) + leafMax - 1) / leafMax
	return leaves / 2 * leafMax
}

func around(p []piece) (lx, ly, hx, hy float64) {
	lx, ly, hx, hy = p[0].lx, p[0].ly, p[0].hx, p[0].hy
	for i := range p {
		lx, ly = math.Min(lx, p[i].lx), math.Min(ly, p[i].ly)
		hx, hy = math.Max(hx, p[i].hx), math.Max(hy, p[i].hy)
	}
	return lx, ly, hx, hy
}
