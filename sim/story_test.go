package sim

import (
	"context"
	"os"
	"testing"
	"time"

	"pinfold/sim/broker"
)

func startBroker(t *testing.T) *broker.Broker {
	t.Helper()
	b, err := broker.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// The whole story against the fake guard: every act must be seen, and nobody
// leaves the pen. It takes 40 s of real time, so it only runs when asked for;
// the story with the real watchdog is the demo's own test.
func TestStoryWhole(t *testing.T) {
	if os.Getenv("PINFOLD_LONG") == "" {
		t.Skip("takes 40 s; set PINFOLD_LONG=1 to run it")
	}
	b := startBroker(t)
	startFake(t, b.URL(), Wren)
	startFake(t, b.URL(), Mole)
	r, err := RunStory(context.Background(), StoryOptions{Broker: b, Seed: 7, Report: func(l StoryLine) {
		t.Logf("%6.2f %-5s %s", l.At.Seconds(), l.Vehicle, l.Text)
	}})
	if err != nil {
		t.Error(err)
	}
	for _, a := range r.Acts {
		t.Logf("%6.2f %v %s/%s: expected %s, saw %s", a.At.Seconds(), a.OK, a.Vehicle, a.Name, a.Expected, a.Seen)
	}
	if !r.OK() || !r.Stayed() {
		t.Errorf("OK %v, stayed %v: %+v", r.OK(), r.Stayed(), r.Vehicles)
	}
	if r.Took > 90*time.Second {
		t.Errorf("took %v", r.Took)
	}
}
