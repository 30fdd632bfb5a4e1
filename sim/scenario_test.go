package sim

import (
	"context"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"pinfold/sim/broker"
)

// rehearsal is a scenario against the fake guard, and what it has to come to.
type rehearsal struct {
	name   string
	on     string // vehicle
	detect time.Duration
	action string // what the vehicle does first; empty for either
	fault  func(*broker.Broker, *fakeGuard, *Node)
	check  func(Measured) string // empty where fine; may be nil
}

// runAll runs scenarios side by side, each with a broker and a guard of its own.
func runAll(t *testing.T, all []rehearsal) {
	var wait sync.WaitGroup
	places := make(chan struct{}, 4) // at a time: more would only hold up one another
	for i, c := range all {
		wait.Go(func() {
			places <- struct{}{}
			defer func() { <-places }()
			var m Measured
			err := ErrDisturbed
			for try := 0; try < 4 && errors.Is(err, ErrDisturbed); try++ {
				b := startBroker(t)
				g := startFake(t, b.URL(), c.on)
				m, err = RunScenario(context.Background(), Scenario{Broker: b.URL(), Vehicle: c.on, Seed: uint64(i), Valid: fakeValid,
					Detect: c.detect, Fault: func(_ context.Context, fleet []*Node) error { c.fault(b, g, fleet[0]); return nil }})
			}
			switch {
			case err != nil:
				t.Errorf("%s, %s: %v", c.on, c.name, err)
			case !m.InTime():
				t.Errorf("%s, %s: not in time: %+v", c.on, c.name, m)
			case c.action != "" && m.Halting.Action != c.action:
				t.Errorf("%s, %s: did %s (%s), wanted %s", c.on, c.name, m.Halting.Action, m.Halting.Why, c.action)
			case m.Speed < 0.9*laneOf(c.on).speed || m.Distance <= 0:
				t.Errorf("%s, %s: speed %.2f m/s, distance %.3f m", c.on, c.name, m.Speed, m.Distance)
			case c.check != nil && c.check(m) != "":
				t.Errorf("%s, %s: %s: %+v", c.on, c.name, c.check(m), m)
			}
		})
	}
	wait.Wait()
}

// A dead guard and a dead broker leave only the permit's age: rest within its
// validity plus the vehicle's own braking, by the vehicle's clock. Faults of
// the pose are the guard's to notice, or age the permit by themselves.
func TestScenarios(t *testing.T) {
	t.Parallel()
	aged := func(m Measured) string {
		if !strings.Contains(m.Halting.Why, "permit") || m.ToBrake > fakeValid+5*ms {
			return "braked for something else than the permit's age, or after it"
		}
		return ""
	}
	killGuard := func(_ *broker.Broker, g *fakeGuard, _ *Node) { g.kill() }
	killBroker := func(b *broker.Broker, _ *fakeGuard, _ *Node) { b.Kill() }
	on := func(do func(Faults)) func(*broker.Broker, *fakeGuard, *Node) {
		return func(_ *broker.Broker, _ *fakeGuard, n *Node) { do(n.Faults) }
	}
	runAll(t, []rehearsal{
		{"guard dead", Wren, 0, "stop", killGuard, aged},
		{"guard dead", Mole, 0, "stop", killGuard, aged},
		{"broker dead", Wren, 0, "stop", killBroker, aged},
		{"broker dead", Mole, 0, "stop", killBroker, aged},
		{"pose lost", Wren, 0, "land", on(func(f Faults) { f.Lose(true) }), nil},
		{"pose silent", Mole, 0, "stop", on(func(f Faults) { f.Silence(true) }), nil},
		{"pose frozen", Wren, 150 * ms, "land", on(func(f Faults) { f.Freeze(true) }), nil},
		{"pose jumps", Wren, 0, "land", on(func(f Faults) { f.Jump(Vec{X: -0.8}) }), nil},
		{"tracker restarts", Mole, 0, "stop", on(Faults.RestartTracker), nil},
	})
}

func TestScenarioErrors(t *testing.T) {
	ok := func(context.Context, []*Node) error { return nil }
	for want, s := range map[string]Scenario{
		"no vehicle":      {Vehicle: "bird", Fault: ok, Valid: time.Second},
		"without a fault": {Vehicle: Wren, Valid: time.Second},
		"validity 0s":     {Vehicle: Wren, Fault: ok},
		"detection -1s":   {Vehicle: Mole, Fault: ok, Valid: time.Second, Detect: -time.Second},
	} {
		if _, err := RunScenario(context.Background(), s); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, wanted %q", err, want)
		}
	}
	ctx, cancel := context.WithTimeout(context.Background(), 200*ms)
	defer cancel()
	_, err := RunScenario(ctx, Scenario{Broker: "mqtt://127.0.0.1:9", Vehicle: Mole, Fault: ok, Valid: time.Second})
	if err == nil || !strings.Contains(err.Error(), "is it running?") {
		t.Errorf("without a broker: %v", err)
	}
}

// A fault that finds a vehicle without its permit, slow or going back measures nothing.
func TestOnlyUnderWayIsMeasured(t *testing.T) {
	for _, vehicle := range []string{Wren, Mole} {
		s := Scenario{Vehicle: vehicle}
		at := laneOf(vehicle).speed
		for name, c := range map[string]struct {
			v    NodeView
			fine bool
		}{
			"under way":      {NodeView{MayMove: true, State: State{Velocity: Vec{X: at}}}, true},
			"without permit": {NodeView{State: State{Velocity: Vec{X: at}}}, false},
			"slow":           {NodeView{MayMove: true, State: State{Velocity: Vec{X: 0.9 * at}}}, false},
			"going back":     {NodeView{MayMove: true, State: State{Velocity: Vec{X: -at}}}, false},
		} {
			if err := s.underWay(c.v); (err == nil) != c.fine || err != nil && !errors.Is(err, ErrDisturbed) {
				t.Errorf("%s, %s: %v", vehicle, name, err)
			}
		}
	}
}

// A Measured that is late, or was outside, is not in time; nor is the zero one.
func TestMeasuredInTime(t *testing.T) {
	if (Measured{}).InTime() {
		t.Error("the zero Measured is in time")
	}
	good := Measured{ToRest: time.Second, Bound: time.Second, Halting: Halting{RestAt: 1}}
	good.Verdict.Looks, good.Verdict.Finished = 1, true
	late, out := good, good
	late.ToRest++
	out.Verdict.Outside = 1
	if !good.InTime() || late.InTime() || out.InTime() {
		t.Errorf("good %v, late %v, outside %v", good.InTime(), late.InTime(), out.InTime())
	}
}

// The rover's own braking has a closed form: dead time 40 ms and
// (0.8-0.1)/1.6 s, REFERENCES' t = v/a; the plant must take that long to the
// millisecond.
func TestDemoBrakingRover(t *testing.T) {
	r := NewRover(DemoRover(), 0, 0, 0, Tick)
	steps(r, 3*time.Second, Control{Mode: Drive, Speed: 0.8})
	took := time.Duration(0)
	for r.State().Velocity.Len() >= RestSpeed {
		r.Step(Tick, Control{})
		took += Tick
	}
	bound := DemoBraking(Mole, 0.8)
	near(t, "closed form, s", bound.Seconds(), 0.040+0.7/1.6+0.001, 1e-9)
	near(t, "the plant's braking, s", took.Seconds(), bound.Seconds(), 0.0021)
	if DemoBraking(Mole, 0) < 40*ms {
		t.Error("a standing rover still has its dead time")
	}
}

// The multirotor's cannot be shorter than v/(g·tan Θ) with its dead time, down
// to RestSpeed, nor longer than that with its lags and its soft end, which is
// at most ln(v/RestSpeed) over the loop's gain.
func TestDemoBrakingMultirotor(t *testing.T) {
	if testing.Short() {
		t.Skip("rehearses 24 brakings")
	}
	got := DemoBraking(Wren, 1.2).Seconds()
	a := 3.963 // g·tan 22°
	if low, high := 1.1/a+0.02, 1.1/a+0.02+3*0.05+0.5; got < low || got > high {
		t.Errorf("braking takes %.3f s, wanted %.3f..%.3f s", got, low, high)
	}
}
