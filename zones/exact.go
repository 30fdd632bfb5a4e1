package zones

import (
	"math"
	"math/big"
)

// filterBound is Shewchuk's ccwerrboundA, (3+16ε)ε with ε = 2⁻⁵³: a computed
// determinant larger than it times the sum of the two products' sizes has the
// right sign (J. R. Shewchuk, Adaptive Precision Floating-Point Arithmetic and
// Fast Robust Geometric Predicates, 1997, §4.2).
const filterBound = 3.3306690738754716e-16

// underflowGuard keeps the filter and the expansion away from numbers whose
// products lose bits to underflow, which Shewchuk's bound does not cover.
const underflowGuard = 1e-250

// orient tells on which side of the line from a to b the point c lies: +1 to
// the left (a, b, c turn counter-clockwise), -1 to the right, 0 exactly on the
// line. The answer is exact for all finite coordinates up to MaxQuery.
//
// Laws: orient(a,b,c) == orient(b,c,a) == -orient(b,a,c).
func orient(ax, ay, bx, by, cx, cy float64) int {
	l := float64((ax - cx) * (by - cy))
	r := float64((ay - cy) * (bx - cx))
	det := l - r
	bound := filterBound * (math.Abs(l) + math.Abs(r))
	if bound < underflowGuard {
		bound = underflowGuard
	}
	if det > bound {
		return 1
	}
	if -det > bound {
		return -1
	}
	return orientExact(ax, ay, bx, by, cx, cy)
}

// orientExact decides what the filter could not. It builds the determinant as
// an expansion, a sum of floats that is exactly the true value.
func orientExact(ax, ay, bx, by, cx, cy float64) int {
	acx, acxt := twoDiff(ax, cx)
	bcx, bcxt := twoDiff(bx, cx)
	acy, acyt := twoDiff(ay, cy)
	bcy, bcyt := twoDiff(by, cy)
	l := [2]float64{acx, acxt}
	r := [2]float64{bcy, bcyt}
	m := [2]float64{-acy, -acyt}
	n := [2]float64{bcx, bcxt}
	var e expansion
	for i := range 2 {
		for j := range 2 {
			if !e.addProduct(l[i], r[j]) || !e.addProduct(m[i], n[j]) {
				return orientRational(ax, ay, bx, by, cx, cy)
			}
		}
	}
	return e.sign()
}

// expansion is a sum of at most 16 floats, smallest first, none overlapping.
type expansion struct {
	part [17]float64
	n    int
}

// addProduct adds a·b exactly. It reports false when the product is so small
// that its tail may be lost to underflow.
func (e *expansion) addProduct(a, b float64) bool {
	if a == 0 || b == 0 {
		return true
	}
	p := a * b
	if math.Abs(p) < underflowGuard {
		return false
	}
	e.add(math.FMA(a, b, -p))
	e.add(p)
	return true
}

// add is Shewchuk's GROW-EXPANSION with zero elimination.
func (e *expansion) add(q float64) {
	k := 0
	for i := range e.n {
		s, t := twoSum(q, e.part[i])
		if t != 0 {
			e.part[k] = t
			k++
		}
		q = s
	}
	if q != 0 {
		e.part[k] = q
		k++
	}
	e.n = k
}

func (e *expansion) sign() int {
	if e.n == 0 {
		return 0
	}
	if e.part[e.n-1] > 0 {
		return 1
	}
	return -1
}

// twoSum returns s = fl(a+b) and the rounding error t, so that s+t = a+b.
func twoSum(a, b float64) (s, t float64) {
	s = a + b
	bv := s - a
	av := s - bv
	return s, (a - av) + (b - bv)
}

// twoDiff returns d = fl(a-b) and the rounding error t, so that d+t = a-b.
func twoDiff(a, b float64) (d, t float64) { return twoSum(a, -b) }

// orientRational is orient in rational arithmetic, for coordinates so close to
// zero that products underflow. It allocates.
func orientRational(ax, ay, bx, by, cx, cy float64) int {
	d := func(a, b float64) *big.Rat {
		return new(big.Rat).Sub(new(big.Rat).SetFloat64(a), new(big.Rat).SetFloat64(b))
	}
	l := new(big.Rat).Mul(d(ax, cx), d(by, cy))
	r := new(big.Rat).Mul(d(ay, cy), d(bx, cx))
	return l.Cmp(r)
}
