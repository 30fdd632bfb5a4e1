package rehearse

import (
	"os"
	"slices"
	"strconv"
	"testing"

	"pinfold/watchdog"
)

func TestPriceProbe(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("PRICE"))
	if n == 0 {
		t.Skip()
	}
	for _, kind := range []watchdog.Kind{watchdog.Rover, watchdog.Multirotor} {
		src := &Random{Kind: kind}
		rooms := map[string][]float64{}
		for seed := range n {
			res, c, err := RunSeed(src, uint64(seed), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if !res.Rested || res.Cause != "zone" {
				continue
			}
			r := res.Room - c.Config.Stopping.Margin
			add := func(k string) { rooms[k] = append(rooms[k], r) }
			w := c.Corner.String() + " "
			add(w + c.Truth.Plant.String() + " all")
			add(w + res.Pilot.String())
			if c.Config.Stopping.Acceleration == 0 {
				add(w + res.Pilot.String() + " noacc")
				if !c.Config.Stopping.CoverLoss {
					add(w + res.Pilot.String() + " noacc nocover")
				}
			}
		}
		var keys []string
		for k := range rooms {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			v := rooms[k]
			slices.Sort(v)
			t.Logf("%v %-30s n %5d min %.4f 1%% %.4f median %.4f 95%% %.4f", kind, k, len(v), v[0], Quantile(v, 0.01), Quantile(v, .5), Quantile(v, .95))
		}
	}
}
