package rehearse

import (
	"fmt"
	"math/rand/v2"
)

// breeder is a source whose cases can be bred.
type breeder interface {
	Source
	// stage is the scene of a seed, and what is broken in it.
	stage(seed uint64) (s *scene, b *Break, peace bool, err error)
}

// tries is how often a child's genes are changed anew, ever less, until it finds
// a place to start from.
const tries = 6

// childOf breeds the child of a case that step says; other is what it is
// crossed with. Nil where none of its tries found a place to start from.
func childOf(src breeder, parent, other *Case, s step) (*Case, error) {
	scene, b, peace, err := src.stage(parent.founder)
	if err != nil {
		return nil, err
	}
	line := parent.Run().child(s)
	h := newHash()
	h.bytes([]byte(line))
	for k := range uint64(tries) {
		rng := rand.New(rand.NewPCG(h.sum, 0x6368696c64<<8|k))
		var g genome
		if s.cross {
			g = crossed(rng, &parent.genes, &other.genes)
		} else {
			g = changed(rng, &parent.genes, int(k))
		}
		d := newDice(h.sum, 0x67656e65<<8|k) // for what it draws beyond its genes
		d.given = &g
		if c := scene.drawBy(d, parent.founder, b, peace); c != nil {
			c.Seed, c.genes.noise, c.line = g.noise, g.noise, line
			c.parent, c.depth = parent, parent.depth+1
			return c, nil
		}
	}
	return nil, nil
}

// sizes are how far a number may be moved, in shares of its span: from nearly
// anywhere to the fine adjustment that a last millimetre takes.
func sizes() [7]float64 { return [...]float64{0.5, 0.2, 0.1, 0.04, 0.01, 0.003, 0.001} }

// few is the number of choices up to which they have no order: one is drawn anew
// or left.
const few = 16

// changed is a genome with some of its numbers moved. The further try, the
// smaller the change.
func changed(rng *rand.Rand, of *genome, try int) genome {
	all := sizes()
	size := all[min(len(all)-1, rng.IntN(len(all))+try/2)]
	often := [...]int{2, 5, 10, 20}[rng.IntN(4)] // one number in so many
	g := genome{noise: of.noise}
	some := false
	for !some {
		for c := range of.genes {
			g.genes[c] = append(g.genes[c][:0], of.genes[c]...)
			for i := range g.genes[c] {
				if rng.IntN(often) > 0 {
					continue
				}
				some = moved(rng, &g.genes[c][i], size) || some
			}
		}
		if rng.IntN(4) == 0 {
			g.noise, some = rng.Uint64(), true
		}
	}
	return g
}

// moved moves a gene; false where it was left.
func moved(rng *rand.Rand, g *gene, size float64) bool {
	if g.n > 0 && g.n <= few {
		if rng.IntN(4) > 0 {
			return false
		}
		g.u = rng.Float64()
		return true
	}
	// The sum of two even draws is more often small than large.
	g.u += float64(size * (rng.Float64() + rng.Float64() - 1))
	if g.u < 0 {
		g.u = -g.u
	}
	if g.u >= 1 {
		g.u = max(0, 2-g.u-0x1p-52)
	}
	return true
}

// crossed takes of every chapter either the one's or the other's, or the
// beginning of the one's and the end of the other's.
func crossed(rng *rand.Rand, a, b *genome) (g genome) {
	g.noise = a.noise
	if rng.IntN(2) == 0 {
		g.noise = b.noise
	}
	for c := range a.genes {
		one, two := a.genes[c], b.genes[c]
		if rng.IntN(2) == 0 {
			one, two = two, one
		}
		cut := max(len(one), len(two))
		if rng.IntN(2) == 0 && cut > 0 {
			cut = rng.IntN(cut)
		}
		g.genes[c] = append(g.genes[c], one[:min(cut, len(one))]...)
		if cut < len(two) {
			g.genes[c] = append(g.genes[c], two[cut:]...)
		}
	}
	return g
}

// Run is what the case is told by.
func (c *Case) Run() Line {
	if c.line == "" {
		return lineOf(c.founder)
	}
	return c.line
}

// RunLine makes the run of a line again, from its seed on.
func RunLine(src Source, l Line, opt Options) (res Result, c *Case, err error) {
	seed, all, err := l.steps()
	if err != nil {
		return res, nil, fmt.Errorf("rehearse: %w", err)
	}
	if len(all) == 0 {
		return RunSeed(src, seed, opt)
	}
	from, ok := src.(breeder)
	if !ok {
		return res, nil, fmt.Errorf("rehearse: run %s: nothing is bred of these cases", l)
	}
	if c, err = founderOf(src, seed); err != nil {
		return res, nil, err
	}
	for _, s := range all {
		var other *Case
		if s.cross {
			if other, err = founderOf(src, s.n); err != nil {
				return res, nil, err
			}
		}
		if c, err = childOf(from, c, other, s); err != nil {
			return res, nil, err
		}
		if c == nil {
			return res, nil, fmt.Errorf("rehearse: run %s found no place to start from: it was never made", l)
		}
	}
	res, err = Run(c, opt)
	return res, c, err
}

// founderOf is the case of a seed that was granted its start.
func founderOf(src Source, seed uint64) (*Case, error) {
	res, c, err := RunSeed(src, seed, Options{})
	if err != nil {
		return nil, err
	}
	if c == nil || !res.Started {
		return nil, fmt.Errorf("rehearse: seed %d found no place to start from: nothing comes of it", seed)
	}
	return c, nil
}
