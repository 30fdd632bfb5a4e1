package cli

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/sim"
	"pinfold/sim/faults"
	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// drive is one simulated session: a vehicle, where its pilot goes, and what
// happens on the way.
type drive struct {
	name   string
	on     string
	course sim.Course
	happen func(*stage) error // nil: the pilot alone brings about a stop
	killed bool               // the guard is, by what happens
	mute   bool               // nobody hears the stop
	paged  bool               // its page is held against the JSON, in a browser
}

// stage is what a drive can act on.
type stage struct {
	*world
	node *sim.Node
	op   *sim.Operator
	on   string
}

// drives are ten sessions, the most different first.
func drives() []drive {
	fly := func(speed float64, to ...sim.Vec) sim.Course {
		return sim.Course{Points: append([]sim.Vec{{X: 1.5, Y: 1.3, Z: 1}}, to...), Speed: speed, Accel: 2}
	}
	roll := func(to ...sim.Vec) sim.Course { return sim.Course{Points: to, Speed: 0.8, Accel: 0.9} }
	cage, landing := fly(1, sim.Vec{X: 5.6, Y: 1.2, Z: 1}), roll(sim.Vec{X: 13.8, Y: 1.2})
	row := func(name string) func(*stage) error {
		all := faults.Rows(watchdog.DefaultTiming().PermitValid)
		i := slices.IndexFunc(all, func(r faults.Row) bool { return r.Name == name })
		return func(s *stage) error { return all[i].Cause(context.Background(), s.faulty(), []*sim.Node{s.node}) }
	}
	return []drive{
		{"through the net", sim.Wren, fly(1.2, sim.Vec{X: 1.5, Y: 9, Z: 1}), nil, false, false, true},
		{"stopped, reset, started and stopped again", sim.Mole, landing, twice, false, false, false},
		{"guard killed", sim.Mole, landing, row("guard SIGKILLed"), true, true, false},
		{"guard's link cut", sim.Wren, cage, row("guard's link cut, half open"), false, true, false},
		{"down the stairs", sim.Mole, roll(sim.Vec{X: 10.8, Y: 1.4}, sim.Vec{X: 11.6, Y: 3.5}), nil, false, false, false},
		{"too fast", sim.Wren, fly(2.3, sim.Vec{X: 6.5, Y: 1.3, Z: 1}), nil, false, false, false},
		{"the tracker jumps", sim.Mole, landing, row("pose jumps"), false, false, false},
		{"the tracker freezes", sim.Wren, cage, row("pose freezes"), false, false, false},
		{"broker restarted", sim.Wren, cage, row("broker restarted"), false, false, false},
		{"a tighter site", sim.Mole, landing, tighter, false, false, false},
	}
}

// twice has the operator stop it, release it and stop it again.
func twice(s *stage) error {
	ctx, cancel := context.WithTimeout(context.Background(), 40*time.Second)
	defer cancel()
	if err := s.op.Ask(ctx, s.on, sim.AskStop); err != nil {
		return err
	}
	if err := s.op.Release(ctx, s.on); err != nil {
		return err
	}
	time.Sleep(300 * time.Millisecond)
	return s.op.Ask(ctx, s.on, sim.AskStop)
}

// tighter gives the guard a site whose speed limit the vehicle is over.
func tighter(s *stage) error {
	text, err := os.ReadFile(s.site)
	if err != nil {
		return err
	}
	if err := os.WriteFile(s.site, bytes.Replace(text, []byte("speed = 1.0\ntilt = 10"), []byte("speed = 0.3\ntilt = 10"), 1), 0o600); err != nil {
		return err
	}
	return s.signal(syscall.SIGHUP)
}

// TestLiveIsWhatReplaySays runs simulated sessions: a guard and a broker as
// processes of their own, a vehicle that obeys. What the guard said on the wire,
// and every record in its trail, is what the core says once more when it is given
// the intake: not one effect differs. With PINFOLD_LONG all ten sessions, else
// the first four. The recordings are held to the same by
// TestPlayedOverMosquittoComesToTheOutsideAnswers.
func TestLiveIsWhatReplaySays(t *testing.T) {
	all := drives()
	if os.Getenv("PINFOLD_LONG") == "" {
		all = all[:4]
	}
	for i := range all {
		t.Run(all[i].name, func(t *testing.T) {
			t.Parallel()
			all[i].run(t, uint64(100+i))
		})
	}
}

func (d *drive) run(t *testing.T, seed uint64) {
	w := newWorldOf(t, patientDemo)
	heard := listen(t, w.broker.URL, d.on)
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	node, err := sim.StartNode(ctx, sim.DemoNode(d.on, w.node.URL, wire.DefaultPrefix, seed))
	if err != nil {
		t.Fatal(err)
	}
	defer node.Close()
	op, err := sim.NewOperator(ctx, w.broker.URL, wire.DefaultPrefix, "test", d.on)
	if err != nil {
		t.Fatal(err)
	}
	defer op.Close()
	underWay(ctx, t, op, node, d.on)
	if d.on == sim.Mole {
		node.SetPilot(sim.NewDriving(d.course))
	} else {
		node.SetPilot(sim.NewFlight(d.course))
	}
	if d.happen != nil {
		if time.Sleep(time.Second); d.killed {
			time.Sleep(1500 * time.Millisecond) // the intake is written once a second
		}
		if err := d.happen(&stage{w, node, op, d.on}); err != nil {
			t.Fatal(err)
		}
	}
	within(t, 20*time.Second, "the vehicle is halted", func() bool { return !node.View().MayMove })
	within(t, 20*time.Second, "the vehicle rests", func() bool { return node.View().State.Still() })
	time.Sleep(700 * time.Millisecond) // for the guard to see that it does
	if d.killed {
		w.guard.wait(5 * time.Second)
	} else if code := w.guard.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("run: exit status %d", code)
	}
	folder := sessionIn(t, filepath.Join(w.dir, "trail"))
	if !d.killed {
		proven(t, folder)
	}
	if d.paged {
		if doc := pageAgrees(t, folder, strings.ReplaceAll(d.name, " ", "_")); !slices.ContainsFunc(doc.Vehicles, func(v review.Vehicle) bool { return len(v.Stops) > 0 }) {
			t.Error("the page has no stop to compare")
		}
	}
	heard.isWhatReplaySays(t, folder, d)
	heard.knowsACutTail(t, folder)
}

// knowsACutTail holds the head in the newest state heard against the trail: it
// stands in the chain, and with the end cut off before it, it is missed.
func (l *listener) knowsACutTail(t *testing.T, folder string) {
	t.Helper()
	head := l.last().Trail
	rep, err := trail.Verify(folder, head)
	if err != nil || !rep.OK() || rep.HeadAt == 0 {
		t.Fatalf("the head that the state told, %q: %v %+v", head, err, rep)
	}
	text, err := os.ReadFile(filepath.Join(folder, "events.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	at := int(rep.HeadAt)
	cut := cutAfter(t, folder, strings.SplitAfter(string(text), "\n"), at-1, "")
	if rep, err := trail.Verify(cut, head); err != nil || rep.OK() {
		t.Errorf("cut off before line %d, whose head the state told: %v %+v", at, err, rep)
	}
	if rep, err := trail.Verify(cut, ""); err != nil || !rep.OK() || rep.Sealed {
		t.Errorf("cut off, no head known: %v %+v; only the missing seal can tell", err, rep)
	}
}

// patientDemo is the demo's site with poses that may be late by what a busy
// machine makes of them: it is not tested here how soon a silence is noticed.
func patientDemo(url string) string {
	return strings.ReplaceAll(sim.DemoSite(url), `max_age = "100ms"`, `max_age = "240ms"`)
}

// underWay has the vehicle started, again where the machine held something up.
func underWay(ctx context.Context, t *testing.T, op *sim.Operator, node *sim.Node, vehicle string) {
	t.Helper()
	for range 5 {
		if err := op.Release(ctx, vehicle); err != nil {
			t.Fatal(err)
		}
		for end := time.Now().Add(3 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
			if node.View().MayMove {
				return
			}
		}
	}
	t.Fatal("the vehicle was started five times and never had a permit")
}

// said is all that a guard told its vehicle, by number.
type said struct {
	permits  map[uint64]watchdog.Permit
	commands map[string]watchdog.Command // by id and number
}

// replayed is what the core tells the vehicle when it is given the intake again.
func replayed(t *testing.T, folder, vehicle string) said {
	t.Helper()
	s := said{map[uint64]watchdog.Permit{}, map[string]watchdog.Command{}}
	err := review.Watch(folder, func(name string, _ watchdog.EventKind, _ *watchdog.Snapshot, effects []watchdog.Effect) error {
		for i := range effects {
			switch e := &effects[i]; {
			case name != vehicle:
			case e.Kind == watchdog.DoPermit:
				s.permits[e.Permit.Seq] = e.Permit
			case e.Kind == watchdog.DoCommand:
				s.commands[fmt.Sprint(e.Command.ID, " ", e.Command.Seq)] = e.Command
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// isWhatReplaySays holds what was heard on the wire, and the records, against the
// session judged again. A killed guard has said things whose poses it had no time
// to write: those, and only those, may be missing.
func (l *listener) isWhatReplaySays(t *testing.T, folder string, d *drive) {
	t.Helper()
	again, err := review.Reproduce(folder)
	if err != nil || !again.Same || again.Records == 0 {
		t.Fatalf("records: %v %+v", err, again)
	}
	s, goes, lastKnown := replayed(t, folder, d.on), 0, uint64(0)
	for seq := range s.permits {
		lastKnown = max(lastKnown, seq)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for i, p := range l.permits {
		if i == len(l.permits)-1 && p.Seq == wire.MaxSeq && !p.Go {
			continue // the shell's farewell: the core has ended
		}
		want, ok := s.permits[p.Seq]
		if !ok && !again.Sealed && p.Seq > lastKnown {
			continue
		}
		if !ok || p.Go != want.Go || p.Stamp != want.Stamp || p.Valid != want.Valid.Seconds() {
			t.Fatalf("heard %+v; judged again it is %+v (there is one: %v)", p, want, ok)
		}
		if p.Go {
			goes++
		}
	}
	for _, c := range l.commands {
		want, ok := s.commands[fmt.Sprint(c.ID, " ", c.Seq)]
		if !ok && !again.Sealed {
			continue
		}
		if !ok || c.Action != want.Action.String() || c.Cause != want.Cause.String() || c.Zone != want.Name || c.Stamp != want.Stamp ||
			!sameNumber(c.Value, want.Value) || !sameNumber(c.Limit, want.Limit) {
			t.Fatalf("heard %+v; judged again it is %+v (there is one: %v)", c, want, ok)
		}
	}
	if goes == 0 || len(l.commands) == 0 && !d.mute {
		t.Errorf("%d permits to go and %d commands were heard: nothing was compared", goes, len(l.commands))
	}
	cause := "none"
	if len(l.commands) > 0 {
		cause = l.commands[0].Action + " for " + l.commands[0].Cause
	}
	t.Logf("%d permits and %d commands heard (the first: %s), %d records: all as judged again, %d steps",
		len(l.permits), len(l.commands), cause, again.Records, again.Steps)
}

// sameNumber says whether both are the same, or neither is a number.
func sameNumber(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
