package zones

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// Speed is shown as ratios within one run:
//
//	go test -run '^$' -bench . ./zones
//
// Each benchmark times the plain way and this package in turn, many rounds of
// each, and prints the medians in ns per query and their ratio ("times").

// plain is the plain scan over flat arrays: containment by ray casting and
// distance to every edge, in one pass. It is what the ratios compare with.
type plain struct{ ax, ay, bx, by []float64 }

func newPlain(rings [][]XY) *plain {
	p := &plain{}
	for _, r := range rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			p.ax, p.ay, p.bx, p.by = append(p.ax, a.X), append(p.ay, a.Y), append(p.bx, b.X), append(p.by, b.Y)
		}
	}
	return p
}

func (p *plain) signed(x, y float64) float64 {
	best := math.Inf(1)
	in := false
	for i := range p.ax {
		ax, ay, bx, by := p.ax[i], p.ay[i], p.bx[i], p.by[i]
		dx, dy := bx-ax, by-ay
		if (ay > y) != (by > y) && x < dx*(y-ay)/dy+ax {
			in = !in
		}
		t := ((x-ax)*dx + (y-ay)*dy) / (dx*dx + dy*dy)
		if t < 0 {
			t = 0
		} else if t > 1 {
			t = 1
		}
		ex, ey := x-ax-t*dx, y-ay-t*dy
		if d := ex*ex + ey*ey; d < best {
			best = d
		}
	}
	if in {
		return math.Sqrt(best)
	}
	return -math.Sqrt(best)
}

// race times two ways in turn and reports medians and ratio.
func race(b *testing.B, queries int, slow, fast func()) {
	b.Helper()
	rounds := max(9, b.N)
	if rounds > 3999 {
		rounds = 99
	}
	var s, f []float64
	clock := func(run func()) float64 {
		t := time.Now()
		run()
		return float64(time.Since(t).Nanoseconds()) / float64(queries)
	}
	slow()
	fast()
	b.ResetTimer()
	for range rounds {
		s, f = append(s, clock(slow)), append(f, clock(fast))
	}
	b.StopTimer()
	slices.Sort(s)
	slices.Sort(f)
	m := rounds / 2
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(s[m], "plain-ns")
	b.ReportMetric(f[m], "zones-ns")
	b.ReportMetric(s[m]/f[m], "times")
}

var sinkhole float64

func benchOutline(kind string, n int) [][]XY {
	r := rng(uint64(n))
	hole := max(3, n/4)
	if kind == "smooth" {
		outer, in := smooth(r, 500, n-hole), smooth(r, 150, hole)
		return [][]XY{outer, in}
	}
	return [][]XY{star(r, 0, 0, 200, 500, n-hole), star(r, 0, 0, 20, 100, hole)}
}

func coldPoints(r *rand.Rand, n int, radius float64) []XY {
	out := make([]XY, n)
	for i := range out {
		out[i] = XY{radius * (2*r.Float64() - 1), radius * (2*r.Float64() - 1)}
	}
	return out
}

// BenchmarkSigned: signed distance to one polygon, random points.
func BenchmarkSigned(b *testing.B) {
	for _, c := range []struct {
		kind string
		n    int
	}{{"spiky", 8}, {"spiky", 64}, {"spiky", 1024}, {"spiky", 16384}, {"smooth", 64}, {"smooth", 1024}, {"smooth", 16384}} {
		b.Run(fmt.Sprintf("%s/%d", c.kind, c.n), func(b *testing.B) {
			rings := benchOutline(c.kind, c.n)
			p, a := newPlain(rings), newArea(newPolygon(rings), 0)
			withPlat(a)
			run := func(name string, pts []XY) {
				b.Run(name, func(b *testing.B) {
					for _, v := range pts { // the two must agree, or the race means nothing
						if d, _ := a.signed(v.X, v.Y); !near0(d, p.signed(v.X, v.Y), 1e-9) {
							b.Fatalf("%v: %g, plain %g", v, d, p.signed(v.X, v.Y))
						}
					}
					race(b, len(pts), func() {
						for _, v := range pts {
							sinkhole += p.signed(v.X, v.Y)
						}
					}, func() {
						for _, v := range pts {
							d, _ := a.signed(v.X, v.Y)
							sinkhole += d
						}
					})
				})
			}
			run("cold", coldPoints(rng(1), max(4096, min(1<<16, 1<<20/c.n)), 500))
			run("trajectory", trajectory(b))
		})
	}
}

// BenchmarkDisc: a disc at rest through the public call, random points.
func BenchmarkDisc(b *testing.B) {
	for _, n := range []int{8, 64, 1024} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			rings := benchOutline("spiky", n)
			s, p := mustNew(b, zoneOf(rings)), newPlain(rings)
			pts := coldPoints(rng(1), max(256, min(1<<16, 1<<20/n)), 500)
			race(b, len(pts), func() {
				for _, v := range pts {
					sinkhole += p.signed(v.X, v.Y)
				}
			}, func() {
				for _, v := range pts {
					h := s.Clearance(&Sweep{From: XYZ{v.X, v.Y, 0}, To: XYZ{v.X, v.Y, 0}, Radius: 0.3})
					sinkhole += h.Clearance
				}
			})
		})
	}
}

// BenchmarkCapsule: a capsule of 2 m against the disc at its start, which is
// "plain" here: in one polygon, while it stays inside and where it is outside
// or leaves, and among the hundred zones.
func BenchmarkCapsule(b *testing.B) {
	for _, n := range []int{8, 64, 1024} {
		s := mustNew(b, zoneOf(benchOutline("spiky", n)))
		var in, out []Sweep
		for _, v := range coldPoints(rng(1), 1<<14, 500) {
			if w := capsule(v); s.Clearance(&w).Clearance > 0 {
				in = append(in, w)
			} else {
				out = append(out, w)
			}
		}
		b.Run(fmt.Sprintf("inside/%d", n), func(b *testing.B) { raceCapsules(b, s, in) })
		b.Run(fmt.Sprintf("not/%d", n), func(b *testing.B) { raceCapsules(b, s, out) })
	}
	shapes, _, _, _ := hundred()
	s := mustNew(b, shapes...)
	for name, pts := range map[string][]XY{"cold": coldPoints(rng(1), 2048, 500), "trajectory": trajectory(b)} {
		var all []Sweep
		for _, v := range pts {
			all = append(all, capsule(v))
		}
		b.Run("hundred/"+name, func(b *testing.B) { raceCapsules(b, s, all) })
	}
}

func capsule(v XY) Sweep {
	return Sweep{From: XYZ{v.X, v.Y, 0}, To: XYZ{v.X + 2, v.Y + 0.5, 0}, Radius: 0.3, Grow: 0.2}
}

func raceCapsules(b *testing.B, s *Set, list []Sweep) {
	discs := slices.Clone(list)
	for i := range discs {
		discs[i].To, discs[i].Grow = discs[i].From, 0
	}
	ask := func(list []Sweep) func() {
		return func() {
			for i := range list {
				h := s.Clearance(&list[i])
				sinkhole += h.Clearance
			}
		}
	}
	race(b, len(list), ask(discs), ask(list))
}

// hundred is 100 keep-outs of 64 + 16 vertices on a field of 1 km.
func hundred() ([]Shape, []*plain, []XY, []XY) {
	r := rng(3)
	shapes := []Shape{box("field", KeepIn, -600, -600, 600, 600, -1e4, 1e4)}
	var plains []*plain
	var lo, hi []XY
	for i := range 100 {
		x, y := float64(i%10)*100-450, float64(i/10)*100-450
		rings := [][]XY{star(r, x, y, 25, 48, 64), star(r, x, y, 5, 15, 16)}
		shapes = append(shapes, Shape{Name: fmt.Sprint(i), Kind: KeepOut, Floor: -1e3, Ceiling: 1e3, Rings: rings})
		plains = append(plains, newPlain(rings))
		q := newPolygon(rings)
		lo, hi = append(lo, q.lo), append(hi, q.hi)
	}
	return shapes, plains, lo, hi
}

// BenchmarkHundred: which of 100 zones contain the point, and the nearest edge
// over all of them. Plain is the scan with box pruning.
func BenchmarkHundred(b *testing.B) {
	shapes, plains, lo, hi := hundred()
	s := mustNew(b, shapes...)
	pruned := func(x, y float64) float64 {
		least := math.Inf(1)
		for i, p := range plains {
			dx := max(0, lo[i].X-x, x-hi[i].X)
			dy := max(0, lo[i].Y-y, y-hi[i].Y)
			if dx == 0 && dy == 0 || dx*dx+dy*dy < least*least || least < 0 && dx*dx+dy*dy == 0 {
				least = min(least, -p.signed(x, y))
			}
		}
		return least
	}
	run := func(b *testing.B, pts []XY, last *Last) {
		for _, v := range pts {
			h := s.Clearance(point(v.X, v.Y, 0))
			if want := pruned(v.X, v.Y); !h.Pen && !near0(h.Clearance, want, 1e-9) {
				b.Fatalf("%v: %g, plain %g", v, h.Clearance, want)
			}
		}
		race(b, len(pts), func() {
			for _, v := range pts {
				sinkhole += pruned(v.X, v.Y)
			}
		}, func() { askPoints(s, pts, last) })
	}
	b.Run("cold", func(b *testing.B) { run(b, coldPoints(rng(1), 2048, 500), nil) })
	b.Run("trajectory", func(b *testing.B) { run(b, trajectory(b), nil) })
	b.Run("trajectory-last", func(b *testing.B) { run(b, trajectory(b), &Last{}) })
}

// askPoints asks one after the other, with what was remembered if last is given.
func askPoints(s *Set, pts []XY, last *Last) {
	w := Sweep{}
	for _, v := range pts {
		w.From = XYZ{v.X, v.Y, 0}
		w.To = w.From
		h := s.ClearanceAfter(&w, last)
		sinkhole += h.Clearance
	}
}

// trajectory is a recorded way, stretched over the field of hundred.
func trajectory(b *testing.B) []XY {
	_, poses := readRecording(b, "handheld_room")
	pts := make([]XY, 0, len(poses))
	for _, p := range poses[:4096] {
		pts = append(pts, XY{p.x * 200, p.y * 200})
	}
	return pts
}

// withPlat adds the plat, as New does.
func withPlat(a *area) {
	left := platTotal
	a.layPlat(&left)
}
