package rehearse

import (
	"testing"
	"time"
)

// slowTally is what came of many runs among slow zones.
type slowTally struct {
	runs, void, fast, left, inside, stops, sneaks int
	leaks                                         []SlowResult
	hash                                          Hashes
	length                                        time.Duration
	causes                                        map[string]int
}

// manySlow runs n seeds from first on, or until somebody was too fast, where that is enough.
func manySlow(t testing.TB, src *RandomSlow, first, n int, enough bool, opt Options) (all slowTally) {
	t.Helper()
	all.causes = map[string]int{}
	for seed := first; seed < first+n && !(enough && all.fast > 0); seed++ {
		r, c, err := RunSlowSeed(src, uint64(seed), opt)
		if err != nil {
			t.Fatal(err)
		}
		all.hash.add(r.Hash)
		if !r.Started {
			all.void++
			continue
		}
		all.runs++
		all.causes[r.Cause]++
		all.length += r.Length
		all.fast += count(r.Fast)
		all.left += count(r.Left)
		all.inside += count(r.Inside)
		all.sneaks += count(r.Inside && c.Sneak > 0)
		all.stops += count(r.Cause == "zone-speed")
		if (r.Fast || r.Left) && len(all.leaks) < MaxLeaks {
			all.leaks = append(all.leaks, r)
		}
	}
	return all
}

func count(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// TestSlowZones: nobody is faster in a slow zone than its limit, the declared
// error and what was gained until the brakes were on, by the true speed and the
// true place.
func TestSlowZones(t *testing.T) {
	for _, kind := range kinds() {
		t.Run(kind.String(), func(t *testing.T) {
			src := &RandomSlow{Kind: kind}
			if seed, ok := seedOf(t); ok {
				res, c, err := RunSlowSeed(src, seed, Options{Trace: t.Output()})
				if err != nil || c == nil {
					t.Fatalf("%+v: %v", res, err)
				}
				t.Logf("%v, limits %v\n%+v", &c.Case, c.Limits, res)
				if res.Fast || res.Left {
					t.Errorf("seed %d: too fast %v, left %v", seed, res.Fast, res.Left)
				}
				return
			}
			begin, n := time.Now(), runs(t, 100)
			r := manySlow(t, src, 0, n, false, Options{})
			t.Logf("%d runs (%d seeds without a start), %d too fast in a slow zone, %d left the pen; %d stopped for their speed, %d were in a slow zone, %d of them hurried there; causes %v; %.0f vehicle-seconds in %.0f s",
				r.runs, r.void, r.fast, r.left, r.stops, r.inside, r.sneaks, r.causes, r.length.Seconds(), time.Since(begin).Seconds())
			for i := range r.leaks {
				l := &r.leaks[i]
				t.Errorf("seed %d: %.4f m/s faster in %s than promised, left %v, cause %s; "+replay, l.Seed, l.Over, l.Zone, l.Left, l.Cause, l.Seed, t.Name())
			}
			if r.void > n/10 || r.stops < r.runs*2/5 || r.inside < r.runs/10 || r.sneaks < r.runs/100 {
				t.Errorf("the runs do not press: %+v", r)
			}
		})
	}
}

// TestBrokenSlowZones: with one declaration broken, somebody is.
func TestBrokenSlowZones(t *testing.T) {
	for _, kind := range kinds() {
		breaks, n := breaksOf(t, func(b *Break) bool { return b.Gain > 0 || b.Speed > 0 })
		for _, b := range breaks {
			r := manySlow(t, &RandomSlow{Kind: kind, Break: b}, 0, n, len(breaks) < len(Breaks()), Options{})
			if r.fast == 0 {
				t.Errorf("%v, %s: nobody was too fast in %d runs", kind, b.Name, r.runs)
				continue
			}
			for i := range r.leaks {
				if l := &r.leaks[i]; l.Fast {
					t.Logf("%v, %s: %d of %d runs were too fast, the first with seed %d, by %.3f m/s in %s", kind, b.Name, r.fast, r.runs, l.Seed, l.Over, l.Zone)
					break
				}
			}
		}
	}
}
