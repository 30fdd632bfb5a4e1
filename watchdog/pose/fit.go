package pose

import (
	"fmt"
	"math"

	"pinfold/watchdog/pose/trig"
)

// Fit is the similarity that carries points onto others best:
// to ≈ Scale·Rotation·from + Translation, in the sense of least squares.
type Fit struct {
	Rotation    Quat
	Scale       float64 // 1 unless it was asked for
	Translation Vec     // m
	SumSquares  float64 // m², of what remains
	Points      int
}

// RMSE is the root of the mean square distance that remains, m.
func (f *Fit) RMSE() float64 { return math.Sqrt(f.SumSquares / float64(f.Points)) }

// Apply carries one point.
func (f *Fit) Apply(p Vec) Vec {
	return f.Rotation.Rotate(p).Scale(f.Scale).Add(f.Translation)
}

// FitKind says what a fit may turn. The zero value keeps gravity.
type FitKind uint8

// Kinds of fit, all without mirroring: the rotation's determinant is +1.
const (
	FitYaw  FitKind = iota // turns about the vertical alone
	FitFull                // any rotation
)

// minSeparation is by how much, relatively, the best rotation must be better
// than the next: less is rounding, and any rotation about a line of points
// would do.
const minSeparation = 1e-9

// Umeyama fits from onto to, with a common scale if so asked (Umeyama, Least-
// squares estimation of transformation parameters between two point patterns,
// 1991). The full rotation is found as the eigenvector of a 4 × 4 matrix
// (Horn, Closed-form solution of absolute orientation using unit quaternions,
// 1987), which has the same optimum and cannot mirror. Points that leave the
// rotation open are refused.
func Umeyama(from, to []Vec, kind FitKind, scale bool) (Fit, error) {
	if len(from) != len(to) || len(from) < 2 {
		return Fit{}, fmt.Errorf("fit: %d points onto %d: needs as many of both, two at least", len(from), len(to))
	}
	meanA, meanB, s, size := products(from, to)
	f := Fit{Scale: 1, Points: len(from)}
	var ok bool
	if kind == FitFull {
		f.Rotation, ok = hornRotation(&s)
	} else {
		f.Rotation, ok = yawRotation(&s, size)
	}
	if !ok {
		return Fit{}, fmt.Errorf("fit: the points leave the rotation open: they coincide or lie on one line")
	}
	if scale {
		dot := 0.0
		for i := range from {
			dot += f.Rotation.Rotate(from[i].Sub(meanA)).Dot(to[i].Sub(meanB))
		}
		f.Scale = dot / size
	}
	f.Translation = meanB.Sub(f.Rotation.Rotate(meanA).Scale(f.Scale))
	for i := range from {
		d := f.Apply(from[i]).Sub(to[i])
		f.SumSquares += d.Dot(d)
	}
	return f, nil
}

// products is the means of both point sets, the sums of products of their
// coordinates about them, and the sum of squares of the first.
func products(from, to []Vec) (meanA, meanB Vec, s [3][3]float64, size float64) {
	n := float64(len(from))
	for i, a := range from {
		meanA, meanB = meanA.Add(a), meanB.Add(to[i])
	}
	meanA, meanB = meanA.Scale(1/n), meanB.Scale(1/n)
	for i := range from {
		a, b := from[i].Sub(meanA), to[i].Sub(meanB)
		size += a.Dot(a)
		for r, x := range [3]float64{a.X, a.Y, a.Z} {
			for c, y := range [3]float64{b.X, b.Y, b.Z} {
				s[r][c] += float64(x * y)
			}
		}
	}
	return meanA, meanB, s, size
}

// yawRotation is the best rotation about z for the sums s of products.
func yawRotation(s *[3][3]float64, size float64) (Quat, bool) {
	dot, cross := s[0][0]+s[1][1], s[0][1]-s[1][0]
	if !(trig.Hypot(dot, cross) > minSeparation*size) {
		return Quat{}, false
	}
	return FromYaw(trig.Atan2(cross, dot)), true
}

// hornRotation is the best rotation for the sums s of products.
func hornRotation(s *[3][3]float64) (Quat, bool) {
	xx, yy, zz := s[0][0], s[1][1], s[2][2]
	a := [4][4]float64{
		{xx + yy + zz, s[1][2] - s[2][1], s[2][0] - s[0][2], s[0][1] - s[1][0]},
		{0, xx - yy - zz, s[0][1] + s[1][0], s[2][0] + s[0][2]},
		{0, 0, yy - xx - zz, s[1][2] + s[2][1]},
		{0, 0, 0, zz - xx - yy},
	}
	for i := range 4 {
		for j := range i {
			a[i][j] = a[j][i]
		}
	}
	values, v := jacobi4(&a, 4)
	best, next := 0, math.Inf(-1)
	for i := 1; i < 4; i++ {
		if values[i] > values[best] {
			best = i
		}
	}
	for i := range 4 {
		if i != best {
			next = math.Max(next, values[i])
		}
	}
	if !(values[best]-next > minSeparation*math.Abs(values[best])) {
		return Quat{}, false
	}
	q := Quat{v[0][best], v[1][best], v[2][best], v[3][best]}
	n := q.Norm()
	return Quat{q.W / n, q.X / n, q.Y / n, q.Z / n}, true
}
