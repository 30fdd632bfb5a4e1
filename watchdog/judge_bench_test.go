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
// turn: judge-ns and zones-ns a sample, times their ratio; of the rounds of 2000
// samples the twentieth part that was quicker, since what else a machine does
// only adds. A tracker that reports its velocity, and a window of two samples
// for the turn rate; then one that reports none, with the default window: eleven
// samples, each turned a little, from which velocity and turn rate are derived.
//
// What the zones are asked alone is what a judgement cannot do without: the least
// clearance of the whole reach, a capsule that widens from here to rest, with its
// height, to the pen and to every keep-out, by a set that knows nothing of the
// sample before. The judgement asks the same knowing the last answer.
//
// Where the time goes, in ns on one 2026 server core with little else to do (build
// the test, run it under a sampling profiler, and sort its stacks by the functions
// named):
//
//	                                                        reported   derived
//	all                                                          262       346
//	the gate, and into the site frame (checkSample, place)        14        14
//	trust (Track.judge, judgeTrust, reasons)                      28        34
//	velocity and turn rate (Track.move)                           60       143
//	the pose written out, with its tilt (Track.fill)              24        24
//	reach, twice: now, and for what waits (reachLate)             38        38
//	zones, mostly by how far it has come since (judgeZones)       27        25
//	limits                                                        14        14
//	the rest: levels, permit, deadlines                           57        54
//
// Alone, not knowing the last answer, the zones take 176: the judgement is 1.5 and
// 1.97 times that, where twice is allowed.
func BenchmarkJudge100(b *testing.B) {
	c := testConfig(b)
	c.Zones = hundred(b)
	c.Limits[LimitDistance] = Limit{On: true, Max: 40, Caution: 39, Confirm: 2, Answer: ActStop}
	c.Limits[LimitClimb] = Limit{On: true, Max: 1, Caution: 0.9, Confirm: 2, Answer: ActStop}
	c.Limits[LimitDescent] = c.Limits[LimitClimb]
	c.Limits[LimitSession] = Limit{On: true, Max: 1e6, Caution: 1e6, Confirm: 1, Answer: ActStop}
	b.Run("reported", func(b *testing.B) { benchmarkJudge(b, c, true) })
	tie := c.Pose.Align
	c.Pose = pose.DefaultConfig()
	c.Pose.Align, c.Pose.FrozenAfter = tie, 0 // the rig repeats itself until it starts
	b.Run("derived", func(b *testing.B) { benchmarkJudge(b, c, false) })
}

func benchmarkJudge(b *testing.B, c Config, reported bool) {
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
			samples[i] = sampleAt(at, reported)
			samples[i].Stamp = int64(r.now) + 1000e9 + int64(i+1)*int64(5*ms)
			at++
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
	m := len(judge) / 20
	b.ReportMetric(0, "ns/op")
	b.ReportMetric(judge[m], "judge-ns")
	b.ReportMetric(alone[m], "zones-ns")
	b.ReportMetric(judge[m]/alone[m], "times")
}

// sampleAt is the i-th sample of the way, a little tilted and turning.
func sampleAt(i int, reported bool) pose.Sample {
	p, q, t := wayAt(i), wayAt(i+1), float64(i)/200
	s := pose.Sample{Position: p, Orientation: pose.FromEuler(0.03*math.Sin(t), 0.05*math.Sin(t/3), t/10),
		Confidence: 0.9, HasConfidence: true, Tracker: "a"}
	if reported {
		s.Velocity, s.HasVelocity = q.Sub(p).Scale(200), true
	}
	return s
}

// wayAt is the i-th place, 5 ms apart, of a way to and fro between the zones.
func wayAt(i int) pose.Vec {
	t := float64(i) / 200
	return pose.Vec{X: 4.5 + 20*math.Sin(t/40), Y: 4.5, Z: 1 + 0.1*math.Sin(t)}
}
