package watchdog

import (
	"slices"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// carried is a vehicle in a person's hands, its motors off, all at rest.
func carried(t *testing.T) (*rig, *[]Effect) {
	t.Helper()
	c := testConfig(t)
	c.MotorsOff = true
	r := newRig(t, c)
	var all []Effect
	r.out = func(_ time.Duration, effects []Effect) { all = append(all, effects...) }
	r.still(2500 * ms)
	r.wantLevel(Land) // before the first pose there was none
	r.ask(AskReset)
	r.durable()
	r.wantLevel(Waiting)
	return r, &all
}

func noPermit(t *testing.T, all []Effect) {
	t.Helper()
	n := 0
	for i := range all {
		if all[i].Kind == DoPermit {
			n++
			if all[i].Permit.Go {
				t.Fatal("a permit was granted with the motors off")
			}
		}
	}
	if n == 0 {
		t.Error("no permit was said at all: nothing was shown")
	}
}

// TestMotorsOffCallsAStopWithoutAStart: a vehicle that is carried to an edge has
// its stop called and commanded, by the same judgement as one that drives there,
// and it can be reset inside again.
func TestMotorsOffCallsAStopWithoutAStart(t *testing.T) {
	r, all := carried(t)
	r.v = pose.Vec{X: -0.5} // from x = 1 towards the edge at x = 0
	r.move(2*time.Second, pose.Vec{})
	s := r.g.Snapshot()
	if s.Level != Stop || len(s.Latched) != 1 || s.Latched[0].Kind != CauseZone {
		t.Fatalf("level %v, latched %v", s.Level, words(s.Latched))
	}
	if r.command.Action != ActStop || r.command.Cause != CauseZone || r.command.Name != "cage" {
		t.Errorf("the command is %+v", r.command)
	}
	r.p.X = 1
	r.still(3 * time.Second) // the tracker jumps, which is a cause of its own; then it is trusted again
	r.still(3 * time.Second)
	if r.ask(AskReset); r.g.Level() == Waiting {
		t.Error("a reset took effect before its record was durable")
	}
	if r.durable(); r.g.Level() != Waiting {
		t.Errorf("level %v after the reset, blocked %q", r.g.Level(), r.g.Snapshot().Blocked)
	}
	noPermit(t, *all)
}

// TestMotorsOffSaysNothingOfObeying: a person who walks on does not disobey, and
// a vehicle that is carried does not show how it brakes.
func TestMotorsOffSaysNothingOfObeying(t *testing.T) {
	r, all := carried(t)
	r.v = pose.Vec{X: -0.5}
	r.move(3*time.Second, pose.Vec{})
	r.still(2 * time.Second)
	for i := range *all {
		e := &(*all)[i]
		if e.Kind == DoRecord && e.Record.Kind == RecStopped {
			t.Errorf("it says how the vehicle stopped: %+v", e.Record.Body)
		}
	}
	for _, c := range r.g.Snapshot().Latched {
		if c.Kind == CauseNotObeyed || c.Kind == CauseNotAcknowledged {
			t.Errorf("latched: %s", c.Text)
		}
	}
}

// TestMotorsOffTakesNoStart: whatever is asked, in whatever state.
func TestMotorsOffTakesNoStart(t *testing.T) {
	refused := func(r *rig, retrieve bool) {
		t.Helper()
		var why []string
		for _, e := range r.step(Event{Kind: EvRequest, Ask: AskStart, Retrieve: retrieve, By: "tester", Nonce: r.nonce()}) {
			if h, ok := e.Record.Body.(RequestHeard); ok && e.Kind == DoRecord {
				why = h.Why
				if h.Outcome != "refused" {
					t.Errorf("a start was %s", h.Outcome)
				}
			}
		}
		if !slices.ContainsFunc(why, func(s string) bool { return strings.Contains(s, "motors off") }) {
			t.Errorf("the start is refused for %q", why)
		}
	}
	r, all := carried(t)
	refused(r, false)
	refused(r, true)
	r.durable() // of nothing that waits
	r.p.X = 7.3 // outside, where a retrieval would be possible
	r.still(6 * time.Second)
	refused(r, true)
	if r.g.Level() < Stop {
		t.Errorf("level %v outside", r.g.Level())
	}
	r.step(Event{Kind: EvClose, Text: "end of test"})
	refusedAfter := r.step(Event{Kind: EvTick})
	noPermit(t, append(*all, refusedAfter...))
}

// TestMotorsOffStays: no tighter site file gives the motors back.
func TestMotorsOffStays(t *testing.T) {
	r, _ := carried(t)
	c := r.cfg
	c.MotorsOff = false
	if _, err := r.g.Tighten(c, r.now); err == nil || !strings.Contains(err.Error(), "motors") {
		t.Errorf("taken: %v", err)
	}
	c.MotorsOff = true
	if _, err := r.g.Tighten(c, r.now); err != nil {
		t.Error(err)
	}
}

// TestMotorsOffGrantsNothing: not even a guard that took itself to be started would
// permit anything, whatever had made it so.
func TestMotorsOffGrantsNothing(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	if !r.g.permitted() {
		t.Fatal("the guard permits nothing in any case")
	}
	r.g.cfg.MotorsOff = true
	if r.g.permitted() {
		t.Error("a permit would be granted with the motors off")
	}
}
