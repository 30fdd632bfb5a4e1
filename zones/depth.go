package zones

import "math"

// depthSlack and depthPart bound how much deeper than true the depth of a
// sweep whose centre line leaves the allowed side may be given: 1 mm, or 1 % of
// the way and the growth together where that is more. depthTries bounds the
// looks it takes; flat outlines need about 64.
const (
	depthSlack = 0.001
	depthPart  = 0.01
	depthTries = 256
)

// stretch is a part of the way, 0 to 1, and the clearance at its two ends.
type stretch struct{ s0, f0, s1, f1 float64 }

// depth finds the least signed clearance along the way, never larger than the
// truth. The signed distance changes by at most the way covered (Lipschitz), so
// what can hide between two looks is bounded.
func (a *area) depth(q *query, want int, f *flat) {
	k := q.length + q.g
	tol := math.Max(depthSlack, depthPart*k)
	f.wall = -1
	var todo [64]stretch
	todo[0] = stretch{s0: 0, f0: a.look(q, want, 0, f), s1: 1, f1: a.look(q, want, 1, f)}
	sure := math.Inf(1)
	for n, tries := 1, 0; n > 0; {
		n--
		p := todo[n]
		bound := (p.f0 + p.f1 - k*(p.s1-p.s0)) / 2
		if bound >= f.h-tol || tries >= depthTries || n+2 > len(todo) {
			sure = math.Min(sure, bound)
			continue
		}
		tries++
		s := (p.s0 + p.s1) / 2
		v := a.look(q, want, s, f)
		todo[n] = stretch{p.s0, p.f0, s, v}
		todo[n+1] = stretch{s, v, p.s1, p.f1}
		n += 2
	}
	f.h = math.Min(f.h, sure)
}

// look is the clearance of the disc at part s of the way; f keeps the least.
func (a *area) look(q *query, want int, s float64, f *flat) float64 {
	x, y := q.x0+s*(q.x1-q.x0), q.y0+s*(q.y1-q.y0)
	d, w := a.signed(x, y)
	v := float64(want)*d - q.r - s*q.g
	if v < f.h || f.wall < 0 {
		f.h, f.wall, f.x, f.y = v, w, x, y
	}
	return v
}
