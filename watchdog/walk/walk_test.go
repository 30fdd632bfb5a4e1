package walk

import (
	"strings"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// led is a walk of a square pen, its first edge asked for.
func led(t *testing.T) *Walk {
	t.Helper()
	c := config(t, zones.Shape{Name: "hall", Kind: zones.KeepIn, Floor: -1, Ceiling: 6, Rings: [][]zones.XY{box(0, 0, 7, 5)}})
	plan, err := Plan(c)
	if err != nil {
		t.Fatal(err)
	}
	w := New(c, plan, "tester")
	if o := w.See(at(3.5, 2.5, 1)); len(o.Say) != 1 || !o.Say[0].Prompt {
		t.Fatalf("nothing is asked for: %+v", o)
	}
	return w
}

// at is a snapshot of a vehicle held there, nothing latched.
func at(x, y, z float64) *watchdog.Snapshot {
	s := &watchdog.Snapshot{At: time.Second, Judged: true, Nonce: "n"}
	s.Pose.Position = pose.Vec{X: x, Y: y, Z: z}
	return s
}

func stopped(s *watchdog.Snapshot, c watchdog.Cause) *watchdog.Snapshot {
	s.Level, s.Latched = watchdog.Stop, []watchdog.Cause{c}
	return s
}

func zone(name string) watchdog.Cause {
	return watchdog.Cause{Kind: watchdog.CauseZone, Word: "zone", Name: name, Text: "would have crossed " + name}
}

func said(o Out) string {
	var b strings.Builder
	for _, s := range o.Say {
		b.WriteString(s.Text + "\n")
	}
	return b.String()
}

// TestNothingIsTickedOffUnheard: the guard's own word is not enough.
func TestNothingIsTickedOffUnheard(t *testing.T) {
	w := led(t)
	s := stopped(at(3.5, 0.5, 1), zone("hall"))
	w.See(s)
	if w.list.Items[0].Outcome != Open {
		t.Fatal("ticked off before the command was heard")
	}
	w.Hear(Command{Cause: "zone", Name: "post", After: 1})
	if w.list.Items[0].Outcome != Open {
		t.Fatal("ticked off by the command of another stop")
	}
	o := w.Hear(Command{Cause: "zone", Name: "hall", After: 1.25})
	it := &w.list.Items[0]
	if it.Outcome != Walked || it.Distance != 0.3 || it.After != 1.3 && it.After != 1.2 || !o.Ticked || !strings.Contains(said(o), "0.30 m before the edge") {
		t.Errorf("%+v, %s", it, said(o))
	}
}

func TestUnheardCommandIsSaid(t *testing.T) {
	w := led(t)
	s := stopped(at(3.5, 0.5, 1), zone("hall"))
	w.See(s)
	late := stopped(at(3.5, 0.5, 1), zone("hall"))
	late.At += hearWithin + time.Millisecond
	if o := w.See(late); !strings.Contains(said(o), "not heard on the broker") || w.list.Items[0].Outcome != Open || w.list.Items[0].Elsewhere != 1 {
		t.Errorf("%s %+v", said(o), w.list.Items[0])
	}
}

// TestTooLateIsNotWalked: a stop that is called when the body is past the edge
// already is no success, and the list is not fine with it.
func TestTooLateIsNotWalked(t *testing.T) {
	w := led(t)
	w.See(stopped(at(3.5, 0.15, 1), zone("hall"))) // the body's radius is 0.2
	w.Hear(Command{Cause: "zone", Name: "hall"})
	if it := &w.list.Items[0]; it.Outcome != Late || it.Distance != -0.05 {
		t.Errorf("%+v", it)
	}
	w.list.Done = true
	if l := w.List(); l.OK() {
		t.Error("a list with a late stop is fine")
	}
}

// TestStopBeforeThePromptCounts for nothing: the person was told of no edge yet,
// or is still on the way back from the one before.
func TestStopBeforeThePromptCounts(t *testing.T) {
	w := led(t)
	w.See(stopped(at(3.5, 0.5, 1), zone("hall")))
	w.Hear(Command{Cause: "zone", Name: "hall"})
	s := stopped(at(6.6, 2.5, 1), zone("hall")) // at edge 2, the stop still latched
	s.Latched = append(s.Latched, watchdog.Cause{Kind: watchdog.CauseZone, Word: "zone", Name: "other"})
	w.See(s)
	w.Hear(Command{Cause: "zone", Name: "other"})
	if w.list.Items[1].Outcome != Open || w.list.Items[1].Elsewhere != 0 {
		t.Errorf("%+v", w.list.Items[1])
	}
}

func TestResetIsAskedForOnceNothingIsInTheWay(t *testing.T) {
	w := led(t)
	s := stopped(at(3.5, 0.1, 1), zone("hall"))
	s.Blocked = []string{"it moves"}
	if o := w.See(s); o.Reset != "" {
		t.Error("a reset that is refused for sure was asked for")
	}
	w.hit = nil
	held := stopped(at(3.5, 0.5, 1), zone("hall"))
	held.Causes = []watchdog.Cause{zone("hall")}
	if o := w.See(held); o.Reset != "" {
		t.Error("a reset was asked for while the cause holds: it would stop again at once")
	}
	if o := w.See(stopped(at(3.5, 2.5, 1), zone("hall"))); o.Reset != "n" {
		t.Error("no reset was asked for")
	}
	if o := w.See(stopped(at(3.5, 2.5, 1), zone("hall"))); o.Reset != "" {
		t.Error("a nonce was used twice")
	}
}

func TestVoidTieIsSaid(t *testing.T) {
	w := led(t)
	s := stopped(at(3.5, 2.5, 1), watchdog.Cause{Kind: watchdog.CauseTrackerRestarted, Word: "tracker-restarted", Text: "the tracker restarted"})
	s.Void = true
	if o := w.See(s); !strings.Contains(said(o), "VOID") || w.list.Items[0].Outcome != Open {
		t.Errorf("%s", said(o))
	}
	if o := w.See(s); strings.Contains(said(o), "VOID") {
		t.Error("it is said with every snapshot")
	}
}
