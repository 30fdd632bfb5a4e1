package watchdog

import (
	"math"
	"slices"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// BenchmarkJudge100 judges decoded poses along a way between a hundred zones of
// 64 corners, all limits on, and asks the zones alone for the same reaches, in
// turn: judge-ns and zones-ns are medians a sample, times their ratio.
func BenchmarkJudge100(b *testing.B) {
	c := testConfig(b)
	c.Zones = hundred(b)
	r := newRig(b, c)
	r.p = wayAt(0)
	r.started()
	const n = 2000
	samples, reaches := make([]pose.Sample, n), make([]zones.Sweep, n)
	ev := Event{Kind: EvPose}
	var judge, alone []float64
	at := 0
	for b.Loop() {
		for i := range samples {
			p, q := wayAt(at), wayAt(at+1)
			at++
			samples[i] = pose.Sample{Stamp: int64(r.now) + 1000e9 + int64(i+1)*int64(5*ms), Position: p, Orientation: pose.Quat{W: 1},
				Velocity: q.Sub(p).Scale(200), HasVelocity: true, Confidence: 0.9, HasConfidence: true, Tracker: "a"}
		}
		t := time.Now()
		for i := range samples {
			r.now += 5 * ms
			ev.Sample, ev.Arrived = &samples[i], r.now
			r.g.Step(&ev, r.now)
			reaches[i] = r.g.reach.Sweep
		}
		judge = append(judge, float64(time.Since(t))/n)
		t = time.Now()
		for i := range reaches {
			c.Zones.Clearance(&reaches[i])
		}
		alone = append(alone, float64(time.Since(t))/n)
	}
	if !r.granted() || r.g.counts.Samples < uint64(at) {
		b.Fatalf("level %v after %d samples: that was no ordinary flight; %v", r.g.Level(), r.g.counts.Samples, words(r.g.Snapshot().Latched))
	}
	slices.Sort(judge)
	slices.Sort(alone)
	m := len(judge) / 2
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(judge[m], "judge-ns")
	b.ReportMetric(alone[m], "zones-ns")
	b.ReportMetric(judge[m]/alone[m], "times")
}

// wayAt is the i-th place, 5 ms apart, of a way to and fro between the zones.
func wayAt(i int) pose.Vec {
	t := float64(i) / 200
	return pose.Vec{X: 4.5 + 20*math.Sin(t/40), Y: 4.5, Z: 1 + 0.1*math.Sin(t)}
}
