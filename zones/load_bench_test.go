package zones

import (
	"fmt"
	"testing"
	"time"
)

// What loading costs:
//
//	go test -run '^$' -bench 'New|Usable' -benchtime 1x ./zones
//
// The ratios compare a site with one of a tenth of its size: near 10 the cost
// grows like the size, near 100 like its square.

// spread is n zones of v vertices on a square grid with the given step, m:
// at 10 m each overlaps its neighbours, at 25 m none.
func spread(n, v int, kind Kind, step float64, bands int) []Shape {
	r := rng(9)
	side := 1
	for side*side < n {
		side++
	}
	var out []Shape
	for i := range n {
		x, y := float64(i%side)*step, float64(i/side)*step
		out = append(out, Shape{Name: fmt.Sprint(i), Kind: kind, Floor: -float64(i % bands), Ceiling: 3 + float64(i%bands),
			Rings: [][]XY{star(r, x, y, 5, 10, v)}})
	}
	return out
}

// loads are the sites, by a tenth of their zones or vertices.
var loads = []struct {
	name string
	site func(part int) []Shape // part 10 is the whole, 1 a tenth
}{
	{"one-zone-of-10000", func(part int) []Shape { return spread(1, 1000*part, KeepIn, 25, 1) }},
	{"1000-keep-outs-of-100", func(part int) []Shape { return spread(100*part, 100, KeepOut, 25, 1) }},
	{"1000-keep-ins-of-100-apart", func(part int) []Shape { return spread(100*part, 100, KeepIn, 25, 1) }},
	{"1000-keep-ins-of-100-overlapping", func(part int) []Shape { return spread(100*part, 100, KeepIn, 10, 1) }},
	{"1000-keep-ins-of-100-in-5-bands", func(part int) []Shape { return spread(100*part, 100, KeepIn, 10, 5) }},
	{"all-bounds-100-keep-outs-of-10000", func(part int) []Shape { return spread(10*part, 10_000, KeepOut, 25, 1) }},
	{"all-bounds-1000-keep-ins-of-1000-overlapping", func(part int) []Shape { return spread(100*part, 1000, KeepIn, 10, 1) }},
}

// BenchmarkNew: New of a whole site, and of a tenth of it.
func BenchmarkNew(b *testing.B) {
	for _, l := range loads {
		b.Run(l.name, func(b *testing.B) {
			whole, tenth := l.site(10), l.site(1)
			grown(b, func() { mustNew(b, whole...) }, func() { mustNew(b, tenth...) })
		})
	}
}

// BenchmarkUsable: the room of a body of 0.2 m in the same sites.
func BenchmarkUsable(b *testing.B) {
	for _, l := range loads[2:5] {
		b.Run(l.name, func(b *testing.B) {
			whole, tenth := mustNew(b, l.site(10)...), mustNew(b, l.site(1)...)
			grown(b, func() { sinkhole += whole.Usable(0.2, 0.1, 0.1).Area }, func() { sinkhole += tenth.Usable(0.2, 0.1, 0.1).Area })
		})
	}
}

// grown times both and reports seconds of the whole and how many times that of
// the tenth it is.
func grown(b *testing.B, whole, tenth func()) {
	var w, t float64
	for b.Loop() {
		t += seconds(tenth)
		w += seconds(whole)
	}
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(w/float64(b.N), "s")
	b.ReportMetric(w/t, "times-a-tenth")
}

func seconds(run func()) float64 {
	from := time.Now()
	run()
	return time.Since(from).Seconds()
}
