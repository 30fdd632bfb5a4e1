package sim

import (
	"context"
	"strings"
	"sync"
	"testing"
	"time"

	"pinfold/sim/broker"
	"pinfold/watchdog/link/wire"
)

// stage sets up a story of one vehicle with a fake guard.
func stage(t *testing.T, vehicle string) (*story, *player, *fakeGuard, *broker.Broker) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	b := startBroker(t)
	g := startFake(t, b.URL(), vehicle)
	s := &story{options: StoryOptions{Broker: b, Seed: 1}, began: time.Now(), meeting: newMeeting()}
	op, err := NewOperator(ctx, b.URL(), "", "desk", vehicle)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(op.Close)
	s.operator = op
	p, err := s.cast(ctx, DemoNode(vehicle, b.URL(), "", 1))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.node.Close)
	return s, p, g, b
}

// A scene that the machine disturbs is played again and then counts; one that
// the pilot spoils, by another cause, does not count. Both end with the vehicle
// started again.
func TestSceneDisturbedAndSpoiled(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	s, p, g, _ := stage(t, Mole)
	if err := p.start(ctx); err != nil {
		t.Fatal(err)
	}
	played := 0
	dash := scene{name: "speed", wish: wish{"stop", []string{"speed"}, ""}, do: func() {
		if played++; played == 1 {
			g.inject("guard-stalled")
			return
		}
		p.head(1.3, 0.9, Vec{13.5, 1.2, 0})
	}}
	if err := p.incident(ctx, dash); err != nil {
		t.Fatal(err)
	}
	spoiled := scene{name: "stairs", wish: wish{"stop", []string{"zone"}, "stairs"}, do: func() { g.inject("tilt") }}
	if err := p.incident(ctx, spoiled); err != nil {
		t.Fatal(err)
	}
	want := []Act{
		{Name: "speed", Vehicle: Mole, Expected: "stop: speed", Seen: "stop: speed", OK: true, Tries: 2},
		{Name: "stairs", Vehicle: Mole, Expected: "stop: zone stairs", Seen: "stop: tilt", OK: false, Tries: 1},
	}
	if len(s.acts) != len(want) {
		t.Fatalf("acts %+v", s.acts)
	}
	for i, a := range s.acts {
		a.At = 0
		if a != want[i] {
			t.Errorf("got %+v\nwanted %+v", a, want[i])
		}
	}
	if st := p.state(); st.Level != "clear" && st.Level != "caution" {
		t.Errorf("ends %s", showing(st))
	}
	r := s.result(true, p)
	if !r.Stayed() || r.OK() || r.Vehicles[0].Name != Mole || len(r.Vehicles[0].Halts) == 0 {
		t.Errorf("stayed %v, OK %v, %+v", r.Stayed(), r.OK(), r.Vehicles)
	}
}

// The broker dies only once everybody who is left moves, and is back when they
// rest.
func TestMeeting(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	s, p, _, b := stage(t, Mole)
	leaver := &player{story: s, name: "leaver"}
	s.meeting.set(p, awaited)
	s.meeting.set(leaver, awaited)
	var all sync.WaitGroup
	all.Go(func() {
		if err := s.conduct(ctx); err != nil {
			t.Error(err)
		}
	})
	if err := p.start(ctx); err != nil {
		t.Fatal(err)
	}
	all.Go(func() {
		if err := p.brokerDies(ctx); err != nil {
			t.Error(err)
		}
	})
	time.Sleep(1500 * ms)
	if s.meeting.over() {
		t.Fatal("the broker died before everybody was there")
	}
	s.meeting.set(leaver, gone)
	all.Wait()
	seen := ""
	for _, a := range s.acts {
		seen += a.Name + "; "
		if !a.OK {
			t.Errorf("%+v", a)
		}
	}
	if seen != "rest without a broker; broker killed; " {
		t.Errorf("acts: %s", seen)
	}
	if err := b.Restart(); err != nil {
		t.Error(err)
	}
}

// A story without anybody to meet keeps its broker.
func TestConductWithoutCast(t *testing.T) {
	b := startBroker(t)
	s := &story{options: StoryOptions{Broker: b}, meeting: newMeeting()}
	s.meeting.set(&player{}, gone)
	if err := s.conduct(context.Background()); err != nil || !s.meeting.over() {
		t.Errorf("error %v, over %v", err, s.meeting.over())
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	if op, err := NewOperator(ctx, b.URL(), "", "desk", Mole); err != nil {
		t.Errorf("the broker is gone: %v", err)
	} else {
		op.Close()
	}
}

func TestRunStoryRefuses(t *testing.T) {
	if _, err := RunStory(context.Background(), StoryOptions{}); err == nil || !strings.Contains(err.Error(), "needs a broker") {
		t.Errorf("without a broker: %v", err)
	}
	b := startBroker(t)
	b.Kill()
	ctx, cancel := context.WithTimeout(context.Background(), 200*ms)
	defer cancel()
	r, err := RunStory(ctx, StoryOptions{Broker: b})
	if err == nil || r.Stayed() || r.OK() {
		t.Errorf("on a dead broker: %v, %+v", err, r)
	}
}

// The zero result, and one with a vehicle that left or an act that failed, are
// not good.
func TestStoryResult(t *testing.T) {
	var r StoryResult
	if r.Stayed() || r.OK() {
		t.Error("a story nobody saw went well")
	}
	good := VehicleResult{}
	good.Verdict.Looks, good.Verdict.Finished = 1, true
	r = StoryResult{Acts: []Act{{OK: true}}, Vehicles: []VehicleResult{good}}
	if !r.Stayed() || !r.OK() {
		t.Error("a good story is not")
	}
	r.Vehicles = append(r.Vehicles, VehicleResult{})
	r.Acts = append(r.Acts, Act{})
	if r.Stayed() || r.OK() {
		t.Error("one bad vehicle and one failed act went unnoticed")
	}
}

func TestDisturbed(t *testing.T) {
	for cause, want := range map[string]bool{
		"pose-stale": true, "guard-stalled": true, "link-lost": true, "link-slow": true, "zone": false, "tilt": false, "operator": false,
	} {
		s := wire.State{Level: "stop", Latched: []wire.Cause{{Cause: cause}}}
		if disturbed(s) != want {
			t.Errorf("%s: %v", cause, !want)
		}
		if s.Level = "clear"; disturbed(s) {
			t.Errorf("%s disturbs a vehicle that runs", cause)
		}
	}
	if disturbed(wire.State{Level: "land"}) {
		t.Error("a land without a cause")
	}
}
