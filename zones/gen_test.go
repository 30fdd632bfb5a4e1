package zones

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"strconv"
	"sync"
	"testing"
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

// outlineKinds names the kinds of outlines.
var outlineKinds = [...]string{"spiky, a hole", "many holes", "huge coordinates", "tiny coordinates", "thin sliver", "whole numbers",
	"right angles in tenths", "nearly collinear corners", "nested holes", "hole in a hole"}

// outlines are the polygons the containment oracles run on; kind picks one.
func outlines(r *rand.Rand, kind int) [][]XY {
	switch kind % len(outlineKinds) {
	case 0:
		return [][]XY{star(r, 0, 0, 2, 10, 5+r.IntN(40)), star(r, 0, 0, 0.2, 1.2, 3+r.IntN(10))}
	case 1:
		rings := [][]XY{star(r, 0, 0, 8, 10, 60+r.IntN(200))}
		for i := range 5 {
			a := float64(i) * 2 * math.Pi / 5
			rings = append(rings, star(r, 4*math.Cos(a), 4*math.Sin(a), 0.3, 2, 3+r.IntN(20)))
		}
		return rings
	case 2:
		return [][]XY{star(r, 9e4, -9e4, 10, 900, 5+r.IntN(30))}
	case 3:
		return [][]XY{star(r, 0, 0, 1e-9, 1e-8, 5+r.IntN(20))}
	case 4:
		d := math.Exp(-30 * r.Float64())
		return [][]XY{{{0, 0}, {10, 3}, {10 + d, 3 + d}, {5, 1.5 + 2*d}}}
	case 5:
		return [][]XY{lattice(r, 6, 3+r.IntN(6))}
	case 6: // tenths, which no float is
		ring := rightAngled(r, -3, -3)
		for i := range ring {
			ring[i].X, ring[i].Y = ring[i].X/10, ring[i].Y/10
		}
		return [][]XY{ring}
	case 7:
		ring := rect(0, 0, 10, 10)
		out := []XY{ring[0]}
		for i := 1; i < 10; i++ {
			out = append(out, XY{float64(i), float64(r.IntN(3)-1) * 1e-16})
		}
		return [][]XY{append(out, ring[1:]...)}
	case 8:
		return nested(r)
	}
	return [][]XY{rect(0, 0, 10, 10), rect(1, 1, 8, 8), star(r, 4, 4, 0.5, 2.5, 3+r.IntN(9))}
}

// nested is an outline that a hole fills but for a thin rim, or one with holes
// one in the bay of the other, that touch each other and the outline in points.
func nested(r *rand.Rand) [][]XY {
	if r.IntN(2) == 0 {
		out := star(r, 0, 0, 6, 10, 5+r.IntN(30))
		d := 1 - math.Exp(-20*r.Float64())/2
		return [][]XY{out, mapRings([][]XY{out}, func(p XY) XY { return XY{d * p.X, d * p.Y} })[0]}
	}
	k := float64(1 + r.IntN(3))
	bay := []XY{{2, 2}, {14, 2}, {14, 14}, {12, 14}, {12, 4}, {4, 4}, {4, 14}, {2, 14}}
	in := []XY{{5, 5}, {11, 5}, {11, 12}, {10, 12}, {10, 6}, {6, 6}, {6, 12}, {5, 12}}
	tip := []XY{{8, 6}, {9, 10}, {8, 10 + k}, {7, 10}} // stands on the inner bay's floor
	return [][]XY{{{0, 0}, {16, 0}, {16, 16}, {8, 10 + k}, {0, 16}}, bay, in, tip}[:2+r.IntN(3)]
}

// spotKinds names the kinds of spots.
var spotKinds = [...]string{"on a corner", "on an edge to rounding", "in the middle of an edge", "an ulp off an edge", "level with a corner",
	"in line with an edge", "anywhere"}

// spot is a point worth asking about, and of which kind.
func spot(r *rand.Rand, rings [][]XY, lo, hi XY) (XY, int) {
	g := rings[r.IntN(len(rings))]
	k := r.IntN(len(g))
	a, b := g[k], g[(k+1)%len(g)]
	any := XY{lo.X + (hi.X-lo.X)*(1.2*r.Float64()-0.1), lo.Y + (hi.Y-lo.Y)*(1.2*r.Float64()-0.1)}
	t := r.Float64()
	kind := r.IntN(len(spotKinds))
	switch kind {
	case 0:
		return a, kind
	case 1:
		return XY{a.X + t*(b.X-a.X), a.Y + t*(b.Y-a.Y)}, kind
	case 2:
		return XY{(a.X + b.X) / 2, (a.Y + b.Y) / 2}, kind
	case 3:
		p := XY{(a.X + b.X) / 2, (a.Y + b.Y) / 2}
		if r.IntN(2) == 0 {
			p.X = math.Nextafter(p.X, hi.X+1)
		} else {
			p.Y = math.Nextafter(p.Y, lo.Y-1)
		}
		return p, kind
	case 4:
		return XY{any.X, a.Y}, kind
	case 5: // beyond the end, by the whole edge or by some
		if r.IntN(2) == 0 {
			t = 1
		}
		return XY{b.X + t*(b.X-a.X), b.Y + t*(b.Y-a.Y)}, kind
	}
	return any, kind
}

// spots are n points worth asking about.
func spots(r *rand.Rand, rings [][]XY, n int) []XY {
	lo, hi := boxOf(rings)
	out := make([]XY, n)
	for i := range out {
		out[i], _ = spot(r, rings, lo, hi)
	}
	return out
}

func boxOf(rings [][]XY) (lo, hi XY) {
	lo, hi = XY{math.Inf(1), math.Inf(1)}, XY{math.Inf(-1), math.Inf(-1)}
	for _, v := range rings[0] {
		lo, hi = XY{min(lo.X, v.X), min(lo.Y, v.Y)}, XY{max(hi.X, v.X), max(hi.Y, v.Y)}
	}
	return lo, hi
}

// tally counts the cases of each kind that were met.
type tally map[string]int

// enough fails the test where a kind of outline, valid or refused as it must
// be, or of spot came up in less than one of 300 cases.
func (c tally) enough(t *testing.T, cases int) {
	t.Helper()
	for k, name := range outlineKinds {
		if k != len(outlineKinds)-1 && c[name] < cases/300 {
			t.Errorf("only %d of %d cases on outlines of the kind %q", c[name], cases, name)
		}
	}
	for _, name := range spotKinds {
		if c[name] < cases/300 {
			t.Errorf("only %d of %d cases %s", c[name], cases, name)
		}
	}
	if c["on the boundary"] < cases/100 || c["refused"] == 0 || c["refused: hole in a hole"] == 0 {
		t.Errorf("the cases are too tame: %v", c)
	}
}

// inShards runs want cases in as many subtests at once as there are processors,
// each with numbers of its own, and adds up what they count. The cases depend
// on the number of shards, which is therefore fixed.
func inShards(t *testing.T, seed uint64, want int, run func(t *testing.T, r *rand.Rand, want int, c tally)) tally {
	t.Helper()
	const shards = 8
	sum := tally{}
	var mu sync.Mutex
	t.Run("all", func(t *testing.T) {
		for k := range shards {
			t.Run(fmt.Sprint(k), func(t *testing.T) {
				t.Parallel()
				c := tally{}
				run(t, rng(seed<<32+uint64(k)), (want+shards-1)/shards, c)
				mu.Lock()
				defer mu.Unlock()
				for name, n := range c {
					sum[name] += n
				}
			})
		}
	})
	t.Logf("%d cases on %d processors: %v", sum["cases"], runtime.GOMAXPROCS(0), sum)
	if !t.Failed() && sum["cases"] < want {
		t.Errorf("%d cases, %d were asked for", sum["cases"], want)
	}
	return sum
}
