package rehearse

import (
	"cmp"
	"math"
	"slices"

	"pinfold/sim/judge"
)

// worst is a run that may be bred from.
type worst struct {
	c    *Case
	room float64 // m, beyond what was declared to be left; negative: less was left
}

// PerPlace is how many of the worst runs are kept for every edge and limit.
const PerPlace = 6

// herd is the worst runs so far, for every edge and limit they came to.
type herd struct {
	places []judge.Place
	best   [][]*worst // of each place, the worst first
	turn   int
	kids   map[Line]uint64 // how many children a run has
	pairs  map[Line]bool   // crossings that were made
}

// take keeps a run if it is among the worst of its place. What never came to
// rest says nothing, unless it left.
func (h *herd) take(c *Case, r *Result) {
	at, room, left := r.nearest()
	if !left && !r.Rested || math.IsNaN(room) {
		return
	}
	if at.Edge != limitEdge {
		room -= c.Config.Stopping.Margin
	}
	i := slices.Index(h.places, at)
	if i < 0 {
		i = len(h.places)
		h.places, h.best = append(h.places, at), append(h.best, nil)
	}
	b := append(h.best[i], &worst{c: c, room: room})
	slices.SortStableFunc(b, func(x, y *worst) int { return cmp.Compare(x.room, y.room) })
	h.best[i] = b[:min(len(b), PerPlace)]
}

// order is what a child is to be bred by.
type order struct {
	parent, other *Case
	by            step
}

// orders says what the next n children come of: every second of the worst of
// all, the others of the worst of each place in turn. One in four is a crossing
// with a run that chance found.
func (h *herd) orders(n int) (all []order) {
	front := h.front()
	if len(front) == 0 {
		return nil
	}
	for range n {
		h.turn++
		p := front[h.rank(len(front))]
		if h.turn%2 == 0 {
			b := h.best[h.turn/2%len(h.best)]
			p = b[h.turn/2/len(h.best)%len(b)]
		}
		all = append(all, h.order(p.c))
	}
	return all
}

// order is the next child of a case; of its parent's where its line is long
// enough.
func (h *herd) order(c *Case) order {
	if c.depth >= MaxSteps {
		c = c.parent
	}
	if h.kids == nil {
		h.kids, h.pairs = map[Line]uint64{}, map[Line]bool{}
	}
	h.kids[c.Run()]++
	n := h.kids[c.Run()]
	if other := h.founder(c); n%4 == 0 && other != nil {
		by := step{true, other.founder}
		if l := c.Run().child(by); !h.pairs[l] {
			h.pairs[l] = true
			return order{c, other, by}
		}
	}
	return order{parent: c, by: step{n: n}}
}

// front are the worst of all places together, the worst first; no place has more
// than two in it.
func (h *herd) front() (all []*worst) {
	for _, b := range h.best {
		all = append(all, b[:min(len(b), 2)]...)
	}
	slices.SortStableFunc(all, func(x, y *worst) int { return cmp.Compare(x.room, y.room) })
	return all
}

// rank goes through the front, the worst of it more often.
func (h *herd) rank(n int) int {
	k := h.turn / 2 % 6
	return min(n-1, k*k/6) // 0 0 0 1 2 4
}

// founder is a run of chance to cross a case with; nil where there is none but
// its own.
func (h *herd) founder(c *Case) *Case {
	for i := range h.best {
		b := h.best[(h.turn+i)%len(h.best)]
		for k := range b {
			if o := b[(h.turn+k)%len(b)].c; !o.Run().Bred() && o.founder != c.founder {
				return o
			}
		}
	}
	return nil
}
