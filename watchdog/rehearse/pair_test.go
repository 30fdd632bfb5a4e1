package rehearse

import (
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"pinfold/watchdog"
)

// pairKinds are the pairs everything is shown for.
func pairKinds() [][2]watchdog.Kind {
	return [][2]watchdog.Kind{{watchdog.Rover, watchdog.Rover}, {watchdog.Multirotor, watchdog.Rover}, {watchdog.Multirotor, watchdog.Multirotor}}
}

// manyPairs runs n seeds from first on.
func manyPairs(t testing.TB, src PairSource, first, n int, opt Options) *PairTally {
	t.Helper()
	var tally PairTally
	for seed := first; seed < first+n; seed++ {
		res, c, err := RunPairSeed(src, uint64(seed), opt)
		if err != nil {
			t.Fatal(err)
		}
		tally.Add(&res, c)
		if done := seed + 1 - first; done%10_000 == 0 && done < n {
			t.Logf("so far %d runs, %d too near, %d left the pen, %d stopped for the other", tally.Runs, tally.Near, tally.Left, tally.Apart)
		}
	}
	return &tally
}

// replay is how a seed is run alone and told.
const replay = "again: PINFOLD_SEED=%d go test -v -run '%s' ./watchdog/rehearse"

// seedOf is the one seed that PINFOLD_SEED asks for.
func seedOf(t *testing.T) (uint64, bool) {
	t.Helper()
	s := os.Getenv("PINFOLD_SEED")
	if s == "" {
		return 0, false
	}
	n, err := strconv.ParseUint(s, 10, 64)
	if err != nil {
		t.Fatalf("PINFOLD_SEED = %q is not a seed", s)
	}
	return n, true
}

// TestPairs: two vehicles that go at each other, with everything that is
// declared used up to its bound in half of the runs, never come nearer than what
// is declared, nor does one leave its pen. Every seed can be run alone.
func TestPairs(t *testing.T) {
	for _, kinds := range pairKinds() {
		name := kinds[0].String() + "+" + kinds[1].String()
		t.Run(name, func(t *testing.T) {
			if seed, ok := seedOf(t); ok {
				tellPair(t, &RandomPairs{Kinds: kinds}, seed)
				return
			}
			begin, n := time.Now(), runs(t, 80)
			r := manyPairs(t, &RandomPairs{Kinds: kinds}, 0, n, Options{})
			slices.Sort(r.Rooms)
			t.Logf("%d runs (%d seeds without a start), %d too near, %d left the pen; %d stopped for the other, in %d both, who yields first in %d of %d; %d at rest; closest beyond what is declared, median %.3f m; meetings %v; %.0f vehicle-seconds in %.0f s",
				r.Runs, r.Void, r.Near, r.Left, r.Apart, r.Both, r.Yielded, r.Led, r.Rests, Quantile(r.Rooms, 0.5), r.Meetings, 2*r.Time.Seconds(), time.Since(begin).Seconds())
			if r.Led < n/10 || r.Yielded < r.Led-max(1, r.Led/100) {
				t.Errorf("who yields was stopped no later than the other in %d of %d", r.Yielded, r.Led)
			}
			for i := range r.Leaks {
				l := &r.Leaks[i]
				t.Errorf("seed %d, %s: %.4f m nearer than declared at %v, left %v, causes %v; "+replay, l.Seed, l.Meeting, l.Short, l.At, l.Left, l.Causes, l.Seed, t.Name())
			}
			if r.Void > n/10 || r.Apart < r.Runs*35/100 || r.Both < r.Apart/10 || slices.Min(r.Meetings[:Stacked]) == 0 {
				t.Errorf("the runs do not press: %d seeds without a start, %d stops for the other of %d, in %d both, meetings %v", r.Void, r.Apart, r.Runs, r.Both, r.Meetings)
			}
		})
	}
}

// TestPairsLoseTheirLinks: two vehicles that both cover the loss of their links,
// and lose them at the moment each is stopped, are kept apart too.
func TestPairsLoseTheirLinks(t *testing.T) {
	for _, kinds := range pairKinds() {
		r := manyPairs(t, &RandomPairs{Kinds: kinds, Cover: true}, 0, runs(t, 16), Options{})
		for i := range r.Leaks {
			l := &r.Leaks[i]
			t.Errorf("%v: seed %d, %s: %.4f m nearer than declared at %v, left %v, causes %v", kinds, l.Seed, l.Meeting, l.Short, l.At, l.Left, l.Causes)
		}
		if r.Apart < r.Runs/4 || r.Void > r.Runs/4 {
			t.Errorf("%v: %d runs, %d stops for the other, %d without a start", kinds, r.Runs, r.Apart, r.Void)
		}
	}
}

// tellPair runs one seed and prints all of it.
func tellPair(t *testing.T, src PairSource, seed uint64) {
	t.Helper()
	res, c, err := RunPairSeed(src, seed, Options{Trace: t.Output()})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%v\n%+v", c, res)
	if res.leaks() {
		t.Errorf("seed %d: too near %v, left %v", seed, res.Near, res.Left)
	}
}

// breaksOf are the declarations to be broken, and in how many runs: all of them in
// as many as are asked for, or every day only those that daily says.
func breaksOf(t *testing.T, daily func(b *Break) bool) (all []Break, n int) {
	t.Helper()
	if n = min(10_000, runs(t, 0)); n > 0 {
		return Breaks(), n
	}
	for _, b := range Breaks() {
		if daily(&b) {
			all = append(all, b)
		}
	}
	return all, 20 * PerPen
}

// TestBrokenPairs: with one declaration broken at a time, of both, two do come
// too near, and it is the seed that says which.
func TestBrokenPairs(t *testing.T) {
	for _, kinds := range pairKinds() {
		breaks, n := breaksOf(t, func(b *Break) bool { return b.Drift > 0 || b.Speed > 0 })
		for _, b := range breaks {
			src, r := &RandomPairs{Kinds: kinds, Break: b}, &PairTally{}
			for first := 0; first < n && (r.Near == 0 || len(breaks) == len(Breaks())); first += PerPen {
				r.more(manyPairs(t, src, first, min(PerPen, n-first), Options{}))
			}
			if first := slices.IndexFunc(r.Leaks, func(l PairResult) bool { return l.Near }); first >= 0 {
				l := &r.Leaks[first]
				t.Logf("%v, %s: %d of %d runs came too near, the first with seed %d (%s), by %.3f m", kinds, b.Name, r.Near, r.Runs, l.Seed, l.Meeting, l.Short)
				continue
			}
			t.Errorf("%v, %s: %d came too near, none is named", kinds, b.Name, r.Near)
		}
	}
}

// more takes in what counts of another tally.
func (t *PairTally) more(o *PairTally) {
	t.Runs += o.Runs
	t.Near += o.Near
	t.Leaks = append(t.Leaks, o.Leaks...)
}
