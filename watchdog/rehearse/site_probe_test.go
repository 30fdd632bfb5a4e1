package rehearse

import (
	"fmt"
	"os"
	"strconv"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/sim"
)

func TestSiteProbe(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("SITE"))
	if n == 0 {
		t.Skip()
	}
	site, err := config.Parse("demo.toml", []byte(sim.DemoSite("mqtt://127.0.0.1:1883")), func(string) ([]byte, error) { return nil, fmt.Errorf("no") })
	if err != nil {
		t.Fatal(err)
	}
	for i := range site.Vehicles {
		src, err := NewSite(&site.Vehicles[i])
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%+v ground %v", site.Vehicles[i].Config.Stopping, site.Vehicles[i].Config.HasGround)
		for _, b := range breaksOf("") {
			src.Break = b
			var tl Tally
			begin := time.Now()
			first := 0
			for seed := range n {
				res, c, err := RunSeed(src, uint64(seed), Options{})
				if err != nil {
					t.Fatal(err)
				}
				tl.Add(&res, c)
				if res.Left && first == 0 {
					first = seed + 1
				}
			}
			t.Logf("%v %s: runs %d void %d stops %d rests %d left %d short %d over %d (first %d) sim %v wall %v causes %v", site.Vehicles[i].Name, b.Name, tl.Runs, tl.Void, tl.Stops, tl.Rests, tl.Left, tl.Short, tl.Over, first, tl.Time, time.Since(begin), tl.Causes)
			for k := Within; k < Corners; k++ {
				t.Logf("  %v all %+v", k, PriceOf(tl.Rooms, func(r *Rest) bool { return r.Corner == k }))
				t.Logf("  %v headed %+v", k, PriceOf(tl.Rooms, func(r *Rest) bool { return r.Corner == k && r.Headed }))
			}
		}
	}
}
