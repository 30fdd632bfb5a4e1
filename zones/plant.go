package zones

import (
	"math"
	"slices"
)

// planter builds a tree.
type planter struct {
	t     *tree
	p     []piece
	walls []seg
}

// keyed is piece i and where its middle lies, twice, along the axis at hand.
type keyed struct {
	key float64
	i   int32
}

// build makes the subtree over some pieces and returns its number.
func (b *planter) build(in []keyed) int32 {
	t := b.t
	if len(in) <= leafMax {
		l := leaf{from: int32(len(t.segs))}
		slices.SortFunc(in, func(k, o keyed) int { return int(k.i - o.i) })
		for _, k := range in {
			p := &b.p[k.i]
			t.segs, t.id = append(t.segs, b.walls[p.wall]), append(t.id, p.wall)
			t.from, t.to = append(t.from, p.from), append(t.to, p.to)
		}
		l.to = int32(len(t.segs))
		t.leaves = append(t.leaves, l)
		return ^int32(len(t.leaves) - 1)
	}
	m := b.split(in)
	k := int32(len(t.nodes))
	t.nodes = append(t.nodes, node{})
	var n node
	for i, half := range [2][]keyed{in[:m], in[m:]} {
		n.lx[i], n.ly[i], n.hx[i], n.hy[i] = b.around(half)
		n.kid[i] = b.build(half)
	}
	t.nodes[k] = n
	return k
}

// split parts the pieces along the longer side of where their middles lie, in
// the middle, on a whole number of leaves, and says where.
func (b *planter) split(in []keyed) int {
	lo, hi := XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for _, k := range in {
		p := &b.p[k.i]
		x, y := p.lx+p.hx, p.ly+p.hy
		lo, hi = XY{min(lo.X, x), min(lo.Y, y)}, XY{max(hi.X, x), max(hi.Y, y)}
	}
	alongX := hi.X-lo.X >= hi.Y-lo.Y
	for j := range in {
		p := &b.p[in[j].i]
		in[j].key = p.ly + p.hy
		if alongX {
			in[j].key = p.lx + p.hx
		}
	}
	m := (len(in) + leafMax - 1) / leafMax / 2 * leafMax
	part(in, m)
	return m
}

// less orders by key, of equals by number.
func (k keyed) less(o keyed) bool { return k.key < o.key || k.key == o.key && k.i < o.i }

// part moves the m least to the front (Hoare's selection, the median of three
// as pivot). After too many rounds, which no pivot helps, it sorts.
func part(in []keyed, m int) {
	for rounds := 0; len(in) > 12 && rounds < 64; rounds++ {
		a, b, c := in[0], in[len(in)/2], in[len(in)-1]
		if b.less(a) {
			a, b = b, a
		}
		if c.less(b) {
			b = c
			if b.less(a) {
				b = a
			}
		}
		i, j := 0, len(in)-1
		for i <= j {
			for in[i].less(b) {
				i++
			}
			for b.less(in[j]) {
				j--
			}
			if i <= j {
				in[i], in[j] = in[j], in[i]
				i, j = i+1, j-1
			}
		}
		switch { // in[:j+1] <= b <= in[i:]
		case m <= j:
			in = in[:j+1]
		case m > i:
			in, m = in[i:], m-i
		default:
			return
		}
	}
	slices.SortFunc(in, func(k, o keyed) int {
		if k.less(o) {
			return -1
		}
		return 1
	})
}

func (b *planter) around(in []keyed) (lx, ly, hx, hy float64) {
	p := &b.p[in[0].i]
	lx, ly, hx, hy = p.lx, p.ly, p.hx, p.hy
	for _, k := range in {
		p := &b.p[k.i]
		lx, ly = min(lx, p.lx), min(ly, p.ly)
		hx, hy = max(hx, p.hx), max(hy, p.hy)
	}
	return lx, ly, hx, hy
}
