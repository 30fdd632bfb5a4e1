package zones

import (
	"math"
	"testing"
)

// The index changes nothing: with and without it every hit is the same, bit
// for bit.
func TestIndexChangesNothing(t *testing.T) {
	r := rng(8)
	for round := range 24 {
		rings := outlines(r, round%2)
		rings[0] = star(r, 0, 0, 8, 12, 20+r.IntN([]int{60, 480, 2000}[round%3]))
		if round%5 == 0 {
			rings = [][]XY{smooth(r, 10, 1000)}
		}
		s, plain := mustNew(t, zoneOf(rings)), mustNew(t, zoneOf(rings))
		a := plain.pens[0].slabs[0].area
		if a.index == nil {
			t.Fatal("no index to check")
		}
		a.index, a.parts[0].index = nil, nil
		if (s.pens[0].slabs[0].area.plat != nil) != true {
			t.Fatalf("%d walls, plat %v", len(a.walls), s.pens[0].slabs[0].area.plat != nil)
		}
		a.plat = nil
		all := spots(r, rings, 200)
		for range 100 { // all around, on the plat's margin and off it
			all = append(all, XY{60 * (r.Float64() - 0.5), 60 * (r.Float64() - 0.5)})
		}
		for _, p := range all {
			w := point(p.X, p.Y, 0)
			if got, want := s.Clearance(w), plain.Clearance(w); got != want {
				t.Fatalf("%v: %+v with index, %+v without", p, got, want)
			}
			if got, want := s.pens[0].slabs[0].area.locate(p.X, p.Y), a.locate(p.X, p.Y); got != want {
				t.Fatalf("%v: locate %d with index, %d without", p, got, want)
			}
			l := math.Pow(10, 1-4*r.Float64())
			v := Sweep{From: w.From, To: XYZ{p.X + l*r.NormFloat64(), p.Y + l*r.NormFloat64(), 0}, Radius: l * r.Float64(), Grow: l * r.Float64()}
			if got, want := s.Clearance(&v), plain.Clearance(&v); got != want {
				t.Fatalf("%+v: %+v with index, %+v without", v, got, want)
			}
		}
	}
}

// The fast way to tell the side, by the nearest wall, agrees with the long way.
func TestSideByNearestWall(t *testing.T) {
	r := rng(9)
	for kind := range 400 {
		s, err := New([]Shape{zoneOf(outlines(r, kind))})
		if err != nil {
			continue
		}
		a := s.pens[0].slabs[0].area
		for _, p := range spots(r, s.Shapes()[0].Rings, 50) {
			d, _ := a.signed(p.X, p.Y)
			if signOf(d) != a.locate(p.X, p.Y) {
				t.Fatalf("%v: %g, locate %d", p, d, a.locate(p.X, p.Y))
			}
		}
	}
}

// A corner asked from every direction, convex and reflex, wound either way.
func TestCorner(t *testing.T) {
	for i := range 24 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 12)
		for _, ring := range [][]XY{{{0, 0}, {5, 0}, {9 * cos, 9 * sin}}, {{0, 0}, {-9, -9}, {9, -9}, {9, 9}, {-9, 9}, {-9, 8}}} {
			s, err := New([]Shape{zoneOf([][]XY{ring})})
			if err != nil {
				continue
			}
			for j := range 72 {
				y, x := math.Sincos(float64(j) * math.Pi / 36)
				want := ratLocate([][]XY{ring}, x, y)
				if got := signOf(s.Clearance(point(x, y, 0)).Clearance); got != want {
					t.Fatalf("%v at (%g, %g): %d, want %d", ring, x, y, got, want)
				}
			}
		}
	}
}

// The m least come to the front, whatever the order and however many are alike.
func TestPartMovesTheLeastToTheFront(t *testing.T) {
	r := rng(31)
	for round := range 400 {
		n := 1 + r.IntN(200)
		in := make([]keyed, n)
		for i := range in {
			in[i] = keyed{float64(r.IntN(1 + round%50)), int32(i)}
			switch round % 4 {
			case 1:
				in[i].key = float64(i)
			case 2:
				in[i].key = float64(-i)
			}
		}
		m := r.IntN(n + 1)
		part(in, m)
		seen := make([]bool, n)
		for i, k := range in {
			seen[k.i] = true
			if i < m {
				for _, o := range in[m:] {
					if o.less(k) {
						t.Fatalf("round %d: %v is in front of %v", round, k, o)
					}
				}
			}
		}
		for i, ok := range seen {
			if !ok {
				t.Fatalf("round %d: %d is lost", round, i)
			}
		}
	}
}

// What is off a map is not taken for what is on it: half a square before it, at
// its end, and so far off that a number of squares does not fit in 32 bits.
func TestPlatEnds(t *testing.T) {
	p := mustNew(t, zoneOf([][]XY{rect(0, 0, 0.001, 0.001)})).pens[0].slabs[0].area.plat
	at := func(k float64) float64 { return k / p.scale }
	x, y := p.x+at(0.5), p.y+at(0.5)
	if _, ok := p.holds(&query{x0: x, y0: y, x1: x, y1: y}); !ok {
		t.Fatal("the first square is not on the map")
	}
	for _, k := range []float64{-1, p.side, 1 << 32, -1 << 32} {
		for _, off := range []XY{{at(k), 0}, {0, at(k)}} {
			if _, ok := p.find(x+off.X, y+off.Y); ok {
				t.Errorf("%g squares off, %v: on the map", k, off)
			}
			for _, q := range []query{{x0: x, y0: y, x1: x + off.X, y1: y + off.Y}, {x0: x + off.X, y0: y + off.Y, x1: x, y1: y}} {
				if _, ok := p.holds(&q); ok {
					t.Errorf("a way from or to %g squares off, %v: all in one square", k, off)
				}
			}
		}
	}
}

// In the middle of a circle no wall can be left out: the map says so.
func TestPlatCrowded(t *testing.T) {
	ring := make([]XY, 1000)
	for i := range ring {
		sin, cos := math.Sincos(float64(i) * math.Pi / 500)
		ring[i] = XY{10 * cos, 10 * sin}
	}
	s, plain := mustNew(t, zoneOf([][]XY{ring})), mustNew(t, zoneOf([][]XY{ring}))
	p := s.pens[0].slabs[0].area.plat
	plain.pens[0].slabs[0].area.plat = nil
	r, crowds := rng(64), 0
	for range 2000 {
		x, y, l := 0.2*r.NormFloat64(), 0.2*r.NormFloat64(), 0.1*r.NormFloat64()
		if sq, ok := p.find(x, y); ok && sq.is == crowded {
			crowds++
		}
		for _, w := range []Sweep{*point(x, y, 0), {From: XYZ{x, y, 0}, To: XYZ{x + l, y, 0}, Radius: 1}} {
			if got, want := s.Clearance(&w), plain.Clearance(&w); !sameBits(got, want) {
				t.Fatalf("%+v: %+v with a map, %+v without", w, got, want)
			}
		}
	}
	if crowds < 200 {
		t.Errorf("%d crowded squares of 2000", crowds)
	}
}

// The short way for few walls finds what adding them one by one finds.
func TestFewIsAdd(t *testing.T) {
	r := rng(65)
	for range 4000 {
		walls := make([]seg, 2+r.IntN(fewMost-1))
		list := make([]int32, len(walls))
		var a, b near
		a.reset(math.Inf(1))
		b.reset(math.Inf(1))
		at := func() float64 { return float64(r.IntN(4)) }
		x, y := at(), at()
		for i := range walls {
			walls[i], list[i] = newSeg(at(), at(), at(), at()), int32(i)
			a.add(walls[i].dist2(x, y), int32(i))
		}
		if b.few(walls, list, x, y); a != b {
			t.Fatalf("(%g, %g) of %v: %+v, one by one %+v", x, y, walls, b, a)
		}
	}
}
