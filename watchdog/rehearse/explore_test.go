package rehearse

import (
	"os"
	"strconv"
	"testing"
	"time"

	"pinfold/watchdog"
)

func TestProbe(t *testing.T) {
	n, _ := strconv.Atoi(os.Getenv("PROBE"))
	if n == 0 {
		t.Skip()
	}
	for _, kind := range []watchdog.Kind{watchdog.Rover, watchdog.Multirotor} {
		for _, b := range breaksOf(os.Getenv("PROBE_ALL")) {
			src := &Random{Kind: kind, Break: b}
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
				if (res.Left || res.Over > 1e-9) && b.Name == "none" {
					t.Logf("leak %+v", res)
					t.Logf("  corner %v limits %+v plant %v stopping %+v truth %+v", c.Corner, c.Config.Limits, c.Truth.Plant, c.Config.Stopping, c.Truth)
				}
			}
			t.Logf("%v %s: runs %d void %d stops %d rests %d left %d over %d (first %d) sim %v wall %v causes %v", kind, b.Name, tl.Runs, tl.Void, tl.Stops, tl.Rests, tl.Left, tl.Over, first, tl.Time, time.Since(begin), tl.Causes)
		}
	}
}

func breaksOf(all string) []Break {
	b := []Break{{Name: "none"}}
	if all != "" {
		b = append(b, Breaks()...)
	}
	return b
}
