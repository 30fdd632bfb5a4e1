package watchdog

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// session plays a long, eventful session and writes down every effect. With
// peek it looks at the guard after every step, as a display does.
func session(t *testing.T, seed uint64, peek bool) []byte {
	t.Helper()
	rnd := rand.New(rand.NewPCG(seed, 1))
	c := testConfig(t)
	r := newRig(t, c)
	var b bytes.Buffer
	r.out = func(now time.Duration, effects []Effect) {
		if peek {
			s := r.g.Snapshot()
			r.g.Deadline()
			if len(s.Latched) > 0 {
				s.Latched[0].Text = "a display may write on its own copy"
			}
			s.Counts.FaultKinds[1] = 99
			if at := c.Zones.Clearance(&s.Reach.Sweep); s.Judged && s.Nearest != at {
				t.Fatalf("nearest is %+v, and for its reach it is %+v", s.Nearest, at)
			}
		}
		for _, e := range effects {
			body, err := json.Marshal(e.Record.Body)
			if err != nil {
				t.Fatal(err)
			}
			fmt.Fprintf(&b, "%d %d %v %v %s %s\n", now, e.Kind, e.Permit, e.Command, e.Record.Kind, body)
		}
	}
	for range 8 {
		rescue(r)
		r.move(time.Duration(rnd.IntN(1500))*ms, pose.Vec{X: rnd.Float64()*4 - 2, Y: rnd.Float64()*4 - 2, Z: rnd.Float64() - 0.5})
		r.tilt = rnd.Float64() * 30
		r.move(50*ms, pose.Vec{})
		r.silence(time.Duration(rnd.IntN(150)) * ms)
		r.step(Event{Kind: EvPose, Payload: []byte("{")})
		r.step(Event{Kind: EvAck, Text: r.command.ID})
	}
	return b.Bytes()
}

// TestDeterministic: the same events at the same instants give the same effects,
// byte for byte: a hundred times, on one processor and on all, whether somebody
// looks or not.
func TestDeterministic(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	for seed := range uint64(2) {
		first := session(t, seed, false)
		if !bytes.Contains(first, []byte("stop")) || len(first) < 10_000 {
			t.Fatalf("seed %d: the session is too quiet to prove anything: %d bytes", seed, len(first))
		}
		for i := range 50 {
			runtime.GOMAXPROCS(1 + i%2*(runtime.NumCPU()-1))
			if again := session(t, seed, i%5 == 4); !bytes.Equal(first, again) {
				t.Fatalf("seed %d: time %d differs: %s", seed, i, diff(string(first), string(again)))
			}
		}
	}
	if bytes.Equal(session(t, 1, false), session(t, 2, false)) {
		t.Error("two seeds give the same session: the test is blind")
	}
}

// TestNoAllocation: judging an ordinary pose allocates nothing, so the garbage
// collector never holds a stop up.
func TestNoAllocation(t *testing.T) {
	r, payloads := flight(t, testConfig(t), 3000)
	ev, i := Event{Kind: EvPose}, 0
	step := func() {
		r.now += 5 * ms
		ev.Payload, ev.Arrived = payloads[i], r.now
		r.g.Step(&ev, r.now)
		i++
	}
	for range 500 {
		step()
	}
	if n := testing.AllocsPerRun(2000, step); n != 0 {
		t.Errorf("%v allocations per step", n)
	}
	if r.g.Level() != Clear {
		t.Fatalf("level %v: that was no ordinary flight", r.g.Level())
	}
}

// flight is a started guard and the next n poses of a vehicle that goes slowly
// to and fro.
func flight(t testing.TB, c Config, n int) (r *rig, payloads [][]byte) {
	r = newRig(t, c)
	r.p = pose.Vec{X: 2.5, Y: 3, Z: 1}
	r.started()
	return r, stamped(r, make([][]byte, n))
}

// stamped writes the poses of the steps after the rig's instant.
func stamped(r *rig, payloads [][]byte) [][]byte {
	was := r.now
	for i := range payloads {
		r.now += 5 * ms
		r.v.X = 0.2
		if r.now/time.Second%2 == 0 {
			r.v.X = -0.2
		}
		r.p.X += r.v.X * 0.005
		payloads[i] = r.payload()
	}
	r.now = was
	return payloads
}

// BenchmarkStepPose is one pose, decoded and judged, in the cage.
func BenchmarkStepPose(b *testing.B) { benchmarkStep(b, testConfig(b)) }

// BenchmarkStepPose100 is the same with a hundred zones of 64 corners.
func BenchmarkStepPose100(b *testing.B) {
	c := testConfig(b)
	c.Zones = hundred(b)
	benchmarkStep(b, c)
}

// BenchmarkZones100 is the question to the zones alone, for comparison.
func BenchmarkZones100(b *testing.B) {
	set := hundred(b)
	c := testConfig(b)
	p := pose.Pose{Position: pose.Vec{X: 2, Y: 3, Z: 1}, Velocity: pose.Vec{X: 0.2}, HasVelocity: true}
	var r Reach
	c.reachOf(&p, delays{age: 0}, 0, &r)
	b.ReportAllocs()
	for b.Loop() {
		set.Clearance(&r.Sweep)
	}
}

func benchmarkStep(b *testing.B, c Config) {
	r, payloads := flight(b, c, 512)
	ev := Event{Kind: EvPose}
	i := 0
	b.ReportAllocs()
	for b.Loop() {
		if i == len(payloads) {
			b.StopTimer()
			stamped(r, payloads)
			i = 0
			b.StartTimer()
		}
		r.now += 5 * ms
		ev.Payload, ev.Arrived = payloads[i], r.now
		r.g.Step(&ev, r.now)
		i++
	}
	if r.g.Level() > Caution || r.g.counts.Samples < uint64(b.N) {
		b.Fatalf("level %v after %d samples: that was no ordinary flight", r.g.Level(), r.g.counts.Samples)
	}
}

// hundred is a big cage with 99 round keep-outs of 64 corners around the middle.
func hundred(t testing.TB) *zones.Set {
	shapes := []zones.Shape{{Name: "hall", Kind: zones.KeepIn, Floor: -1, Ceiling: 9, Rings: [][]zones.XY{box(-50, -50, 50, 50)}}}
	for i := range 99 {
		at := zones.XY{X: -45 + 9*float64(i%10), Y: -45 + 9*float64(i/10)}
		shapes = append(shapes, zones.Shape{Name: fmt.Sprint("out", i), Kind: zones.KeepOut, Floor: -1, Ceiling: 9, Rings: [][]zones.XY{round(at, 1, 64)}})
	}
	set, err := zones.New(shapes)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func round(at zones.XY, r float64, n int) (ring []zones.XY) {
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		ring = append(ring, zones.XY{X: at.X + r*c, Y: at.Y + r*s})
	}
	return ring
}
