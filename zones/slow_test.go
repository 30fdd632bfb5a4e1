package zones

import (
	"math"
	"math/big"
)

// A slow second opinion, built differently: containment by winding number in
// rational arithmetic or from angles, distance by the area of a triangle.

// ratLocate is exact: +1 inside, 0 on the boundary, -1 outside.
func ratLocate(rings [][]XY, x, y float64) int {
	px, py := rat(x), rat(y)
	winding := 0
	for _, ring := range rings {
		w := 0
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			l := new(big.Rat).Mul(sub(rat(b.X), rat(a.X)), sub(py, rat(a.Y)))
			m := new(big.Rat).Mul(sub(px, rat(a.X)), sub(rat(b.Y), rat(a.Y)))
			side := l.Cmp(m)
			if side == 0 && x >= min(a.X, b.X) && x <= max(a.X, b.X) && y >= min(a.Y, b.Y) && y <= max(a.Y, b.Y) {
				return 0
			}
			if a.Y <= y && b.Y > y && side > 0 {
				w++
			}
			if a.Y > y && b.Y <= y && side < 0 {
				w--
			}
		}
		if w != 0 {
			winding++
		}
	}
	if winding == 1 { // in the outer ring and in no hole
		return 1
	}
	return -1
}

func rat(v float64) *big.Rat     { return new(big.Rat).SetFloat64(v) }
func sub(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }

// slowSigned is the signed distance by angles and triangle areas. Its sign is
// not to be trusted within rounding of the boundary.
func slowSigned(rings [][]XY, x, y float64) float64 {
	d := math.Inf(1)
	in := 0
	for _, ring := range rings {
		turn := 0.0
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			d = min(d, slowDistance(a, b, x, y))
			turn += math.Atan2((a.X-x)*(b.Y-y)-(a.Y-y)*(b.X-x), (a.X-x)*(b.X-x)+(a.Y-y)*(b.Y-y))
		}
		if math.Abs(turn) > math.Pi {
			in++
		}
	}
	if in == 1 {
		return d
	}
	return -d
}

func slowDistance(a, b XY, x, y float64) float64 {
	da, db, l := math.Hypot(x-a.X, y-a.Y), math.Hypot(x-b.X, y-b.Y), math.Hypot(a.X-b.X, a.Y-b.Y)
	if da*da >= db*db+l*l {
		return db
	}
	if db*db >= da*da+l*l {
		return da
	}
	return math.Abs((b.X-a.X)*(y-a.Y)-(b.Y-a.Y)*(x-a.X)) / l
}
