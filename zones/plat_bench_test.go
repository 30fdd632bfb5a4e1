package zones

import (
	"fmt"
	"testing"
)

// BenchmarkPlats: what of the time of New, which is "plain" here, goes into
// plats, and the bytes that they take for each wall.
func BenchmarkPlats(b *testing.B) {
	shapes, _, _, _ := hundred()
	run := func(name string, shapes []Shape) {
		b.Run(name, func(b *testing.B) {
			s := mustNew(b, shapes...)
			var areas []*area
			for i := range s.pens {
				areas = append(areas, s.pens[i].slabs[0].area)
			}
			for i := range s.outs {
				areas = append(areas, s.outs[i].area)
			}
			walls, bytes := 0, 0
			for _, a := range areas {
				if walls += len(a.walls); a.plat != nil {
					bytes += 8*len(a.plat.squares) + 4*len(a.plat.list)
				}
			}
			race(b, 1, func() { mustNew(b, shapes...) }, func() {
				for _, a := range areas {
					a.plat = nil
				}
				s.layPlats()
			})
			b.ReportMetric(float64(bytes)/float64(walls), "bytes/wall")
		})
	}
	run("hundred", shapes)
	for _, kind := range []string{"spiky", "smooth"} {
		for _, n := range []int{1024, MaxVertices} {
			run(fmt.Sprintf("%s/%d", kind, n), []Shape{zoneOf(benchOutline(kind, n))})
		}
	}
}
