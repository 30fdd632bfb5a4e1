package watchdog

import (
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// outside is a vehicle at rest 0.52 m outside its pen, its stop acknowledged.
func outside(t *testing.T, c Config) *rig {
	t.Helper()
	r := newRig(t, c).started()
	r.p.X = 7.3
	r.still(3 * time.Second)
	r.step(Event{Kind: EvAck, Text: r.command.ID})
	return r
}

// bringBack asks for a retrieval and has it made durable.
func (r *rig) bringBack() *rig {
	r.step(Event{Kind: EvRequest, Ask: AskStart, Retrieve: true, By: "tester", Nonce: r.nonce()})
	r.durable()
	return r
}

func (r *rig) wantEnd(name string) {
	r.t.Helper()
	s := r.g.Snapshot()
	if s.Level < Stop || s.Go || s.Retrieves || len(s.Latched) == 0 || s.Latched[0].Name != name {
		r.t.Fatalf("level %v, go %v, retrieves %v, latched %+v; want a stop for %q", s.Level, s.Go, s.Retrieves, s.Latched, name)
	}
}

// TestRetrievalEnds: a retrieval ends with a stop, whatever ends it.
func TestRetrievalEnds(t *testing.T) {
	for name, do := range map[string]func(r *rig){
		retrieveTime:  func(r *rig) { r.still(RetrieveFor + 10*ms) },
		retrievePace:  func(r *rig) { r.v.X = -1.41; r.now += 5 * ms; r.pose() },
		retrieveRoom:  func(r *rig) { r.v.X = 0.4; r.now += 5 * ms; r.pose() },
		retrieveDone:  func(r *rig) { r.v.X = -0.5; r.move(2*time.Second, pose.Vec{}); r.still(time.Second) },
		"tester":      func(r *rig) { r.ask(AskStop) },
		"":            func(r *rig) { r.step(Event{Kind: EvLink}) },
		"tilt":        func(r *rig) { r.tilt = 30; r.move(20*ms, pose.Vec{}) },
		"end of test": func(r *rig) { r.step(Event{Kind: EvClose, Text: "end of test"}) },
	} {
		r := outside(t, testConfig(t)).bringBack()
		if !r.granted() || !r.g.Snapshot().Retrieves {
			t.Fatalf("%q: nothing was granted: %q", name, r.g.Snapshot().Blocked)
		}
		do(r)
		r.wantEnd(name)
	}
}

// TestRetrievalLasts: standing about, and coming back, do not end it.
func TestRetrievalLasts(t *testing.T) {
	r := outside(t, testConfig(t)).bringBack()
	r.still(RetrieveFor - 5*time.Second)
	r.v.X = -0.3
	r.move(500*ms, pose.Vec{})
	if s := r.g.Snapshot(); !s.Go || !s.Retrieves || s.Level != Caution {
		t.Errorf("level %v, go %v, latched %v", s.Level, s.Go, words(s.Latched))
	}
}

// TestRetrievalToleratesOnlyWhereItWas: a zone that was not violated when it
// began is not entered.
func TestRetrievalToleratesOnlyWhereItWas(t *testing.T) {
	s := append(shapes(), shapes()[1])
	s[2].Name, s[2].Rings[0] = "crate", box(7.8, 2, 8.2, 4)
	c := testConfig(t)
	c.Zones = setOf(t, s...)
	r := newRig(t, c).started()
	r.p.X, r.p.Y = 8, 1.1 // 0.68 m from the crate: no room for more than a slow start
	r.still(3 * time.Second)
	r.bringBack()
	if !r.granted() {
		t.Fatal("nothing was granted")
	}
	r.v.Y = 0.8
	r.move(400*ms, pose.Vec{})
	r.wantEnd("crate")
}

// TestRetrievalNeedsAReason: it is refused where it is not needed, where other
// causes hold, and wherever a start is.
func TestRetrievalNeedsAReason(t *testing.T) {
	for want, do := range map[string]func(r *rig){
		"nowhere to retrieve": func(r *rig) { r.p.X = 3; r.still(3 * time.Second) },
		"tilt":                func(r *rig) { r.tilt = 30; r.still(100 * ms) },
		"at rest":             func(r *rig) { r.v.X = 0.3; r.move(50*ms, pose.Vec{}) },
		"broker":              func(r *rig) { r.step(Event{Kind: EvLink}) },
		"trail":               func(r *rig) { r.step(Event{Kind: EvTrail}) },
		"trusted":             func(r *rig) { r.silence(200 * ms) },
	} {
		r := outside(t, testConfig(t))
		do(r)
		effects := r.step(Event{Kind: EvRequest, Ask: AskStart, Retrieve: true, Nonce: r.nonce()})
		heard := bodies[RequestHeard](effects)
		if len(heard) != 1 || heard[0].Outcome != "refused" || !strings.Contains(strings.Join(heard[0].Why, "; "), want) {
			t.Errorf("%s: %+v", want, heard)
		}
	}
	r := outside(t, testConfig(t))
	if h := bodies[RequestHeard](r.step(Event{Kind: EvRequest, Ask: AskReset, Retrieve: true, Nonce: r.nonce()})); len(h) != 1 || h[0].Outcome != "refused" {
		t.Errorf("a reset with retrieve: %+v", h)
	}
	r = outside(t, testConfig(t))
	r.step(Event{Kind: EvRequest, Ask: AskStart, Retrieve: true, Nonce: "guess"})
	r.durable()
	if r.granted() {
		t.Error("granted without the nonce")
	}
}
