package rehearse

import (
	"runtime/debug"
	"syscall"
	"testing"
	"time"
)

// processor is the time this process has had of a processor, s: what a busy
// machine leaves out of the wall clock.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()).Seconds()
}

// BenchmarkRun gives the simulated vehicle-seconds for each second of one
// processor: one of the demo's vehicles in the demo's pen, a pose every 5 ms,
// plant, tracker, both links, the core, the receiver and the judge. Garbage is
// collected as the command does it.
func BenchmarkRun(b *testing.B) {
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	for i, name := range []string{"wren", "mole"} {
		b.Run(name, func(b *testing.B) {
			var cases []*Case
			src := demoSource(b, i)
			for seed := range uint64(64) {
				_, c, err := RunSeed(src, seed, Options{})
				if err != nil {
					b.Fatal(err)
				}
				c.Truth.Eye.Period, c.Truth.Eye.Jitter = 5*ms, 0
				cases = append(cases, c)
			}
			b.ReportAllocs()
			var simulated time.Duration
			begin := processor(b)
			for n := 0; b.Loop(); n++ {
				res, err := Run(cases[n%len(cases)], Options{})
				if err != nil {
					b.Fatal(err)
				}
				simulated += res.Length
			}
			b.ReportMetric(simulated.Seconds()/(processor(b)-begin), "vehicle-s/cpu-s")
		})
	}
}
