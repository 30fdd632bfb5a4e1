package pose

import (
	"math"

	"pinfold/watchdog/pose/trig"
)

// jacobi4 gives eigenvalues and, as columns, eigenvectors of the symmetric
// n × n matrix in the corner of a, n <= 4, by Jacobi's rotations. They are in
// no order.
func jacobi4(a *[4][4]float64, n int) (values [4]float64, vectors [4][4]float64) {
	for i := range n {
		vectors[i][i] = 1
	}
	const sweeps = 30 // converges quadratically: six to ten are usual
	for range sweeps {
		off := 0.0
		for p := range n {
			for q := p + 1; q < n; q++ {
				off += math.Abs(a[p][q])
				rotate4(a, &vectors, n, p, q)
			}
		}
		if off == 0 {
			break
		}
	}
	for i := range n {
		values[i] = a[i][i]
	}
	return values, vectors
}

// rotate4 makes a[p][q] zero by one rotation in the plane p, q.
func rotate4(a, v *[4][4]float64, n, p, q int) {
	if math.Abs(a[p][q]) <= 1e-18*(math.Abs(a[p][p])+math.Abs(a[q][q])) {
		a[p][q], a[q][p] = 0, 0
		return
	}
	theta := (a[q][q] - a[p][p]) / (2 * a[p][q])
	t := 1 / (math.Abs(theta) + trig.Hypot(theta, 1))
	if theta < 0 {
		t = -t
	}
	c := 1 / trig.Hypot(t, 1)
	s := t * c
	for k := range n {
		a[k][p], a[k][q] = float64(c*a[k][p])-float64(s*a[k][q]), float64(s*a[k][p])+float64(c*a[k][q])
	}
	for k := range n {
		a[p][k], a[q][k] = float64(c*a[p][k])-float64(s*a[q][k]), float64(s*a[p][k])+float64(c*a[q][k])
		v[k][p], v[k][q] = float64(c*v[k][p])-float64(s*v[k][q]), float64(s*v[k][p])+float64(c*v[k][q])
	}
	a[p][q], a[q][p] = 0, 0
}

// moments is the centroid of points and their principal moments about it, m²,
// greatest first: sums, not means. flat leaves z out.
func moments(points []Vec, flat bool) (centre Vec, m [3]float64) {
	for _, p := range points {
		centre = centre.Add(p)
	}
	centre = centre.Scale(1 / float64(len(points)))
	var a [4][4]float64
	for _, p := range points {
		d := p.Sub(centre)
		if flat {
			d.Z = 0
		}
		c := [3]float64{d.X, d.Y, d.Z}
		for i := range 3 {
			for j := range 3 {
				a[i][j] += float64(c[i] * c[j])
			}
		}
	}
	values, _ := jacobi4(&a, 3)
	m = [3]float64{values[0], values[1], values[2]}
	for i := range 2 {
		for j := i + 1; j < 3; j++ {
			if m[j] > m[i] {
				m[i], m[j] = m[j], m[i]
			}
		}
	}
	return centre, m
}
