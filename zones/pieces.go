package zones

import "math"

// room sums up the raster.
func (r *raster) room() Room {
	out := Room{Cell: r.cell, Floor: math.Inf(1), Ceiling: math.Inf(-1)}
	for m := range r.n * r.n {
		part := float32(0)
		for k := range r.layers {
			part = max(part, r.part[k*r.n*r.n+m])
		}
		out.Area += float64(part)
		if part > 0 && part < 1 {
			out.Unsure++
		}
	}
	out.Area *= r.cell * r.cell
	out.Unsure *= r.cell * r.cell
	for k, l := range r.layers {
		if r.any(k) {
			out.Floor, out.Ceiling = min(out.Floor, l.lo), max(out.Ceiling, l.hi)
			r.refine(k, 0, 0, float64(r.n), r.inLayer(k))
		}
	}
	if !(r.best.Radius > 0) {
		return Room{}
	}
	out.Circle = r.best
	out.Pieces = r.pieces()
	return out
}

func (r *raster) any(k int) bool {
	for _, c := range r.clear[k*r.n*r.n : (k+1)*r.n*r.n] {
		if c > 0 {
			return true
		}
	}
	return false
}

// refine looks for a larger circle with its centre in the block, by halving
// as long as the middle's clearance leaves hope; pens are those that do.
func (r *raster) refine(k int, i, j, n float64, pens []int32) {
	half := float64(r.cell * n / 2)
	x, y := r.x+float64(r.cell*i)+half, r.y+float64(r.cell*j)+half
	var q query
	if !r.sweep(k, x, y, x, y, &q) {
		return
	}
	least := r.best.Radius + float64(circleSlack*r.cell*float64(r.n)) - float64(half*math.Sqrt2)
	c, _ := r.clearAt(&q, pens, least)
	if c > r.best.Radius {
		r.best = Circle{XY{x, y}, c}
	}
	if c <= least {
		return
	}
	from := len(r.heap)
	for _, p := range pens {
		if r.set.pens[p].mostFlat(&q) > r.best.Radius-half {
			r.heap = append(r.heap, p)
		}
	}
	in := r.heap[from:]
	for s := range 4 {
		r.refine(k, i+float64(float64(s%2)*n/2), j+float64(float64(s/2)*n/2), n/2, in)
	}
	r.heap = r.heap[:from]
}

// pieces counts what hangs together. Two squares do when the body can go
// straight from the middle of one to that of the other; two layers do where
// the same square is free in both.
func (r *raster) pieces() int {
	group := make([]int32, len(r.clear))
	for m := range group {
		group[m] = int32(m)
	}
	count := 0
	for k := range r.layers {
		for j := range r.n {
			for i := range r.n {
				m := r.at(k, i, j)
				if r.clear[m] <= 0 {
					continue
				}
				count++
				for _, d := range [4][2]int{{-1, 0}, {-1, -1}, {0, -1}, {1, -1}} {
					if a, b := i+d[0], j+d[1]; a >= 0 && a < r.n && b >= 0 && r.way(k, i, j, a, b) {
						count -= join(group, m, r.at(k, a, b))
					}
				}
				if k > 0 && r.layers[k-1].hi == r.layers[k].lo && r.clear[r.at(k-1, i, j)] > 0 {
					count -= join(group, m, r.at(k-1, i, j))
				}
			}
		}
	}
	return count
}

// way tells whether the body can go straight between two neighbouring squares.
func (r *raster) way(k, i, j, a, b int) bool {
	m, o := r.at(k, i, j), r.at(k, a, b)
	c, d := float64(r.clear[m]), float64(r.clear[o])
	if d <= 0 || r.who[m] != r.who[o] { // pens do not touch
		return false
	}
	length := r.cell * math.Sqrt(float64((a-i)*(a-i)+(b-j)*(b-j)))
	if c+d > length*(1+1e-6) { // the clearance cannot run out in between
		return true
	}
	x0, y0 := r.x+float64(r.cell*(float64(i)+0.5)), r.y+float64(r.cell*(float64(j)+0.5))
	x1, y1 := r.x+float64(r.cell*(float64(a)+0.5)), r.y+float64(r.cell*(float64(b)+0.5))
	var q query
	if !r.sweep(k, x0, y0, x1, y1, &q) {
		return false
	}
	c, _ = r.clearAt(&q, r.who[m:m+1], 0)
	return c > 0
}

// join puts two members into one group; it returns 1 if they were in two.
func join(group []int32, a, b int) int {
	x, y := find(group, int32(a)), find(group, int32(b))
	if x == y {
		return 0
	}
	group[x] = y
	return 1
}

func find(group []int32, m int32) int32 {
	for group[m] != m {
		group[m] = group[group[m]]
		m = group[m]
	}
	return m
}
