package pose

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Umeyama 1991, the worked example of section III: A = (0,0), (1,0), (0,2) onto
// B = (0,0), (−1,0), (0,2), in the plane, where a rotation may not mirror.
func TestUmeyamaExample(t *testing.T) {
	from := []Vec{{}, {X: 1}, {Y: 2}}
	to := []Vec{{}, {X: -1}, {Y: 2}}
	f, err := Umeyama(from, to, FitYaw, true)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "scale", f.Scale, 0.7211102551, 1e-10)
	near(t, "angle", f.Rotation.Yaw()/deg, -33.690068, 1e-6)
	nearVec(t, "translation", f.Translation, Vec{-0.8, 0.4, 0}, 1e-12)
	near(t, "sum of squares", f.SumSquares, 1.6, 1e-12)
	nearVec(t, "c·R, first column", f.Rotation.Rotate(Vec{X: 1}).Scale(f.Scale), Vec{0.6, -0.4, 0}, 1e-12)
	nearVec(t, "c·R, second column", f.Rotation.Rotate(Vec{Y: 1}).Scale(f.Scale), Vec{0.4, 0.6, 0}, 1e-12)
	near(t, "mean of squares", f.RMSE()*f.RMSE(), 0.53333, 1e-5)

	// Without scale, computed from the same formula.
	f, err = Umeyama(from, to, FitYaw, false)
	if err != nil {
		t.Fatal(err)
	}
	nearVec(t, "rigid translation", f.Translation, Vec{-0.980484, 0.296867, 0}, 1e-6)
	near(t, "rigid sum of squares", f.SumSquares, 1.859265, 1e-6)
}

// Second opinion: Umeyama's own way, by gonum's singular value decomposition,
// over random points, noisy and mirrored ones among them.
func TestFullFitAgainstSVD(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 32))
	for trial := range 2000 {
		n := 3 + rng.IntN(10)
		q, shift := randomQuat(rng), randomVec(rng)
		from, to := make([]Vec, n), make([]Vec, n)
		for i := range n {
			from[i] = randomVec(rng)
			to[i] = q.Rotate(from[i]).Scale(1.3).Add(shift).Add(randomVec(rng).Scale(0.1))
			if trial%3 == 0 {
				to[i].Z = -to[i].Z
			}
		}
		f, err := Umeyama(from, to, FitFull, true)
		if err != nil {
			t.Fatal(err)
		}
		want, scale, gap := bySVD(from, to)
		if gap < 0.05 { // hardly determined, both ways
			continue
		}
		near(t, "scale", f.Scale, scale, 1e-9)
		for c, axis := range []Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			nearVec(t, "rotation", f.Rotation.Rotate(axis), Vec{want.At(0, c), want.At(1, c), want.At(2, c)}, 1e-8)
		}
	}
}

// bySVD is rotation and scale after Umeyama, and how well determined they are.
func bySVD(from, to []Vec) (*mat.Dense, float64, float64) {
	ca, _ := moments(from, false)
	cb, _ := moments(to, false)
	cov := mat.NewDense(3, 3, nil)
	size := 0.0
	for i := range from {
		a, b := from[i].Sub(ca), to[i].Sub(cb)
		size += a.Dot(a)
		var outer mat.Dense
		outer.Outer(1, mat.NewVecDense(3, []float64{b.X, b.Y, b.Z}), mat.NewVecDense(3, []float64{a.X, a.Y, a.Z}))
		cov.Add(cov, &outer)
	}
	var svd mat.SVD
	svd.Factorize(cov, mat.SVDFull)
	var u, v, r, s mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	d := svd.Values(nil)
	sign := 1.0
	if mat.Det(&u)*mat.Det(&v) < 0 {
		sign = -1
	}
	s.Mul(&u, mat.NewDense(3, 3, []float64{1, 0, 0, 0, 1, 0, 0, 0, sign}))
	r.Mul(&s, v.T())
	return &r, (d[0] + d[1] + sign*d[2]) / size, d[1] + sign*d[2]
}

func TestFitIsExactAndProper(t *testing.T) {
	rng := rand.New(rand.NewPCG(33, 34))
	for range 1000 {
		yaw, shift := rng.Float64()*6-3, randomVec(rng).Scale(100)
		var from, to []Vec
		for range 4 {
			p := randomVec(rng)
			from, to = append(from, p), append(to, FromYaw(yaw).Rotate(p).Add(shift))
		}
		for _, kind := range []FitKind{FitYaw, FitFull} {
			f, err := Umeyama(from, to, kind, false)
			if err != nil {
				t.Fatal(err)
			}
			nearRotation(t, "rotation", f.Rotation, FromYaw(yaw), 1e-10)
			nearVec(t, "translation", f.Translation, shift, 1e-9)
			near(t, "norm", f.Rotation.Norm(), 1, 1e-14)
		}
	}
}

func TestFitRefuses(t *testing.T) {
	line := []Vec{{}, {X: 1}, {X: 2}, {X: 5}}
	for name, c := range map[string]struct {
		from, to []Vec
		kind     FitKind
	}{
		"none":              {nil, nil, FitYaw},
		"one":               {line[:1], line[:1], FitYaw},
		"uneven":            {line[:2], line[:3], FitYaw},
		"coincident":        {make([]Vec, 4), line, FitYaw},
		"coincident, full":  {make([]Vec, 4), line, FitFull},
		"one line, full":    {line, line, FitFull},
		"above one another": {[]Vec{{}, {Z: 1}}, []Vec{{}, {Z: 1}}, FitYaw},
	} {
		if f, err := Umeyama(c.from, c.to, c.kind, false); err == nil {
			t.Errorf("%s: %+v", name, f)
		}
	}
	if _, err := Umeyama(line, line, FitYaw, false); err != nil {
		t.Errorf("the yaw of a level line is determined: %v", err)
	}
}

// Principal moments and Jacobi's rotations against gonum's symmetric
// eigenvalues.
func TestJacobiAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(35, 36))
	for range 1000 {
		n := 2 + rng.IntN(3)
		var a, kept [4][4]float64
		sym := mat.NewSymDense(n, nil)
		for i := range n {
			for j := range i + 1 {
				x := rng.NormFloat64() * math.Pow(10, float64(rng.IntN(5)))
				a[i][j], a[j][i] = x, x
				sym.SetSym(i, j, x)
			}
		}
		kept = a
		values, vectors := jacobi4(&a, n)
		var eig mat.EigenSym
		eig.Factorize(sym, false)
		sum, size := 0.0, mat.Norm(sym, 2)
		for k := range n {
			closest := math.Inf(1)
			for _, want := range eig.Values(nil) {
				closest = math.Min(closest, math.Abs(want-values[k]))
			}
			near(t, "eigenvalue", closest, 0, 1e-12*size)
			sum += values[k]
			for i := range n { // A·v = λ·v
				av := 0.0
				for j := range n {
					av += kept[i][j] * vectors[j][k]
				}
				near(t, "eigenvector", av, values[k]*vectors[i][k], 1e-11*size)
			}
		}
		near(t, "trace", sum, mat.Trace(sym), 1e-11*size)
	}
}

// With equal variances the bound is a quantile of Fisher's F, which gonum has:
// k² = 3·v·F₀.₉₅(3, dof); with one, of Student's t squared.
func TestBoundAgainstGonum(t *testing.T) {
	for _, dof := range []float64{3, 5, 8, 20, knownDOF} {
		want := math.Sqrt(3 * 0.04 * distuv.F{D1: 3, D2: dof}.Quantile(0.95))
		near(t, "F", boundFactor([3]float64{0.04, 0.04, 0.04}, dof), want, 1e-4*want)
		want = math.Sqrt(distuv.F{D1: 1, D2: dof}.Quantile(0.95))
		near(t, "t", boundFactor([3]float64{0, 1, 0}, dof), want, 1e-3*want)
	}
	// A noise known beforehand: χ² with three degrees of freedom, 7.8147 at 95 %.
	near(t, "chi squared", boundFactor([3]float64{1, 1, 1}, knownDOF), math.Sqrt(7.8147), 0.01)
	near(t, "nothing", boundFactor([3]float64{}, 5), 0, 0)
}
