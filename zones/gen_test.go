package zones

import (
	"math"
	"math/rand/v2"
	"os"
	"strconv"
)

// Random outlines for the tests, all from one seed.

func rng(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0x70696e66)) }

// caseCount is n, or what PINFOLD_ORACLE says.
func caseCount(n int) int {
	if v, err := strconv.Atoi(os.Getenv("PINFOLD_ORACLE")); err == nil && v > 0 {
		return v
	}
	return n
}

// star is an outline that goes once round (x, y), its radius between lo and hi.
func star(r *rand.Rand, x, y, lo, hi float64, n int) []XY {
	out := make([]XY, n)
	for i := range out {
		a := 2 * math.Pi * (float64(i) + 0.8*r.Float64()) / float64(n)
		d := lo + (hi-lo)*r.Float64()
		out[i] = XY{x + d*math.Cos(a), y + d*math.Sin(a)}
	}
	return out
}

// smooth is an outline of n corners whose radius changes slowly.
func smooth(r *rand.Rand, radius float64, n int) []XY {
	out := make([]XY, n)
	p, q := r.Float64()*6, r.Float64()*6
	for i := range out {
		a := 2 * math.Pi * float64(i) / float64(n)
		d := radius * (0.75 + 0.15*math.Sin(3*a+p) + 0.1*math.Sin(7*a+q))
		out[i] = XY{d * math.Cos(a), d * math.Sin(a)}
	}
	return out
}

// lattice is a random outline on whole numbers, often not valid.
func lattice(r *rand.Rand, size, n int) []XY {
	out := make([]XY, n)
	for i := range out {
		out[i] = XY{float64(r.IntN(size)), float64(r.IntN(size))}
	}
	return out
}

// rightAngled is an outline of axis-parallel edges on whole numbers: a
// staircase up and another down, touching much.
func rightAngled(r *rand.Rand, x, y int) []XY {
	w, h := 2+r.IntN(6), 2+r.IntN(6)
	cx, cy := 1+r.IntN(w-1), 1+r.IntN(h-1)
	f := func(a, b int) XY { return XY{float64(x + a), float64(y + b)} }
	if r.IntN(3) == 0 {
		return []XY{f(0, 0), f(w, 0), f(w, h), f(0, h)}
	}
	return []XY{f(0, 0), f(w, 0), f(w, cy), f(cx, cy), f(cx, h), f(0, h)}
}

// outlines are the polygons the containment oracles run on; kind picks one.
func outlines(r *rand.Rand, kind int) [][]XY {
	switch kind % 8 {
	case 0: // spiky, with a hole
		return [][]XY{star(r, 0, 0, 2, 10, 5+r.IntN(40)), star(r, 0, 0, 0.2, 1.2, 3+r.IntN(10))}
	case 1: // many corners, many holes
		rings := [][]XY{star(r, 0, 0, 8, 10, 60+r.IntN(200))}
		for i := range 5 {
			a := float64(i) * 2 * math.Pi / 5
			rings = append(rings, star(r, 4*math.Cos(a), 4*math.Sin(a), 0.3, 2, 3+r.IntN(20)))
		}
		return rings
	case 2: // huge coordinates
		return [][]XY{star(r, 9e4, -9e4, 10, 900, 5+r.IntN(30))}
	case 3: // tiny
		return [][]XY{star(r, 0, 0, 1e-9, 1e-8, 5+r.IntN(20))}
	case 4: // sliver
		d := math.Exp(-30 * r.Float64())
		return [][]XY{{{0, 0}, {10, 3}, {10 + d, 3 + d}, {5, 1.5 + 2*d}}}
	case 5: // whole numbers
		return [][]XY{lattice(r, 6, 3+r.IntN(6))}
	case 6: // right angles, in tenths, which no float is
		ring := rightAngled(r, -3, -3)
		for i := range ring {
			ring[i].X, ring[i].Y = ring[i].X/10, ring[i].Y/10
		}
		return [][]XY{ring}
	}
	// nearly collinear corners
	ring := rect(0, 0, 10, 10)
	out := []XY{ring[0]}
	for i := 1; i < 10; i++ {
		out = append(out, XY{float64(i), float64(r.IntN(3)-1) * 1e-16})
	}
	return [][]XY{append(out, ring[1:]...)}
}

// spots are points worth asking about: anywhere, on corners, on edges to
// rounding, level with corners, an ulp off.
func spots(r *rand.Rand, rings [][]XY, n int) []XY {
	lo, hi := XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for _, v := range rings[0] {
		lo, hi = XY{min(lo.X, v.X), min(lo.Y, v.Y)}, XY{max(hi.X, v.X), max(hi.Y, v.Y)}
	}
	out := make([]XY, n)
	for i := range out {
		g := rings[r.IntN(len(rings))]
		k := r.IntN(len(g))
		a, b := g[k], g[(k+1)%len(g)]
		any := XY{lo.X + (hi.X-lo.X)*(1.2*r.Float64()-0.1), lo.Y + (hi.Y-lo.Y)*(1.2*r.Float64()-0.1)}
		t := r.Float64()
		switch r.IntN(6) {
		case 0:
			out[i] = a
		case 1:
			out[i] = XY{a.X + t*(b.X-a.X), a.Y + t*(b.Y-a.Y)}
		case 2:
			out[i] = XY{(a.X + b.X) / 2, (a.Y + b.Y) / 2}
			if r.IntN(2) == 0 {
				out[i].X = math.Nextafter(out[i].X, hi.X+1)
			} else {
				out[i].Y = math.Nextafter(out[i].Y, lo.Y-1)
			}
		case 3:
			out[i] = XY{any.X, a.Y}
		default:
			out[i] = any
		}
	}
	return out
}
