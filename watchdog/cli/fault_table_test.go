package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"pinfold/sim"
	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// faultRow is one thing that happens to a vehicle at cruise speed.
type faultRow struct {
	name   string
	on     string
	detect time.Duration // how long it may go unnoticed while permits stay fresh
	slack  time.Duration // what the machine may add
	fault  func(*world, *sim.Node) error
	why    string // part of the reason the vehicle itself must give; a killed guard's will may come first
}

// tight is what the machine may add where nobody but the vehicle itself has to
// notice anything: the simulator runs in 5 ms slices.
const tight = 20 * time.Millisecond

// backlog is by how much a growing backlog delays poses, seconds a second.
const backlog = 0.5

// maxAge is that of DemoSite.
const maxAge = 100 * time.Millisecond

// guardRows are about the watchdog itself.
func guardRows() []faultRow {
	by := func(s syscall.Signal) func(*world, *sim.Node) error {
		return func(w *world, _ *sim.Node) error { return w.signal(s) }
	}
	return []faultRow{
		{"guard SIGKILLed", sim.Wren, 0, tight, by(syscall.SIGKILL), ""},
		{"guard SIGKILLed", sim.Mole, 0, tight, by(syscall.SIGKILL), ""},
		{"guard SIGSTOPped", sim.Wren, 0, tight, by(syscall.SIGSTOP), "permit"},
		{"guard crashes, as by a panic", sim.Mole, 0, tight, by(syscall.SIGQUIT), ""}, // the Go runtime prints its goroutines and dies
		{"guard is told to end", sim.Wren, 0, tight, by(syscall.SIGTERM), ""},
		{"second guard is started", sim.Mole, 0, sim.DefaultSlack, secondGuardStarts, ""},
		{"guard SIGKILLed, its permits replayed", sim.Wren, 0, tight, replayPermits, ""},
		{"guard SIGKILLed, its permit retained", sim.Mole, 0, tight, retainPermit, ""},
	}
}

// linkRows are about the broker and the ways to it.
func linkRows() []faultRow {
	now := func(do func(w *world)) func(*world, *sim.Node) error {
		return func(w *world, _ *sim.Node) error { do(w); return nil }
	}
	const slow = 300 * time.Millisecond
	return []faultRow{
		{"broker SIGKILLed", sim.Wren, 0, tight, now(func(w *world) { w.broker.Kill() }), "permit"},
		{"broker SIGSTOPped", sim.Mole, 0, tight, now(func(w *world) { w.broker.Stop() }), "permit"},
		{"broker restarted", sim.Wren, 0, tight, now(func(w *world) { w.broker.Restart() }), ""},
		{"guard's link slow by 300 ms each way", sim.Mole, 0, tight, now(func(w *world) { w.guards.Slow(slow, slow) }), ""},
		{"guard's link cut, half open", sim.Wren, 0, tight, now(func(w *world) { w.guards.Cut(true, true) }), ""},
		{"vehicle's link cut", sim.Mole, 0, tight, now(func(w *world) { w.node.Cut(true, true) }), "permit"},
		{"nothing reaches the vehicle", sim.Wren, 0, tight, now(func(w *world) { w.node.Cut(false, true) }), "permit"},
		{"nothing leaves the vehicle", sim.Mole, 0, tight, now(func(w *world) { w.node.Cut(true, false) }), ""},
	}
}

// poseRows are about the tracker.
func poseRows() []faultRow {
	later := time.Duration(float64(watchdog.DefaultTiming().PermitValid) / backlog)
	return []faultRow{
		{"pose stops", sim.Wren, 0, tight, func(_ *world, n *sim.Node) error { n.Faults.Silence(true); return nil }, ""},
		{"pose freezes", sim.Wren, 500 * time.Millisecond, sim.DefaultSlack, func(_ *world, n *sim.Node) error { n.Faults.Freeze(true); return nil }, ""},
		{"pose jumps", sim.Mole, maxAge, sim.DefaultSlack, func(_ *world, n *sim.Node) error { n.Faults.Jump(sim.Vec{X: -0.8}); return nil }, ""},
		{"pose delayed by a growing backlog", sim.Mole, later, tight, growBacklog, ""},
		{"pose stops, old ones replayed", sim.Wren, 0, tight, replayPoses, ""},
		{"pose repeated out of order, then none", sim.Mole, 0, tight, repeatPoses, ""},
	}
}

func allRows() []faultRow { return slices.Concat(guardRows(), linkRows(), poseRows()) }

// ear keeps the newest messages of a vehicle's topic, as anybody could who may
// read it, and says them again.
type ear struct {
	client *link.Client
	slot   *link.Slot
	inbox  *link.Inbox
	kept   [][]byte
}

// newEar listens to a topic.
func newEar(w *world, vehicle string, topic func(wire.TopicSet) string) (*ear, error) {
	topics, err := wire.Topics(wire.DefaultPrefix, vehicle)
	if err != nil {
		return nil, err
	}
	e := &ear{}
	if e.inbox, err = link.NewInbox(link.Queue{Depth: link.MaxDepth}); err != nil {
		return nil, err
	}
	begun := time.Now()
	e.client, err = link.Dial(link.Options{URL: w.broker.URL, ClientID: "ear", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topic(topics), Inbox: e.inbox}}})
	if err != nil {
		return nil, err
	}
	w.t.Cleanup(func() { _ = e.client.Close(time.Second) })
	e.slot, err = e.client.Slot(topic(topics), 0, false)
	return e, err
}

// hear collects for so long.
func (e *ear) hear(d time.Duration) {
	var m link.Message
	for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(time.Millisecond) {
		for e.inbox.Take(&m) {
			e.kept = append(e.kept, slices.Clone(m.Payload))
		}
	}
}

// again says what was heard, the oldest first, over and over until the test ends.
func (e *ear) again(w *world, every time.Duration) {
	stop := make(chan struct{})
	w.t.Cleanup(func() { close(stop) })
	go func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-time.After(every):
				e.slot.Put(e.kept[i%len(e.kept)], 1<<62)
			}
		}
	}()
}

// overhear is an ear that has heard something.
func overhear(w *world, topic func(wire.TopicSet) string, vehicle string) (*ear, error) {
	e, err := newEar(w, vehicle, topic)
	if err != nil {
		return nil, err
	}
	if e.hear(300 * time.Millisecond); len(e.kept) < 3 {
		return nil, fmt.Errorf("only %d messages were overheard", len(e.kept))
	}
	return e, nil
}

func permitTopic(s wire.TopicSet) string { return s.Permit }
func poseTopic(s wire.TopicSet) string   { return s.Pose }

func replayPermits(w *world, _ *sim.Node) error {
	e, err := overhear(w, permitTopic, sim.Wren)
	if err != nil {
		return err
	}
	if err := w.signal(syscall.SIGKILL); err != nil {
		return err
	}
	e.again(w, 5*time.Millisecond)
	return nil
}

// retainPermit leaves the newest permit with the broker, which hands it to the
// vehicle when that comes back from a short loss of its link, still fresh.
func retainPermit(w *world, _ *sim.Node) error {
	e, err := overhear(w, permitTopic, sim.Mole)
	if err != nil {
		return err
	}
	if err := w.signal(syscall.SIGKILL); err != nil {
		return err
	}
	err = e.client.PublishNow("pinfold/mole/permit", e.kept[len(e.kept)-1], 0, true, time.Second)
	w.node.Drop()
	return err
}

func replayPoses(w *world, n *sim.Node) error {
	e, err := overhear(w, poseTopic, sim.Wren)
	if err != nil {
		return err
	}
	n.Faults.Silence(true)
	e.again(w, 5*time.Millisecond)
	return nil
}

// repeatPoses has every pose said again, late and out of order, for a while.
func repeatPoses(w *world, n *sim.Node) error {
	e, err := overhear(w, poseTopic, sim.Mole)
	if err != nil {
		return err
	}
	e.again(w, 2*time.Millisecond)
	time.Sleep(300 * time.Millisecond)
	if v := n.View(); !v.MayMove {
		return fmt.Errorf("%w: stopped while poses were repeated: %s", sim.ErrDisturbed, n.Halts()[v.Halts-1].Why) // for good where it is so at every try
	}
	n.Faults.Silence(true)
	return nil
}

func growBacklog(w *world, _ *sim.Node) error {
	begun, stop := time.Now(), make(chan struct{})
	w.t.Cleanup(func() { close(stop) })
	go func() {
		for {
			select {
			case <-stop:
				return
			case <-time.After(time.Millisecond):
				w.node.Slow(time.Duration(backlog*float64(time.Since(begun))), 0)
			}
		}
	}()
	return nil
}

func secondGuardStarts(w *world, _ *sim.Node) error {
	second := start(w.t, "run", "--site", w.site, "--trail", w.t.TempDir())
	second.waitFor("watching")
	return nil
}

// measure runs the row, again where the machine itself disturbed it.
func (r *faultRow) measure(t *testing.T, seed uint64) sim.Measured {
	t.Helper()
	for range 6 {
		w := newWorld(t)
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
		m, err := sim.RunScenario(ctx, sim.Scenario{Broker: w.node.URL, Vehicle: r.on, Seed: seed, Valid: watchdog.DefaultTiming().PermitValid,
			Detect: r.detect, Slack: r.slack, Fault: func(_ context.Context, n *sim.Node) error { return r.fault(w, n) }})
		cancel()
		if strings.Contains(r.name, "broker SIGSTOP") {
			w.broker.Cont()
		}
		if errors.Is(err, sim.ErrDisturbed) || errors.Is(err, context.DeadlineExceeded) { // no cruise speed, for want of time
			continue
		}
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	t.Fatal("the machine disturbed every try")
	return sim.Measured{}
}

// bound is how long after the fault the motors may still run, by the site file:
// what may go unnoticed, then the permit's validity; and what the machine may add.
func (r *faultRow) bound() time.Duration {
	return r.detect + watchdog.DefaultTiming().PermitValid + r.slack
}

// check holds one run to what must hold of it.
func (r *faultRow) check(t *testing.T, m *sim.Measured) {
	t.Helper()
	if !m.InTime() {
		t.Errorf("not at rest in time, or not in its pen: rest after %v of %v, %+v", m.ToRest, m.Bound, m)
	}
	if late := m.ToBrake - m.Started; late > r.bound() {
		t.Errorf("the motors were cut %v after the fault, bound %v", late, r.bound())
	}
	if !strings.Contains(m.Halting.Why, r.why) {
		t.Errorf("the vehicle says it halted for %q, want %q", m.Halting.Why, r.why)
	}
	t.Logf("braked %v and rested %v after the fault, bound %v, %.2f m in all, %.2f m of room left: %s",
		m.ToBrake.Round(time.Millisecond), m.ToRest.Round(time.Millisecond), m.Bound.Round(time.Millisecond),
		m.Distance, m.Room, m.Halting.Why)
}

// fewRows are those that are run at every test: in the others nothing else can
// fail.
func fewRows(all []faultRow, short bool) []faultRow {
	out := slices.Clone(all)
	return slices.DeleteFunc(out, func(r faultRow) bool {
		switch r.name {
		case "guard SIGKILLed", "guard SIGSTOPped", "broker SIGKILLed", "broker SIGSTOPped", "pose stops", "pose freezes", "pose jumps":
			return false
		case "second guard is started", "guard SIGKILLed, its permits replayed", "guard SIGKILLed, its permit retained",
			"guard's link cut, half open", "vehicle's link cut", "pose delayed by a growing backlog":
			return short
		}
		return true
	})
}

// faultRuns is how often each row is run.
func faultRuns(t *testing.T) int {
	n, err := strconv.Atoi(cmp.Or(os.Getenv("PINFOLD_FAULTS"), "1"))
	if err != nil || n < 1 {
		t.Fatalf("PINFOLD_FAULTS=%q; give how often each row is run", os.Getenv("PINFOLD_FAULTS"))
	}
	return n
}

// The permit's own age is the only stop that always works: with the guard or
// the broker gone the vehicle brakes within the permit's validity, and is at
// rest within that plus its own braking, by its own clock. PINFOLD_FAULTS=50 runs
// all rows, each so often, and prints the table of docs/faults.md.
func TestVehicleHaltsWhateverDies(t *testing.T) {
	rows, runs := allRows(), faultRuns(t)
	if runs == 1 {
		rows = fewRows(rows, testing.Short())
	}
	var mu sync.Mutex
	times := make([][]time.Duration, len(rows))
	t.Run("rows", func(t *testing.T) {
		for n := range runs {
			for i := range rows {
				r := &rows[i]
				t.Run(fmt.Sprintf("%s %s %d", r.on, r.name, n), func(t *testing.T) {
					t.Parallel()
					m := r.measure(t, uint64(n*len(rows)+i))
					mu.Lock()
					times[i] = append(times[i], m.ToBrake-m.Started)
					mu.Unlock()
					r.check(t, &m)
				})
			}
		}
	})
	if runs == 1 {
		return
	}
	var table strings.Builder
	for i := range rows {
		slices.Sort(times[i])
		if len(times[i]) == 0 {
			continue
		}
		over := 0
		for _, d := range times[i] {
			if d > rows[i].bound() {
				over++
			}
		}
		ms := func(d time.Duration) int64 { return d.Milliseconds() }
		fmt.Fprintf(&table, "| %s | %s | %d | %d | %d | %d | %d |\n", rows[i].name, rows[i].on, len(times[i]),
			ms(times[i][len(times[i])/2]), ms(times[i][len(times[i])-1]), ms(rows[i].bound()), over)
	}
	t.Logf("\n| fault | vehicle | runs | median ms | worst ms | bound ms | over |\n|---|---|---|---|---|---|---|\n%s", table.String())
}
