package zones

import "math"

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
	leaves := (len(p) + leafMax - 1) / leafMax
	t := &tree{nodes: make([]node, 0, leaves), leaves: make([]leaf, 0, leaves), segs: make([]seg, 0, len(p)), id: make([]int32, 0, len(p)),
		from: make([]float64, 0, len(p)), to: make([]float64, 0, len(p))}
	order := make([]keyed, len(p))
	for i := range order {
		order[i].i = int32(i)
	}
	b := planter{t: t, p: p, walls: walls}
	t.top = b.build(order)
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
			pad := float64(4e-16 * (math.Abs(x1) + math.Abs(y1) + math.Abs(s.ax) + math.Abs(s.ay)))
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
