//go:build geos

package zones

import (
	"math"
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

func geosPolygon(rings [][]XY) *geos.Geom {
	out := make([][][]float64, len(rings))
	for k, r := range rings {
		for _, v := range r {
			out[k] = append(out[k], []float64{v.X, v.Y})
		}
		out[k] = append(out[k], []float64{r[0].X, r[0].Y})
	}
	return geos.NewPolygon(out)
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
	r := rng(21)
	want := caseCount(20_000)
	boundary, refused := 0, 0
	for done, kind := 0, 0; done < want; kind++ {
		rings := outlines(r, kind)
		s, err := New([]Shape{zoneOf(rings)})
		g := geosPolygon(rings)
		if (err == nil) != g.IsValid() {
			t.Fatalf("kind %d: New says %v, GEOS %q: %v", kind%8, err, g.IsValidReason(), rings)
		}
		if err != nil {
			refused++
			continue
		}
		border := g.Boundary()
		for _, p := range spots(r, rings, 40) {
			done++
			h := s.Clearance(point(p.X, p.Y, 0))
			at := geos.NewPointFromXY(p.X, p.Y)
			where, d := geosLocate(g, at), border.Distance(at)
			if where != signOf(h.Clearance) {
				t.Fatalf("%v: clearance %g, GEOS %d, exactly %d: %v", p, h.Clearance, where, ratLocate(rings, p.X, p.Y), rings)
			}
			if where == 0 {
				boundary++
			}
			if math.Abs(math.Abs(h.Clearance)-d) > 1e-14*extent(rings)+1e-12*d {
				t.Fatalf("%v: clearance %.17g, GEOS %.17g: %v", p, h.Clearance, d, rings)
			}
		}
	}
	t.Logf("%d points, %d exactly on a boundary; %d outlines refused by both", want, boundary, refused)
	if boundary < want/100 || refused == 0 {
		t.Error("the cases are too tame")
	}
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
	r := rng(22)
	want := caseCount(20_000)
	clear, gaveUp := 0, 0
	for done, kind := 0, 0; done < want; kind++ {
		rings := outlines(r, kind)
		s, err := New([]Shape{zoneOf(rings)})
		if err != nil {
			continue
		}
		g := geosPolygon(rings)
		border, size := g.Boundary(), extent(rings)
		for _, p := range spots(r, rings, 20) {
			done++
			l := size * math.Pow(10, -3*r.Float64())
			w := Sweep{From: XYZ{p.X, p.Y, 0}, To: XYZ{p.X + l*(r.Float64()-0.5), p.Y + l*(r.Float64()-0.5), 0}, Radius: l * r.Float64() / 10}
			h := s.Clearance(&w)
			line := geos.NewLineString([][]float64{{w.From.X, w.From.Y}, {w.To.X, w.To.Y}})
			d := border.Distance(line)
			within, ok := geosCovers(g, line)
			if !ok {
				gaveUp++
				continue
			}
			inside := within && d > 1e-13*size // on the line to rounding GEOS may say either
			slack := 1e-14*size + 1e-12*d
			switch {
			case h.Clearance > 0 && !within:
				t.Fatalf("%+v: clearance %g, but GEOS says it leaves: %v", w, h.Clearance, rings)
			case inside && math.Abs(h.Clearance+w.Radius-d) > slack:
				t.Fatalf("%+v: clearance %.17g, GEOS %.17g: %v", w, h.Clearance, d-w.Radius, rings)
			case inside:
				clear++
			}
		}
	}
	t.Logf("%d capsules, %d with the centre line inside; GEOS gave up on %d", want, clear, gaveUp)
	if clear < want/10 || gaveUp > want/100 {
		t.Error("the cases are too tame")
	}
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
		g := geosPolygon(z.Rings)
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
	run := func(b *testing.B, pts []XY, prune bool) {
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
		}, func() {
			for _, v := range pts {
				h := s.Clearance(point(v.X, v.Y, 0))
				sinkhole += h.Clearance
			}
		})
	}
	for _, prune := range []bool{false, true} {
		name := map[bool]string{false: "all-asked", true: "boxes-first"}[prune]
		b.Run(name+"/cold", func(b *testing.B) { run(b, coldPoints(rng(1), 2048, 500), prune) })
		b.Run(name+"/trajectory", func(b *testing.B) { run(b, trajectory(b), prune) })
	}
}
