package rehearse

import "time"

// PairTally is what came of many runs of two vehicles.
type PairTally struct {
	Runs     int
	Void     int // seeds for which no start was granted
	Near     int // runs in which the two came nearer than declared
	Left     int // runs in which one of them left its pen
	Apart    int // runs in which one was stopped for the other's coming near
	Both     int // of those, both were
	Yielded  int // of Led, the one that yields was not the later one
	Led      int // of Apart, those with a lead in which the one that yields was not parked
	Rests    int // runs in which both came to rest
	Meetings [Meetings]int
	Closest  float64      // m, between the two bodies, the least of all runs
	Seed     uint64       // of that run
	Rooms    []float64    // m, beyond what is declared, at the closest, of runs with a stop for the other
	Leaks    []PairResult // the first MaxLeaks
	Time     time.Duration
	Hash     Hashes
}

// Add takes in one run; c is its case, nil where none was drawn.
func (t *PairTally) Add(r *PairResult, c *PairCase) {
	t.Hash.add(r.Hash)
	if !r.Started || c == nil {
		t.Void++
		return
	}
	t.Runs++
	t.Time += r.Length
	t.Meetings[r.met]++
	if t.Runs == 1 || r.Closest < t.Closest {
		t.Closest, t.Seed = r.Closest, r.Seed
	}
	if r.Near {
		t.Near++
	}
	if r.Left {
		t.Left++
	}
	if r.leaks() && len(t.Leaks) < MaxLeaks {
		t.Leaks = append(t.Leaks, *r)
	}
	if r.Rested[0] && r.Rested[1] {
		t.Rests++
	}
	t.stops(r, c)
}

// stops counts who was stopped for whom.
func (t *PairTally) stops(r *PairResult, c *PairCase) {
	if r.First < 0 {
		return
	}
	t.Apart++
	t.Rooms = append(t.Rooms, r.Closest-c.Distance)
	if r.For[0] && r.For[1] {
		t.Both++
	}
	for i := range c.ahead {
		if c.ahead[i] > 0 && c.pilots[i].role != stands {
			t.Led++
			if r.First == i || !r.Free {
				t.Yielded++
			}
		}
	}
}
