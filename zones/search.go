package zones

// later is a subtree still to be looked at, and how far its box is, squared.
type later struct {
	d float64
	k int32
}

// beyond is how far v lies outside [lo, hi], 0 inside.
func beyond(v, lo, hi float64) float64 { return max(0, lo-v, v-hi) }

// nearest finds the walls nearest to (x, y), no further than what n starts
// with. A whole third wall is not needed, only whether there is one as near.
func (t *tree) nearest(x, y float64, n *near) {
	var stack [stackMax]later
	sp := 0
	k := t.top
	for {
		for k >= 0 {
			c := &t.nodes[k]
			dx, dy := beyond(x, c.lx[0], c.hx[0]), beyond(y, c.ly[0], c.hy[0])
			ex, ey := beyond(x, c.lx[1], c.hx[1]), beyond(y, c.ly[1], c.hy[1])
			d, e := float64(dx*dx)+float64(dy*dy), float64(ex*ex)+float64(ey*ey)
			first, second := c.kid[0], c.kid[1]
			if e < d {
				d, e = e, d
				first, second = second, first
			}
			reach := n.d1 * (1 + sliver)
			if e <= reach {
				stack[sp] = later{e, second}
				sp++
			}
			if d > reach {
				goto next
			}
			k = first
		}
		{
			l := t.leaves[^k]
			for i := l.from; i < l.to; i++ {
				if d := t.segs[i].dist2(x, y); d <= n.d1*(1+sliver) {
					n.add(d, t.id[i])
				}
			}
		}
	next:
		for {
			if sp == 0 {
				return
			}
			sp--
			if stack[sp].d <= n.d1*(1+sliver) {
				break
			}
		}
		k = stack[sp].k
	}
}

// sweep is nearest for a swept disc.
func (t *tree) sweep(q *query, b *best) {
	var stack [stackMax]later
	sp := 0
	k := t.top
	for {
		for k >= 0 {
			c := &t.nodes[k]
			d, e := q.boxDist2(c, 0), q.boxDist2(c, 1)
			first, second := c.kid[0], c.kid[1]
			if e < d {
				d, e = e, d
				first, second = second, first
			}
			reach := b.reach2(q)
			if e <= reach {
				stack[sp] = later{e, second}
				sp++
			}
			if d > reach {
				goto next
			}
			k = first
		}
		{
			l := t.leaves[^k]
			for i := l.from; i < l.to; i++ {
				b.try(q, &t.segs[i], t.id[i])
			}
		}
	next:
		for {
			if sp == 0 {
				return
			}
			sp--
			if stack[sp].d <= b.reach2(q) {
				break
			}
		}
		k = stack[sp].k
	}
}

// reach2 is the squared distance from the box of the way beyond which no wall
// can come nearer than the best.
func (b *best) reach2(q *query) float64 {
	r := b.m + q.g + b.pad
	if r < 0 {
		return 0
	}
	return r * r * (1 + sliver)
}

// boxDist2 is the squared distance between the box of the way and that of a
// child.
func (q *query) boxDist2(c *node, i int) float64 {
	dx, dy := q.lox-c.hx[i], q.loy-c.hy[i]
	if e := c.lx[i] - q.hix; e > dx {
		dx = e
	}
	if e := c.ly[i] - q.hiy; e > dy {
		dy = e
	}
	if dx < 0 {
		dx = 0
	}
	if dy < 0 {
		dy = 0
	}
	return float64(dx*dx) + float64(dy*dy)
}

// locate is polygon.locate with the index: only walls whose box the ray
// towards +x meets are looked at.
func (t *tree) locate(p *polygon, x, y float64) int {
	var stack [stackMax]int32
	sp := 1
	stack[0] = t.top
	in := -1
	for sp > 0 {
		sp--
		k := stack[sp]
		if k >= 0 {
			c := &t.nodes[k]
			for i := range 2 {
				if y >= c.ly[i] && y <= c.hy[i] && x <= c.hx[i] {
					stack[sp] = c.kid[i]
					sp++
				}
			}
			continue
		}
		l := t.leaves[^k]
		for i := l.from; i < l.to; i++ {
			a := t.id[i]
			b := p.next[a]
			switch passes(p.x[a], p.y[a], p.x[b], p.y[b], x, y) {
			case 0:
				return 0
			case 1:
				if y >= t.from[i] && y < t.to[i] {
					in = -in
				}
			}
		}
	}
	return in
}
