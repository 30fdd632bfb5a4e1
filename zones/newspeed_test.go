package zones

import (
	"fmt"
	"testing"
)

// BenchmarkNew: checking and building, per site.
func BenchmarkNew(b *testing.B) {
	h, _, _, _ := hundred()
	sites := []struct {
		name   string
		shapes []Shape
	}{{"hundred", h}}
	for _, kind := range []string{"spiky", "smooth"} {
		for _, n := range []int{64, 1024, 10000} {
			sites = append(sites, struct {
				name   string
				shapes []Shape
			}{fmt.Sprintf("%s/%d", kind, n), []Shape{zoneOf(benchOutline(kind, n))}})
		}
	}
	for _, s := range sites {
		b.Run(s.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				mustNew(b, s.shapes...)
			}
		})
	}
	for _, kind := range []string{"spiky", "smooth"} {
		b.Run("area/"+kind+"/16384", func(b *testing.B) {
			rings := benchOutline(kind, 16384)
			b.ReportAllocs()
			for b.Loop() {
				a := newArea(newPolygon(rings), 0)
				withPlat(a)
			}
		})
	}
}
