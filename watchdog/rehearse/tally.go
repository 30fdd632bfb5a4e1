package rehearse

import (
	"cmp"
	"slices"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
)

// Source draws cases: Random, or Site. A nil case is a draw that found no place
// to start from.
type Source interface {
	Case(seed uint64, attempt int) (*Case, error)
}

// Attempts bounds how often a seed is drawn until a start is granted.
const Attempts = 24

// RunSeed draws and runs a seed until a start is granted; a result that was not
// Started is a seed for which none was.
func RunSeed(src Source, seed uint64, opt Options) (res Result, c *Case, err error) {
	for attempt := range Attempts {
		if c, err = src.Case(seed, attempt); err != nil {
			return Result{Seed: seed}, nil, err
		}
		if c == nil {
			continue
		}
		if res, err = Run(c, Options{Hash: opt.Hash}); err == nil && res.Started && opt.Trace != nil {
			res, err = Run(c, opt) // tell the one that counts, and none of the others
		}
		if err != nil || res.Started {
			return res, c, err
		}
	}
	res.Seed, res.Run = seed, lineOf(seed)
	return res, c, nil
}

// MaxLeaks is how many leaks are kept by name; all are counted.
const MaxLeaks = 32

// Tally is what came of many runs.
type Tally struct {
	Runs     int
	Void     int // seeds that never got a start
	Bred     int // of Runs
	Barren   int // that were to be bred and never got a start
	First    int // the how manieth run was the first leak; 0 none
	Stops    int
	Rests    int
	Left     int
	Short    int      // runs that rested within the declared margin
	Over     int      // runs that went beyond a limit of height or distance
	Leaks    []Result // the first MaxLeaks of both
	Needless int      // stops that a perfect judge would not have called, of Peeked
	Peeked   int
	Time     time.Duration // simulated
	Edges    map[judge.Place]*EdgeTally
	Rooms    []Rest // of runs that chance drew and that came to rest after a stop for a zone
	Spots    []Spot // where vehicles came to rest, or left; some of them
	Causes   map[string]int
	spots    [3]int // ended well by chance, well and bred, and badly
	Hash     Hashes // of all the runs' hashes, in the order of Add
}

// Rest is where one run came to rest.
type Rest struct {
	Room     float64 // m, left to the edge beyond the declared margin
	Allowed  float64 // m, the declared stopping distance when the stop was called
	Pilot    PilotKind
	Corner   Corner
	Headed   bool // it kept straight at the edge
	Needless bool
}

// Spot is where one run ended.
type Spot struct {
	At   sim.Vec // m, the body's centre
	Room float64 // m, to the nearest edge; negative outside
	Run  Line
	Bad  bool // it left, exceeded a limit, or rests within the margin
}

// MaxSpots is how many of the runs that went well are kept for a picture, by
// chance and bred each, and of those that did not.
const MaxSpots = 1000

// spot keeps where a run ended.
func (t *Tally) spot(r *Result) {
	bad := r.Leaked() || r.Short
	if !r.Rested && !bad {
		return
	}
	n := &t.spots[0]
	switch {
	case bad:
		n = &t.spots[2]
	case r.Run.Bred():
		n = &t.spots[1]
	}
	if *n++; *n > MaxSpots {
		return
	}
	_, room, _ := r.nearest()
	t.Spots = append(t.Spots, Spot{r.At, room, r.Run, bad})
}

// limitEdge stands for the edge of a limit, which is no zone's.
const limitEdge = -3

// EdgeTally is what came of the runs that came nearest to one edge.
type EdgeTally struct {
	Place   judge.Place
	Runs    int
	Closest float64 // m, least room at rest; negative outside
	Run     Line    // that run
	Left    int
	Short   int    // at rest within the margin
	Leaks   []Line // the first MaxEdgeLeaks that left or exceeded
}

// MaxEdgeLeaks is how many leaks of an edge are kept by name.
const MaxEdgeLeaks = 8

// Add takes in one run.
func (t *Tally) Add(r *Result, margin float64) {
	t.Hash.add(r.Hash)
	bred := r.Run.Bred()
	if !r.Started {
		if bred {
			t.Barren++
		} else {
			t.Void++
		}
		return
	}
	t.Runs++
	if bred {
		t.Bred++
	}
	t.Time += r.Length
	t.leak(r)
	t.edge(r)
	t.spot(r)
	if !r.Stopped {
		return
	}
	t.Stops++
	if t.Causes == nil {
		t.Causes = map[string]int{}
	}
	t.Causes[r.Cause]++
	if r.Rested && !r.Left {
		t.Rests++
		if r.Short {
			t.Short++
		}
		if r.Cause == "zone" && !bred { // what was bred to be close says nothing of the price
			t.Rooms = append(t.Rooms, Rest{r.Room - margin, r.Allowed, r.Pilot, r.Corner, r.Headed, r.Needles})
		}
	}
}

// overSlack is what may be lost in rounding, m: at a limit is within it.
const overSlack = 1e-9

// leak counts what must not be.
func (t *Tally) leak(r *Result) {
	if r.Over > overSlack {
		t.Over++
	}
	if r.Left {
		t.Left++
	}
	if r.Leaked() && len(t.Leaks) < MaxLeaks {
		t.Leaks = append(t.Leaks, *r)
	}
	if r.Leaked() && t.First == 0 {
		t.First = t.Runs
	}
}

// add takes in the hashes of one more run.
func (h *Hashes) add(o Hashes) {
	h.Poses = (h.Poses ^ o.Poses) * fnvPrime
	h.Said = (h.Said ^ o.Said) * fnvPrime
	h.Values = (h.Values ^ o.Values) * fnvPrime
	h.Truth = (h.Truth ^ o.Truth) * fnvPrime
}

func (t *Tally) edge(r *Result) {
	if t.Edges == nil {
		t.Edges = map[judge.Place]*EdgeTally{}
	}
	at, room, left := r.nearest()
	e := t.Edges[at]
	if e == nil {
		e = &EdgeTally{Place: at}
		t.Edges[at] = e
	}
	e.Runs++
	if left {
		e.Left++
		if len(e.Leaks) < MaxEdgeLeaks {
			e.Leaks = append(e.Leaks, r.Run)
		}
	} else if r.Short {
		e.Short++
	}
	if e.Runs == 1 || room < e.Closest {
		e.Closest, e.Run = room, r.Run
	}
}

// nearest is the edge or limit that a run came closest to, the room left there
// (negative outside), and whether that was left or exceeded.
func (r *Result) nearest() (at judge.Place, room float64, left bool) {
	switch {
	case r.Left:
		return r.Place, -r.Depth, true
	case r.Limit != "" && (r.Cause == r.Limit || r.Over > overSlack):
		return judge.Place{Region: "limit of " + r.Limit, Edge: limitEdge}, -r.Over, r.Over > overSlack
	}
	return r.Place, r.Room, false
}

// Leaked says whether the run left the pen or exceeded a limit.
func (r *Result) Leaked() bool { return r.Left || r.Over > overSlack }

// Sorted are the edges by region and edge.
func (t *Tally) Sorted() (all []*EdgeTally) {
	for _, e := range t.Edges {
		all = append(all, e)
	}
	slices.SortFunc(all, func(a, b *EdgeTally) int {
		return cmp.Or(cmp.Compare(a.Place.Region, b.Place.Region), cmp.Compare(a.Place.Edge, b.Place.Edge))
	})
	return all
}

// Quantile is the value below which the share q of the sorted values lies; zero
// of none.
func Quantile(sorted []float64, q float64) float64 {
	if len(sorted) == 0 {
		return 0
	}
	return sorted[min(len(sorted)-1, int(q*float64(len(sorted))))]
}
