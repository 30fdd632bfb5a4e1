package rehearse

import "testing"

// TestPriceOfTheDemo: a vehicle that drives straight at an edge, brakes and
// reacts exactly as declared, leaves less than 5 cm and a tenth of the stopping
// distance unused, in the median. docs/containment.md has the table.
func TestPriceOfTheDemo(t *testing.T) {
	for i, v := range demoSite(t).Vehicles {
		r := many(t, demoSource(t, i), 0, runs(t, 800), Options{})
		for k := Within; k < Corners; k++ {
			all := PriceOf(r.Rooms, func(r *Rest) bool { return r.Corner == k })
			straight := PriceOf(r.Rooms, func(r *Rest) bool { return r.Corner == k && r.Headed })
			t.Logf("%s, %-11s  all: %5d runs, median %.3f m, 95 %% %.3f m; straight: %4d runs, median %.3f m, 95 %% %.3f m, stopping distance %.3f m",
				v.Name, k, all.Runs, all.Median, all.Most, straight.Runs, straight.Median, straight.Most, straight.Stopping)
			if most := Allowance(straight.Stopping); k == Declared && !(straight.Runs >= 12 && straight.Median < most) {
				t.Errorf("%s: %d runs straight at an edge leave %.3f m in the median, more than %.3f m", v.Name, straight.Runs, straight.Median, most)
			}
		}
	}
}

// TestNeedlessStops prints how many stops a perfect judge, who knows what the
// pilot does next, would not have called. Half of the pilots turn back late.
func TestNeedlessStops(t *testing.T) {
	for i, v := range demoSite(t).Vehicles {
		src := demoSource(t, i)
		src.Peace = true
		var driven, stops, needless [PilotKinds]int
		for seed := range min(20_000, runs(t, 160)) {
			res, c, err := RunSeed(src, uint64(seed), Options{})
			if err != nil {
				t.Fatal(err)
			}
			no, err := Needless(c, &res)
			if err != nil {
				t.Fatal(err)
			}
			driven[res.Pilot]++
			if res.Cause == "zone" {
				stops[res.Pilot]++
				if no {
					needless[res.Pilot]++
				}
			}
		}
		for k := range PilotKinds {
			t.Logf("%s, %-8v  %d runs, %d stops for a zone, %d needless", v.Name, k, driven[k], stops[k], needless[k])
		}
		if driven[Dodge] < 40 || stops[Dodge] == driven[Dodge] || needless[Dodge] == 0 {
			t.Errorf("%s: of %d pilots that turn back all were stopped: nobody could drive here", v.Name, driven[Dodge])
		}
		if needless[Straight] > stops[Straight]/4 {
			t.Errorf("%s: %d of %d stops of pilots that keep straight on were needless", v.Name, needless[Straight], stops[Straight])
		}
	}
}
