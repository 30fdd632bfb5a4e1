package rehearse

import "math/rand/v2"

// A case is drawn from numbers, its genes, in an order that its own numbers
// decide. Whatever they are, the drawing keeps what comes of them within what is
// declared; so genes may be changed and mixed at will.

// gene is one number a case was drawn from.
type gene struct {
	u float64 // 0 to 1, and less than 1
	n int64   // it chose one of so many; zero: any number
}

// chapter is a part of the drawing. Each begins anew, so that what is drawn more
// or less in one of them leaves the others as they were.
type chapter uint8

const (
	inTruth  chapter = iota // what holds in the run
	inPlace                 // what is aimed at, by whom, and from where
	inErrors                // how the tracker lies
	chapters
)

// genome is all that a case of a scene was drawn from.
type genome struct {
	genes [chapters][]gene
	noise uint64 // seed of what comes and goes in the run: jitter, lateness, wobble
}

// dice draws, notes what it drew, and draws what is prescribed where anything
// is.
type dice struct {
	rng   *rand.Rand
	given *genome // nil: nothing is prescribed
	made  [chapters][]gene
	at    chapter
}

func newDice(a, b uint64) *dice { return &dice{rng: rand.New(rand.NewPCG(a, b))} }

// begin begins a chapter, or begins it again.
func (d *dice) begin(c chapter) { d.at, d.made[c] = c, d.made[c][:0] }

// bred says whether what is drawn is prescribed.
func (d *dice) bred() bool { return d.given != nil }

// prescribed is the gene that comes next, if there is one.
func (d *dice) prescribed() (u float64, ok bool) {
	if d.given == nil {
		return 0, false
	}
	at, g := len(d.made[d.at]), d.given.genes[d.at]
	if at >= len(g) {
		return 0, false
	}
	return g[at].u, true
}

// Float64 draws evenly from 0 to 1.
func (d *dice) Float64() float64 {
	u, ok := d.prescribed()
	if !ok {
		u = d.rng.Float64()
	}
	d.made[d.at] = append(d.made[d.at], gene{u: u})
	return u
}

// Int64N draws one of n.
func (d *dice) Int64N(n int64) int64 {
	u, ok := d.prescribed()
	var k int64
	if ok {
		k = min(n-1, int64(float64(n)*u))
	} else {
		k = d.rng.Int64N(n)
	}
	d.made[d.at] = append(d.made[d.at], gene{(float64(k) + 0.5) / float64(n), n})
	return k
}

// IntN draws one of n.
func (d *dice) IntN(n int) int { return int(d.Int64N(int64(n))) }
