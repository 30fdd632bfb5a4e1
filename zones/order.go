package zones

import (
	"math"
	"math/big"
)

// The order of the points in which an edge is cut is exact: where three walls
// meet in one point, rounding must not leave a scrap of a wall between them.

// along is where a point of the edge lies on it, 0 to 1.
func (e *edge) along(p XY) float64 {
	dx, dy := e.b.X-e.a.X, e.b.Y-e.a.Y
	if math.Abs(dx) >= math.Abs(dy) {
		return (p.X - e.a.X) / dx
	}
	return (p.Y - e.a.Y) / dy
}

// crossed is where on the edge another crosses it, 0 to 1, and a bound of its
// error: each difference and product is off by a rounding, the sums of products
// by what the products are.
func (e *edge) crossed(f *edge) (t, err float64) {
	ux, uy, vx, vy := e.b.X-e.a.X, e.b.Y-e.a.Y, f.b.X-f.a.X, f.b.Y-f.a.Y
	wx, wy := f.a.X-e.a.X, f.a.Y-e.a.Y
	den, num := float64(ux*vy)-float64(uy*vx), float64(wx*vy)-float64(wy*vx)
	const few = 16 * 1.1102230246251565e-16
	off := float64(few * (math.Abs(float64(ux*vy)) + math.Abs(float64(uy*vx)) + math.Abs(float64(wx*vy)) + math.Abs(float64(wy*vx))))
	if !(math.Abs(den) > 4*off) {
		return 0.5, 1 // nearly parallel: anywhere
	}
	t = num / den
	return min(1, max(0, t)), float64(2*off/math.Abs(den)) + few
}

// order compares two cuts of the edge by where they are on it, exactly.
func (e *edge) order(s, o *stop) int {
	if math.Abs(s.t-o.t) > s.err+o.err+1e-15 {
		return cmpFloat(s.t, o.t)
	}
	if s.by == o.by && s.p == o.p {
		return 0
	}
	return e.exactly(s).Cmp(e.exactly(o))
}

// exactly is where a cut is on the edge, in rational arithmetic.
func (e *edge) exactly(s *stop) *big.Rat {
	d := func(a, b float64) *big.Rat {
		return new(big.Rat).Sub(new(big.Rat).SetFloat64(a), new(big.Rat).SetFloat64(b))
	}
	cross := func(ax, ay, bx, by *big.Rat) *big.Rat {
		l := new(big.Rat).Mul(ax, by)
		return l.Sub(l, new(big.Rat).Mul(ay, bx))
	}
	ux, uy := d(e.b.X, e.a.X), d(e.b.Y, e.a.Y)
	f := &s.by
	if f.a == f.b { // a corner on the edge
		if ux.Sign() != 0 {
			return new(big.Rat).Quo(d(s.p.X, e.a.X), ux)
		}
		return new(big.Rat).Quo(d(s.p.Y, e.a.Y), uy)
	}
	vx, vy := d(f.b.X, f.a.X), d(f.b.Y, f.a.Y)
	return new(big.Rat).Quo(cross(d(f.a.X, e.a.X), d(f.a.Y, e.a.Y), vx, vy), cross(ux, uy, vx, vy))
}
