package rehearse

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"strings"
	"testing"

	"pinfold/config"
)

// pairSite is a site with two vehicles that are kept 0.5 m apart; change is made
// to its text.
func pairSite(t *testing.T, change ...string) *config.Site {
	t.Helper()
	const vehicle = `
[[vehicle]]
name = %q
rank = %d
kind = %q
radius = 0.25
height = 0.3
[vehicle.pose]
axes = "z-up"
[vehicle.limits]
speed = 1.2
[vehicle.stopping]
reaction = "150ms"
deceleration = 2.0
acceleration = 1.0
margin = 0.05
`
	const zone = `
[[zone]]
name = %q
kind = "keep-in"
vehicles = [%q]
floor = 0.0
ceiling = 3.0
polygon = [[%d, 0], [%d, 0], [%d, 7], [%d, 7]]
`
	text := `
[site]
name = "Hall"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = "mqtt://127.0.0.1:1883"
[apart]
distance = 0.5
` + fmt.Sprintf(zone, "west", "mole", 0, 10, 10, 0) + fmt.Sprintf(zone, "east", "vole", 3, 12, 12, 3) +
		fmt.Sprintf(vehicle, "mole", 1, "rover") + fmt.Sprintf(vehicle, "vole", 2, "rover")
	s, err := config.Parse("site.toml", []byte(strings.NewReplacer(change...).Replace(text)), func(name string) ([]byte, error) {
		return nil, errors.New("no such file: " + name)
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestSitePairs: every two that a site keeps apart are rehearsed, each in its own
// pen, and kept apart; with brakes that are far too weak they are not, the seed is
// named, and gives the same again.
func TestSitePairs(t *testing.T) {
	site := pairSite(t)
	two := [2]string{"mole", "vole"}
	rep, err := Rehearse(context.Background(), site, Plan{Runs: 128, First: 1, Pair: two})
	if err != nil || !rep.OK() || len(rep.Pairs) != 1 || len(rep.Vehicles) != 0 {
		t.Fatalf("%v: %+v", err, rep)
	}
	p := &rep.Pairs[0]
	if p.Names != two || p.Distance != 0.5 || p.Yields != "mole" || !(p.Lead > 0) || p.Runs < 110 || p.Stops < p.Runs/2 || p.Led < 20 || p.First < p.Led-1 || !(p.Closest >= 0.5) || !(p.Spare > 0) {
		t.Errorf("%+v", p)
	}
	weak, err := ParseBreak("braking=60%")
	if err != nil {
		t.Fatal(err)
	}
	rep, err = Rehearse(context.Background(), site, Plan{Runs: 256, First: 1, Pair: two, Break: weak})
	if err != nil || rep.OK() || rep.Pairs[0].Near == 0 || len(rep.Pairs[0].Leaks) == 0 || rep.Pairs[0].Closest >= 0.5 {
		t.Fatalf("%v: %+v", err, rep)
	}
	src, err := PairOf(site, two)
	if err != nil {
		t.Fatal(err)
	}
	src.Break = weak
	leak := &rep.Pairs[0].Leaks[0]
	if again, _, err := RunPairSeed(src, leak.Seed, Options{}); err != nil || again != *leak {
		t.Errorf("seed %d: %+v, and again %+v: %v", leak.Seed, leak, again, err)
	}
}

// TestSitePairsInTheReport: a whole site's rehearsal has its pairs, counts their
// runs, and where two pens are far from each other says that nothing is shown.
func TestSitePairsInTheReport(t *testing.T) {
	site := pairSite(t, "[[3, 0], [12, 0], [12, 7], [3, 7]]", "[[43, 0], [52, 0], [52, 7], [43, 7]]")
	done, all := 0, 0
	rep, err := Rehearse(context.Background(), site, Plan{Runs: 64, First: 1, UntilLeak: true, Each: func(n, of int) { done, all = n, of }})
	if err != nil || !rep.OK() || len(rep.Vehicles) != 2 || len(rep.Pairs) != 1 {
		t.Fatalf("%v: %+v", err, rep)
	}
	if p := &rep.Pairs[0]; p.Met() || p.Near != 0 || p.Runs > 0 && !(p.Closest > 30) {
		t.Errorf("%+v", p)
	}
	if done != all || all != 3*64 {
		t.Errorf("told of %d runs of %d", done, all)
	}
	rep.Pairs[0].Near = 1
	if rep.OK() {
		t.Error("two that came too near are fine")
	}
	if (&Report{Pairs: []Pair{{}}}).OK() {
		t.Error("nothing is fine")
	}
}

// TestPairsInOrder: on several processors a pair's runs are counted as one after
// the other.
func TestPairsInOrder(t *testing.T) {
	src, err := PairOf(pairSite(t), [2]string{"vole", "mole"})
	if err != nil {
		t.Fatal(err)
	}
	want := src.pairOf(manyPairs(t, src, 5, turnSize+6, Options{}))
	got, err := rehearsePair(context.Background(), src, &Plan{Runs: turnSize + 6, First: 5, Pair: src.names}, func(int) {})
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%v: counted\n%+v\none after the other\n%+v", err, got, want)
	}
	ctx, end := context.WithCancel(context.Background())
	end()
	if _, err := rehearsePair(ctx, src, &Plan{Runs: 10}, func(int) {}); !errors.Is(err, context.Canceled) {
		t.Errorf("broken off: %v", err)
	}
}

// TestPairOfRefuses: who is not there, alone, or not kept apart is no pair.
func TestPairOfRefuses(t *testing.T) {
	for want, two := range map[string][2]string{
		`no vehicle "kite"`: {"mole", "kite"},
		"name two":          {"mole", "mole"},
	} {
		if _, err := PairOf(pairSite(t), two); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, wanted %q", err, want)
		}
	}
	apart := pairSite(t, "[apart]\ndistance = 0.5\n", "", "rank = 1\n", "", "rank = 2\n", "")
	if _, err := PairOf(apart, [2]string{"mole", "vole"}); err == nil || !strings.Contains(err.Error(), "does not keep") {
		t.Errorf("got %v", err)
	}
	if rep, err := Rehearse(context.Background(), apart, Plan{Runs: 10, First: 1, UntilLeak: true}); err != nil || len(rep.Pairs) != 0 {
		t.Errorf("%v, %d pairs", err, len(rep.Pairs))
	}
}
