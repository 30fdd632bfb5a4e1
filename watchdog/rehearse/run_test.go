package rehearse

import (
	"fmt"
	"testing"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/watchdog"
)

// kinds are the vehicles everything is shown for.
func kinds() []watchdog.Kind { return []watchdog.Kind{watchdog.Rover, watchdog.Multirotor} }

// demoSite is the site of the demo.
func demoSite(t testing.TB) *config.Site {
	t.Helper()
	s, err := config.Parse("demo.toml", []byte(sim.DemoSite("mqtt://127.0.0.1:1883")), func(name string) ([]byte, error) {
		return nil, fmt.Errorf("the demo has no file %s", name)
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// demoSource is one vehicle of it.
func demoSource(t testing.TB, i int) *Site {
	t.Helper()
	src, err := NewSite(&demoSite(t).Vehicles[i])
	if err != nil {
		t.Fatal(err)
	}
	return src
}

// marginOf is the margin a case declares; there is none where none was drawn.
func marginOf(c *Case) float64 {
	if c == nil {
		return 0
	}
	return c.Config.Stopping.Margin
}

// many runs n seeds from first on.
func many(t testing.TB, src Source, first, n int, opt Options) *Tally {
	t.Helper()
	var tally Tally
	for seed := first; seed < first+n; seed++ {
		res, c, err := RunSeed(src, uint64(seed), opt)
		if err != nil {
			t.Fatal(err)
		}
		tally.Add(&res, marginOf(c))
	}
	return &tally
}
