//go:build geos

package zones

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/twpayne/go-geos"
)

// Against GEOS, by way of github.com/twpayne/go-geos v0.20.4, the newest that
// builds with Debian 12's GEOS 3.11.1 (packages gcc and libgeos-dev):
//
//	PINFOLD_ORACLE=1000000 go test -tags geos -timeout 60m -run Geos ./zones
//	go test -tags geos -run '^$' -bench Geos ./zones
//
// What of GEOS 3.11 is kept away from, since it answers wrongly or ends the
// process: numbers that are not finite, ContainsXY of prepared geometries, and
// Covers of a segment of no length.

func geosPolygon(c *geos.Context, rings [][]XY) *geos.Geom {
	out := make([][][]float64, len(rings))
	for k, r := range rings {
		for _, v := range r {
			out[k] = append(out[k], []float64{v.X, v.Y})
		}
		out[k] = append(out[k], []float64{r[0].X, r[0].Y})
	}
	return c.NewPolygon(out)
}

// geosLocate is +1 inside, 0 on the boundary, -1 outside.
func geosLocate(g *geos.Geom, p *geos.Geom) int {
	switch {
	case !g.Covers(p):
		return -1
	case g.Touches(p):
		return 0
	}
	return 1
}

// Containment and distance to the boundary, the sign exactly; validity too.
func TestGeosContainmentAndDistance(t *testing.T) {
	want := caseCount(20_000)
	inShards(t, 21, want, func(t *testing.T, r *rand.Rand, want int, c tally) {
		own := geos.NewContext() // one for each, since its calls lock
		eachSpot(t, r, want, c, func(rings [][]XY) (bool, func(*Set, XY) int) {
			g := geosPolygon(own, rings)
			if !g.IsValid() {
				return false, nil
			}
			border, size := g.Boundary(), extent(rings)
			return true, func(s *Set, p XY) int {
				h := s.Clearance(point(p.X, p.Y, 0))
				at := own.NewPointFromXY(p.X, p.Y)
				where, d := geosLocate(g, at), border.Distance(at)
				if where != signOf(h.Clearance) {
					t.Fatalf("%v: clearance %g, GEOS %d, exactly %d: %v", p, h.Clearance, where, ratLocate(rings, p.X, p.Y), rings)
				}
				if math.Abs(math.Abs(h.Clearance)-d) > 1e-14*size+1e-12*d {
					t.Fatalf("%v: clearance %.17g, GEOS %.17g: %v", p, h.Clearance, d, rings)
				}
				return where
			}
		})
	}).enough(t, want)
}

// geosCovers is Covers. GEOS gives up on some lines that pass a corner to
// rounding (TopologyException), which go-geos turns into a panic: not ok.
func geosCovers(g, line *geos.Geom) (covers, ok bool) {
	defer func() { ok = recover() == nil }()
	return g.Covers(line), true
}

// A capsule that is said to be clear by c is so for GEOS: its centre line lies
// in the polygon, and the distance of the boundary from it is c and the radius.
func TestGeosCapsules(t *testing.T) {
	c := inShards(t, 22, caseCount(20_000)/4, func(t *testing.T, r *rand.Rand, want int, c tally) {
		own := geos.NewContext()
		for kind := r.IntN(len(outlineKinds)); c["cases"] < want; kind++ {
			rings := outlines(r, kind)
			s, err := New([]Shape{zoneOf(rings)})
			if err != nil {
				continue
			}
			g := geosPolygon(own, rings)
			border, size := g.Boundary(), extent(rings)
			for _, p := range spots(r, rings, 50) {
				c["cases"]++
				l := size * math.Pow(10, -3*r.Float64())
				w := Sweep{From: XYZ{p.X, p.Y, 0}, To: XYZ{p.X + l*(r.Float64()-0.5), p.Y + l*(r.Float64()-0.5), 0}, Radius: l * r.Float64() / 10}
				line := own.NewLineString([][]float64{{w.From.X, w.From.Y}, {w.To.X, w.To.Y}})
				c[checkCapsule(t, s, rings, size, &w, g, border, line)]++
			}
		}
	})
	if c["inside"] < c["cases"]/20 || c["GEOS gave up"] > c["cases"]/100 {
		t.Error("the cases are too tame")
	}
}

// checkCapsule compares one capsule and says what it was.
func checkCapsule(t *testing.T, s *Set, rings [][]XY, size float64, w *Sweep, g, border, line *geos.Geom) string {
	t.Helper()
	h := s.Clearance(w)
	d := border.Distance(line)
	within, ok := geosCovers(g, line)
	inside := within && d > 1e-13*size // on the line to rounding GEOS may say either
	switch {
	case !ok:
		return "GEOS gave up"
	case h.Clearance > 0 && !within:
		t.Fatalf("%+v: clearance %g, but GEOS says it leaves: %v", *w, h.Clearance, rings)
	case inside && math.Abs(h.Clearance+w.Radius-d) > 1e-14*size+1e-12*d:
		t.Fatalf("%+v: clearance %.17g, GEOS %.17g: %v", *w, h.Clearance, d-w.Radius, rings)
	case inside:
		return "inside"
	}
	return "leaves or touches"
}

// BenchmarkGeosHundred: the query of BenchmarkHundred, by GEOS prepared
// geometries: every zone is asked for containment, or only those whose box
// holds the point, and the boundaries of all together for the nearest point.
func BenchmarkGeosHundred(b *testing.B) {
	shapes, _, lo, hi := hundred()
	s := mustNew(b, shapes...)
	var prepared []*geos.PrepGeom
	var lines []*geos.Geom
	for _, z := range shapes[1:] {
		g := geosPolygon(geos.DefaultContext, z.Rings)
		prepared = append(prepared, g.Prepare())
		for _, r := range z.Rings {
			var c [][]float64
			for i := range len(r) + 1 {
				c = append(c, []float64{r[i%len(r)].X, r[i%len(r)].Y})
			}
			lines = append(lines, geos.NewLineString(c))
		}
	}
	border := geos.NewCollection(geos.TypeIDMultiLineString, lines).Prepare()
	ask := func(x, y float64, prune bool) float64 {
		p := geos.NewPointFromXY(x, y)
		sign := 1.0
		for i, g := range prepared {
			if prune && !(x >= lo[i].X && x <= hi[i].X && y >= lo[i].Y && y <= hi[i].Y) {
				continue
			}
			if g.Covers(p) {
				sign = -1
			}
		}
		c := border.NearestPoints(p)
		return sign * math.Hypot(c.X(0)-x, c.Y(0)-y)
	}
	run := func(b *testing.B, pts []XY, prune bool, last *Last) {
		for _, v := range pts {
			h := s.Clearance(point(v.X, v.Y, 0))
			if want := ask(v.X, v.Y, prune); !h.Pen && !near0(h.Clearance, want, 1e-9) {
				b.Fatalf("%v: %g, GEOS %g", v, h.Clearance, want)
			}
		}
		race(b, len(pts), func() {
			for _, v := range pts {
				sinkhole += ask(v.X, v.Y, prune)
			}
		}, func() { askPoints(s, pts, last) })
	}
	for _, prune := range []bool{false, true} {
		name := map[bool]string{false: "all-asked", true: "boxes-first"}[prune]
		b.Run(name+"/cold", func(b *testing.B) { run(b, coldPoints(rng(1), 2048, 500), prune, nil) })
		b.Run(name+"/trajectory", func(b *testing.B) { run(b, trajectory(b), prune, nil) })
		b.Run(name+"/trajectory-last", func(b *testing.B) { run(b, trajectory(b), prune, &Last{}) })
	}
}
