package rehearse

import (
	"fmt"
	"testing"
	"time"
)

// backTally is what came of many runs of vehicles that were brought back.
type backTally struct {
	runs, void, further, late int
	ways, in                  [BackKinds]int // runs, and of them those that are back
	ends                      map[string]int
	leaks                     []BackResult
	hash                      Hashes
	length                    time.Duration
}

// manyBack runs n seeds from first on, or until the first leak where it is enough.
func manyBack(t testing.TB, src *RandomBack, first, n int, enough bool, opt Options) *backTally {
	t.Helper()
	all := &backTally{ends: map[string]int{}}
	for seed := first; seed < first+n && !(enough && len(all.leaks) > 0); seed++ {
		r, _, err := RunBackSeed(src, uint64(seed), opt)
		if err != nil {
			t.Fatal(err)
		}
		all.hash.add(r.Hash)
		if !r.Started {
			all.void++
			continue
		}
		all.runs++
		all.length += r.Length
		all.further += count(r.Further)
		all.late += count(r.Late)
		all.ways[r.How]++
		all.in[r.How] += count(r.Back)
		all.ends[r.Cause+" "+r.Name]++
		if r.leaks() && len(all.leaks) < MaxLeaks {
			all.leaks = append(all.leaks, r)
		}
	}
	return all
}

// TestBroughtBack: a vehicle that is brought back goes no further out than its
// declared stopping allows for, however it is driven, is stopped within the time
// there is for it, and is back inside where its pilot takes it there.
func TestBroughtBack(t *testing.T) {
	for _, kind := range kinds() {
		t.Run(kind.String(), func(t *testing.T) {
			src := &RandomBack{Kind: kind}
			if seed, ok := seedOf(t); ok {
				res, c, err := RunBackSeed(src, seed, Options{Trace: t.Output()})
				if err != nil || c == nil {
					t.Fatalf("%+v: %v", res, err)
				}
				t.Logf("%v: %v\n%+v", c.How, &c.Case, res)
				if res.leaks() {
					t.Errorf("seed %d: further out %v, late %v", seed, res.Further, res.Late)
				}
				return
			}
			begin, n := time.Now(), runs(t, 64)
			r := manyBack(t, src, 0, n, false, Options{})
			t.Logf("%d runs (%d seeds without a start), %d further out than allowed for, %d not halted in time; by way %v, of them back inside %v; ended by %v; %.0f vehicle-seconds in %.0f s",
				r.runs, r.void, r.further, r.late, r.ways, r.in, r.ends, r.length.Seconds(), time.Since(begin).Seconds())
			for i := range r.leaks {
				l := &r.leaks[i]
				t.Errorf("seed %d, %s: out by %.4f m, %.4f m beyond what is allowed for; late %v; cause %s %s; "+replay, l.Seed, l.Way, l.Out, l.Over, l.Late, l.Cause, l.Name, l.Seed, t.Name())
			}
			if r.void > n/10 || r.in[Inward] < r.ways[Inward]*9/10 || r.ways[Inward] < r.runs/12 || r.ends["retrieval retrieve time"] == 0 {
				t.Errorf("the runs do not press, or those that go inward are not back: %+v", r)
			}
		})
	}
}

// TestBrokenBroughtBack: one that gains more than it declares goes further out.
// What is broken otherwise is lost, mostly, in the slack that a retrieval has:
// from standstill a vehicle that goes out is stopped before it is fast.
func TestBrokenBroughtBack(t *testing.T) {
	for _, kind := range kinds() {
		breaks, n := breaksOf(t, func(b *Break) bool { return b.Gain > 0 })
		for _, b := range breaks {
			r := manyBack(t, &RandomBack{Kind: kind, Break: b}, 0, n, len(breaks) < len(Breaks()), Options{})
			first := "none"
			if len(r.leaks) > 0 {
				l := &r.leaks[0]
				first = fmt.Sprintf("the first with seed %d (%s), by %.3f m", l.Seed, l.Way, l.Over)
			}
			t.Logf("%v, %s: %d of %d runs went further out (%s), %d were late, %d seeds had no start", kind, b.Name, r.further, r.runs, first, r.late, r.void)
			if b.Gain > 0 && r.further == 0 {
				t.Errorf("%v, %s: nobody went further out in %d runs", kind, b.Name, r.runs)
			}
		}
	}
}
