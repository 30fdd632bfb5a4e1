package sim

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/link/wire"
)

// An operator starts, stops, resets and lands a vehicle; what is refused comes
// back with the reasons.
func TestOperatorAsks(t *testing.T) {
	t.Parallel()
	b := startBroker(t)
	startFake(t, b.URL(), Mole)
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	defer cancel()
	op, err := NewOperator(ctx, b.URL(), "", "desk", Mole)
	if err != nil {
		t.Fatal(err)
	}
	defer op.Close()
	var refused *Refused
	if err := op.Ask(ctx, Mole, AskStart); !errors.As(err, &refused) || len(refused.Blocked) == 0 {
		t.Fatalf("start without a pose: %v", err)
	}
	if want := "start mole refused: pose not trusted for long enough yet"; refused.Error() != want {
		t.Errorf("says %q, wanted %q", refused, want)
	}
	n, err := StartNode(ctx, DemoNode(Mole, b.URL(), "", 1))
	if err != nil {
		t.Fatal(err)
	}
	defer n.Close()
	if err := op.Insist(ctx, Mole, AskStart); err != nil {
		t.Fatal(err)
	}
	if s, ok := op.State(Mole); !ok || !s.Go {
		t.Errorf("started: %+v", s)
	}
	if err := op.Ask(ctx, Mole, AskStop); err != nil {
		t.Error(err)
	}
	if s, _ := op.State(Mole); s.Level != "stop" || showing(s) != "stop: operator desk" {
		t.Errorf("stopped: %q", showing(s))
	}
	if err := op.Release(ctx, Mole); err != nil {
		t.Error(err)
	}
	if s, _ := op.State(Mole); s.Level != "clear" || len(s.Latched) != 0 {
		t.Errorf("released: %+v", s)
	}
}

func TestOperatorErrors(t *testing.T) {
	b := startBroker(t)
	ctx, cancel := context.WithTimeout(context.Background(), 300*ms)
	defer cancel()
	op, err := NewOperator(ctx, b.URL(), "", "desk", Mole)
	if err != nil {
		t.Fatal(err)
	}
	defer op.Close()
	for want, err := range map[string]error{
		`does not look after "wren"`: op.Ask(ctx, Wren, AskStart),
		`cannot ask "fly"`:           op.Ask(ctx, Mole, "fly"),
		"no state was heard":         op.Ask(ctx, Mole, AskStart),
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, wanted %q", err, want)
		}
	}
	if _, err := NewOperator(ctx, b.URL(), "", "desk", "a/b"); err == nil {
		t.Error("took a name that cannot stand in a topic")
	}
	op.Close() // the second time does nothing
}

// What a state grants, and what it refuses.
func TestGrantedAndRefusal(t *testing.T) {
	levels := []string{"waiting", "clear", "caution", "stop", "land"}
	for ask, want := range map[string]string{
		AskStart: "clear caution", AskReset: "waiting", AskStop: "stop land", AskLand: "land",
	} {
		var got []string
		for _, l := range levels {
			if granted(ask, wire.State{Level: l}) {
				got = append(got, l)
			}
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s is granted by %v, wanted %s", ask, got, want)
		}
	}
	s := wire.State{Blocked: []string{"another request waits for the disk", "not at rest"}}
	if r := refusal(s); len(r) != 1 || r[0] != "not at rest" {
		t.Errorf("refusal %v", r)
	}
}

// A wish is met by its level and by what was latched first, by nothing else.
func TestWishMet(t *testing.T) {
	state := func(level string, causes ...string) wire.State {
		s := wire.State{Level: level}
		for _, c := range causes {
			s.Latched = append(s.Latched, wire.Cause{Cause: c, Name: "of " + c})
		}
		return s
	}
	zone := wish{"stop", []string{"zone"}, "of zone"}
	for _, c := range []struct {
		w    wish
		s    wire.State
		want bool
	}{
		{zone, state("stop", "zone"), true},
		{zone, state("land", "zone", "pose-stale"), true},
		{zone, state("stop", "speed", "zone"), false},
		{zone, state("caution", "zone"), false},
		{wish{"stop", []string{"zone"}, "post"}, state("stop", "zone"), false},
		{wish{"land", []string{"a", "b"}, ""}, state("land", "b"), true},
		{wish{"land", []string{"a", "b"}, ""}, state("stop", "b"), false},
		{wish{level: "caution"}, state("caution"), true},
		{wish{level: "caution"}, wire.State{}, false},
		{zone, wire.State{}, false},
	} {
		if got := c.w.met(c.s); got != c.want {
			t.Errorf("%v by %s: %v", c.w, showing(c.s), got)
		}
	}
	if got := zone.String(); got != "stop: zone of zone" {
		t.Errorf("wish reads %q", got)
	}
}
