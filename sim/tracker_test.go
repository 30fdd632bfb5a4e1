package sim

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"
)

// message is the contract's pose, read back with the standard library.
type message struct {
	Stamp       float64
	Seq         uint64
	Position    struct{ X, Y, Z float64 }
	Orientation struct{ W, X, Y, Z float64 }
	Velocity    *struct{ X, Y, Z float64 }
	Confidence  float64
	Tracker     string
}

func decode(t *testing.T, m Sent) message {
	t.Helper()
	d := json.NewDecoder(strings.NewReader(string(m.Payload)))
	d.DisallowUnknownFields()
	var out message
	if err := d.Decode(&out); err != nil {
		t.Fatalf("%s: %v", m.Payload, err)
	}
	return out
}

// watch lets a tracker see s for d and returns what it sent.
func watch(tr *Tracker, from, d time.Duration, s State) []Sent {
	var out []Sent
	for now := from; now < from+d; now += ms {
		out = append(out, tr.Step(now, s)...)
	}
	return out
}

func at(p Vec) State { return State{Position: p, Orientation: Yawed(0)} }

// Without errors a tracker reports the truth, at its rate, by its own clock.
func TestTrackerReportsTruth(t *testing.T) {
	tr := NewTracker(TrackerSpec{Rate: 200, Clock: time.Hour, Latency: 4 * ms, Velocity: true}, 1)
	s := State{Position: Vec{1, 2, 3}, Velocity: Vec{0.5, -0.25, 0.125}, Orientation: Leaning(Vec{X: 0.2}, 0.7)}
	out := watch(tr, 0, time.Second, s)
	if len(out) != 200 {
		t.Fatalf("%d messages in a second at 200 Hz", len(out))
	}
	for i, sent := range out {
		m := decode(t, sent)
		near(t, "stamp, s", m.Stamp, 3600+0.005*float64(i), 1e-9)
		near(t, "due, s", sent.Due.Seconds(), 0.005*float64(i)+0.004, 1e-9)
		if m.Seq != uint64(i+1) || m.Tracker != "eye-1" || m.Confidence != 1 {
			t.Fatalf("message %d: %+v", i, m)
		}
		if p := (Vec{m.Position.X, m.Position.Y, m.Position.Z}); p != s.Position {
			t.Fatalf("position %v", p)
		}
		if v := (Vec{m.Velocity.X, m.Velocity.Y, m.Velocity.Z}); v != s.Velocity {
			t.Fatalf("velocity %v", v)
		}
		q := Quat{m.Orientation.W, m.Orientation.X, m.Orientation.Y, m.Orientation.Z}
		near(t, "tilt, rad", q.Tilt(), 0.2, 1e-5)
	}
}

// The OpenXR axes (x right, y up, z backwards; OpenXR 1.0 §2.16): a vehicle
// one metre ahead, two to the left, three up is at (-2, 3, -1), and its up axis
// is y. A turn about the vertical is a turn about y.
func TestTrackerAxes(t *testing.T) {
	tr := NewTracker(TrackerSpec{Axes: YUp, Velocity: true}, 1)
	s := State{Position: Vec{1, 2, 3}, Velocity: Vec{1, 0, 0}, Orientation: Yawed(math.Pi / 2)}
	m := decode(t, watch(tr, 0, 5*ms, s)[0])
	if p := (Vec{m.Position.X, m.Position.Y, m.Position.Z}); p != (Vec{-2, 3, -1}) {
		t.Errorf("position %v", p)
	}
	if v := (Vec{m.Velocity.X, m.Velocity.Y, m.Velocity.Z}); v.Sub(Vec{0, 0, -1}).Len() > 1e-6 {
		t.Errorf("velocity %v", v)
	}
	near(t, "turn about y", m.Orientation.Y, math.Sin(math.Pi/4), 1e-5)
	near(t, "turn about x and z", math.Abs(m.Orientation.X)+math.Abs(m.Orientation.Z), 0, 1e-5)
}

// A tracker frame that starts at (4, 1), turned by 90°: what is one metre north
// of it lies one metre ahead.
func TestTrackerOriginAndMount(t *testing.T) {
	tr := NewTracker(TrackerSpec{Origin: Vec{4, 1, 0}, OriginYaw: math.Pi / 2}, 1)
	m := decode(t, watch(tr, 0, 5*ms, at(Vec{4, 2, 0}))[0])
	near(t, "x, m", m.Position.X, 1, 1e-6)
	near(t, "y, m", m.Position.Y, 0, 1e-6)
	if m.Velocity != nil {
		t.Error("reports a velocity nobody asked for")
	}
	tr = NewTracker(TrackerSpec{Mount: Vec{0.1, 0, 0.05}}, 1)
	m = decode(t, watch(tr, 0, 5*ms, State{Position: Vec{1, 1, 1}, Orientation: Yawed(math.Pi / 2)})[0])
	near(t, "y of a tracker ahead of the centre, m", m.Position.Y, 1.1, 1e-6)
	near(t, "z of it, m", m.Position.Z, 1.05, 1e-6)
}

// The noise has the standard deviation that was asked for. The bounds are four
// standard errors of it for n samples, σ/√(2n).
func TestTrackerNoise(t *testing.T) {
	const sigma, n = 0.01, 6000
	tr := NewTracker(TrackerSpec{Rate: 200, Noise: sigma}, 3)
	sum, squares := 0.0, 0.0
	out := watch(tr, 0, n/200*time.Second, at(Vec{}))
	for _, s := range out {
		x := decode(t, s).Position.X
		sum += x
		squares += x * x
	}
	near(t, "standard deviation, m", math.Sqrt(squares/float64(len(out))), sigma, 4*sigma/math.Sqrt(2*n))
	near(t, "mean, m", sum/float64(len(out)), 0, 4*sigma/math.Sqrt(n))
}

// Drift is a share of the way travelled: 1 % of 10 m is 0.1 m, and Home takes
// it back.
func TestTrackerDrift(t *testing.T) {
	tr := NewTracker(TrackerSpec{Drift: 0.01}, 1)
	var last message
	for i := range 10001 {
		for _, s := range tr.Step(time.Duration(i)*ms, at(Vec{X: float64(i) / 1000})) {
			last = decode(t, s)
		}
	}
	off := math.Hypot(last.Position.X-10, last.Position.Y)
	near(t, "drift after 10 m", off, 0.1, 1e-5)
	tr.Home()
	last = decode(t, watch(tr, 10001*ms, 10*ms, at(Vec{X: 10}))[0])
	near(t, "after coming home", math.Hypot(last.Position.X-10, last.Position.Y), 0, 1e-6)
}

// A clock that runs 100 ppm fast gains 1 ms in 10 s; a late message never
// overtakes an earlier one.
func TestTrackerClockAndLateness(t *testing.T) {
	tr := NewTracker(TrackerSpec{Clock: time.Second, ClockRate: 100}, 1)
	near(t, "clock, s", tr.Clock(10*time.Second).Seconds(), 11.001, 1e-9)
	tr = NewTracker(TrackerSpec{Lateness: 20 * ms, Latency: ms}, 1)
	out := watch(tr, 0, 5*time.Second, at(Vec{}))
	late := 0.0
	for i, s := range out {
		if i > 0 && (s.Due < out[i-1].Due || s.Stamp <= out[i-1].Stamp) {
			t.Fatalf("message %d overtakes", i)
		}
		late += (s.Due - s.Stamp).Seconds() / float64(len(out))
	}
	if late < 0.02 {
		t.Errorf("mean lateness %.3f s; order can only add to 0.021 s", late)
	}
}

// Rate jitter changes the intervals and not the mean.
func TestTrackerRateJitter(t *testing.T) {
	tr := NewTracker(TrackerSpec{Rate: 100, RateJitter: 0.2}, 1)
	out := watch(tr, 0, 20*time.Second, at(Vec{}))
	if len(out) < 1950 || len(out) > 2050 {
		t.Errorf("%d messages in 20 s at 100 Hz", len(out))
	}
	same := 0
	for i := 2; i < len(out); i++ {
		if out[i].Stamp-out[i-1].Stamp == out[i-1].Stamp-out[i-2].Stamp {
			same++
		}
	}
	if same > len(out)/10 {
		t.Errorf("%d of %d intervals are the same", same, len(out))
	}
}

// Lost sends nothing; frozen repeats bit for bit with new stamps; a jump stays;
// a restart has a new id and starts again at its own origin.
func TestTrackerFaults(t *testing.T) {
	tr := NewTracker(TrackerSpec{Noise: 0.001, Velocity: true}, 1)
	if !tr.Good() {
		t.Error("a new tracker is not good")
	}
	tr.Lose(true)
	if out := watch(tr, 0, 100*ms, at(Vec{})); len(out) != 0 || tr.Good() {
		t.Errorf("%d messages while lost, good %v", len(out), tr.Good())
	}
	tr.Lose(false)
	tr.Freeze(true)
	out := watch(tr, 100*ms, 50*ms, at(Vec{}))
	a, b := decode(t, out[1]), decode(t, out[9])
	if a.Position != b.Position || a.Orientation != b.Orientation || a.Stamp == b.Stamp || a.Seq == b.Seq || tr.Good() {
		t.Errorf("frozen: %+v, then %+v", a, b)
	}
	tr.Freeze(false)
	tr.Jump(Vec{X: 1})
	tr.Jump(Vec{X: 1})
	m := decode(t, watch(tr, 150*ms, 5*ms, at(Vec{}))[0])
	near(t, "after two jumps, m", m.Position.X, 2, 0.01)
	if tr.Good() {
		t.Error("good after a jump")
	}
	tr.Restart(at(Vec{3, 3, 0}))
	m = decode(t, watch(tr, 155*ms, 5*ms, at(Vec{3, 3, 0}))[0])
	if m.Tracker != "eye-2" || m.Seq != 1 || math.Hypot(m.Position.X, m.Position.Y) > 0.01 || !tr.Good() {
		t.Errorf("restarted: %+v, good %v", m, tr.Good())
	}
	tr.Doubt(7)
	if m = decode(t, watch(tr, 160*ms, 5*ms, at(Vec{}))[0]); m.Confidence != 1 {
		t.Errorf("confidence %v", m.Confidence)
	}
	tr.Doubt(math.NaN())
	if m = decode(t, watch(tr, 165*ms, 5*ms, at(Vec{}))[0]); m.Confidence != 0 {
		t.Errorf("confidence of NaN: %v", m.Confidence)
	}
}
