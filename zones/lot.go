package zones

import "math"

// lot is the few walls that can be the nearest anywhere on a way, and how far
// from its start they are: n walls in a row from first on, or listed; n is 0
// where they are not so few.
type lot struct {
	first  int32
	n      int
	list   []int32
	square square           // the way is in it, where that is how they are known
	d      [lotMost]float64 // m², by place in the lot
}

// lotMost is the number of walls up to which there is a lot.
const lotMost = 24

// lotOf is the lot of a way.
func (a *area) lotOf(q *query, want int, l *lot) {
	if a.plat != nil {
		if s, ok := a.plat.holds(q); ok && s.n <= lotMost && s.is <= listed {
			l.square = s
			if int(s.side)*want < 0 {
				return // what is known of the start is for a way on the wanted side
			}
			l.n, l.first = int(s.n), s.at
			if s.is == listed {
				l.list = a.plat.list[s.at : s.at+int32(s.n)]
			}
			return
		}
	}
	if a.index == nil && len(a.walls) <= lotMost {
		l.n = len(a.walls)
	}
}

// wall is the number of the ith wall.
func (l *lot) wall(i int) int32 {
	if l.list != nil {
		return l.list[i]
	}
	return l.first + int32(i)
}

// nearest is area.nearest at the start of the way.
func (l *lot) nearest(a *area, x, y float64, n *near) {
	if l.n == 0 {
		l.at(a, x, y, n)
		return
	}
	n.reset(math.Inf(1))
	n.side = l.square.side
	least := math.Float64bits(n.d1) // see clamp
	d := l.d[:l.n]
	if l.list == nil {
		for i := range d {
			d[i] = a.walls[l.first+int32(i)].dist2(x, y)
			least = min(least, math.Float64bits(d[i]))
		}
	} else {
		for i, w := range l.list[:len(d)] {
			d[i] = a.walls[w].dist2(x, y)
			least = min(least, math.Float64bits(d[i]))
		}
	}
	same := math.Float64frombits(least) * (1 + sliver)
	for i, v := range d {
		if v <= same {
			n.add(v, l.wall(i))
		}
	}
}

// at is area.nearest at a point of the way.
func (l *lot) at(a *area, x, y float64, n *near) {
	n.reset(math.Inf(1))
	if l.square.n == 0 || !a.plat.among(l.square, a.walls, x, y, n) {
		a.nearest(x, y, math.Inf(1), n)
	}
}

// sweep is area.sweep after nearest. A wall comes nearer than to the start by
// the way and the growth at most.
func (l *lot) sweep(a *area, q *query, b *best) {
	if l.n == 0 {
		a.sweep(q, b)
		return
	}
	r := b.m + q.g + q.length + b.pad
	r *= r * (1 + sliver)
	for i, v := range l.d[:l.n] {
		if w := l.wall(i); v <= r && w != b.wall {
			b.look(q, &a.walls[w], w, v)
		}
	}
}
