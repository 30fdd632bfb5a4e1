package rehearse

import (
	"os"
	"strconv"
	"testing"
	"time"
)

// runs is how many runs of each kind of vehicle are made: PINFOLD_RUNS, or few
// enough for every day.
func runs(t *testing.T, few int) int {
	t.Helper()
	s := os.Getenv("PINFOLD_RUNS")
	if s == "" {
		return few
	}
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 {
		t.Fatalf("PINFOLD_RUNS = %q is not a number of runs", s)
	}
	return n
}

// TestContainment: in random pens, with everything that is declared used up to
// its bound in half of the runs, no vehicle leaves its pen, exceeds a limit that
// can be kept until rest, or comes to rest within its margin. The judge shares no
// code with the core. docs/containment.md has what 100 000 runs printed.
func TestContainment(t *testing.T) {
	for _, kind := range kinds() {
		begin := time.Now()
		n := runs(t, 400)
		r := many(t, &Random{Kind: kind}, 0, n, Options{})
		t.Logf("%v: %d runs, %d left the pen, %d beyond a limit, %d within the margin; %d stops, %d at rest; causes %v; %.0f vehicle-seconds in %.0f s",
			kind, r.Runs, r.Left, r.Over, r.Short, r.Stops, r.Rests, r.Causes, r.Time.Seconds(), time.Since(begin).Seconds())
		for i := range r.Leaks {
			t.Errorf("%v: seed %d: left %v by %.4f m (nearest %v), limit %q by %.4f m", kind, r.Leaks[i].Seed, r.Leaks[i].Left, r.Leaks[i].Depth, r.Leaks[i].Place, r.Leaks[i].Limit, r.Leaks[i].Over)
		}
		if r.Left > 0 || r.Over > 0 || r.Short > 0 {
			t.Errorf("%v: not contained", kind)
		}
		if r.Void > n/50 || r.Stops < r.Runs*8/10 || r.Rests < r.Stops*9/10 {
			t.Errorf("%v: %d of %d seeds without a start, %d stops, %d rests: the runs do not press", kind, r.Void, n, r.Stops, r.Rests)
		}
	}
}

// TestContainmentOfTheDemo: the same in the demo's own pens, by its own site
// file.
func TestContainmentOfTheDemo(t *testing.T) {
	for i, v := range demoSite(t).Vehicles {
		r := many(t, demoSource(t, i), 0, runs(t, 250), Options{})
		t.Logf("%s: %d runs, %d left the pen, %d beyond a limit, %d within the margin; causes %v", v.Name, r.Runs, r.Left, r.Over, r.Short, r.Causes)
		if r.Left > 0 || r.Over > 0 || r.Short > 0 || r.Runs < 225 {
			t.Errorf("%s: not contained: %+v", v.Name, r.Leaks)
		}
	}
}

// TestBrokenDeclarations: with one declaration broken at a time vehicles do
// leave their pens, in far fewer than 10 000 runs. Otherwise TestContainment
// would prove nothing.
func TestBrokenDeclarations(t *testing.T) {
	for _, kind := range kinds() {
		for _, b := range Breaks() {
			n := min(10_000, runs(t, 64))
			r := many(t, &Random{Kind: kind, Break: b}, 0, n, Options{})
			if r.Left == 0 {
				t.Errorf("%v, %s: nobody left in %d runs", kind, b.Name, n)
				continue
			}
			first := &r.Leaks[0]
			t.Logf("%v, %s: %d of %d runs left the pen, the first with seed %d, by %.3f m, nearest %s", kind, b.Name, r.Left, r.Runs, first.Seed, first.Depth, placeName(first.Place))
		}
	}
}

// TestWithoutAGuard: left to their pilots the same vehicles do leave: the runs
// are ones that need stopping, but for those of pilots that turn back.
func TestWithoutAGuard(t *testing.T) {
	for _, kind := range kinds() {
		src := &Random{Kind: kind}
		stops, needless := 0, 0
		for seed := range 160 {
			res, c, err := RunSeed(src, uint64(seed), Options{})
			if err != nil {
				t.Fatal(err)
			}
			no, err := Needless(c, &res)
			if err != nil {
				t.Fatal(err)
			}
			if res.Stopped && res.Cause == "zone" {
				stops++
				if no {
					needless++
				}
			}
		}
		t.Logf("%v: %d of %d stops for a zone were needless", kind, needless, stops)
		if stops < 110 || needless > stops/3 {
			t.Errorf("%v: %d stops, %d of them needless: the pilots do not try", kind, stops, needless)
		}
	}
}
