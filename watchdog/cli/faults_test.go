package cli

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/sim"
	"pinfold/watchdog"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/trail"
)

// world is a broker and a guard, each a process of its own.
type world struct {
	t      *testing.T
	broker *mosquittotest.Broker
	guard  *process
	dir    string
}

func newWorld(t *testing.T) *world {
	t.Helper()
	w := &world{t: t, broker: mosquittotest.Start(t), dir: t.TempDir()}
	site := filepath.Join(w.dir, "site.toml")
	if err := os.WriteFile(site, []byte(sim.DemoSite(w.broker.URL)), 0o600); err != nil {
		t.Fatal(err)
	}
	w.guard = start(t, "run", "--site", site, "--trail", filepath.Join(w.dir, "trail"))
	w.guard.waitFor("watching")
	return w
}

func (w *world) signal(s syscall.Signal) error { return w.guard.cmd.Process.Signal(s) }

// faultRow is one thing that happens to a vehicle at cruise speed.
type faultRow struct {
	name   string
	on     string
	detect time.Duration // how long it may go unnoticed while permits stay fresh
	slack  time.Duration // what the machine may add
	fault  func(*world, *sim.Node) error
	why    string // part of the reason the vehicle itself must give; a killed guard's will may come first
}

// The permit's own age is the only stop that always works: with the guard or
// the broker gone the vehicle brakes within the permit's validity, and is at
// rest within that plus its own braking, by its own clock.
func TestVehicleHaltsWhateverDies(t *testing.T) {
	valid := watchdog.DefaultTiming().PermitValid
	maxAge := 100 * time.Millisecond // of DemoSite
	rows := []faultRow{
		{"guard SIGKILLed", sim.Wren, 0, tight, func(w *world, _ *sim.Node) error { return w.signal(syscall.SIGKILL) }, ""},
		{"guard SIGKILLed", sim.Mole, 0, tight, func(w *world, _ *sim.Node) error { return w.signal(syscall.SIGKILL) }, ""},
		{"guard SIGSTOPped", sim.Wren, 0, tight, func(w *world, _ *sim.Node) error { return w.signal(syscall.SIGSTOP) }, "permit"},
		{"broker SIGKILLed", sim.Wren, 0, tight, func(w *world, _ *sim.Node) error { w.broker.Kill(); return nil }, "permit"},
		{"broker SIGSTOPped", sim.Mole, 0, tight, func(w *world, _ *sim.Node) error { w.broker.Stop(); return nil }, "permit"},
		{"pose stops", sim.Wren, 0, tight, func(_ *world, n *sim.Node) error { n.Faults.Silence(true); return nil }, ""},
		{"pose freezes", sim.Wren, 500 * time.Millisecond, sim.DefaultSlack, func(_ *world, n *sim.Node) error { n.Faults.Freeze(true); return nil }, ""},
		{"pose jumps", sim.Mole, maxAge, sim.DefaultSlack, func(_ *world, n *sim.Node) error { n.Faults.Jump(sim.Vec{X: -0.8}); return nil }, ""},
	}
	for i, r := range rows {
		t.Run(r.on+" "+r.name, func(t *testing.T) {
			t.Parallel()
			m := r.measure(t, valid, uint64(i))
			if !m.InTime() {
				t.Errorf("not at rest in time, or not in its pen: rest after %v of %v, %+v", m.ToRest, m.Bound, m)
			}
			if !strings.Contains(m.Halting.Why, r.why) {
				t.Errorf("the vehicle says it halted for %q, want %q", m.Halting.Why, r.why)
			}
			t.Logf("braked %v and rested %v after the fault, bound %v, %.2f m in all, %.2f m of room left: %s",
				m.ToBrake.Round(time.Millisecond), m.ToRest.Round(time.Millisecond), m.Bound.Round(time.Millisecond),
				m.Distance, m.Room, m.Halting.Why)
		})
	}
}

// tight is what the machine may add where nobody but the vehicle itself has to
// notice anything: the simulator runs in 5 ms slices.
const tight = 20 * time.Millisecond

// measure runs the row, again where the machine itself disturbed it.
func (r *faultRow) measure(t *testing.T, valid time.Duration, seed uint64) sim.Measured {
	t.Helper()
	for range 4 {
		w := newWorld(t)
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
		m, err := sim.RunScenario(ctx, sim.Scenario{Broker: w.broker.URL, Vehicle: r.on, Seed: seed, Valid: valid,
			Detect: r.detect, Slack: r.slack, Fault: func(_ context.Context, n *sim.Node) error { return r.fault(w, n) }})
		cancel()
		if strings.Contains(r.name, "broker SIGSTOP") {
			w.broker.Cont()
		}
		if errors.Is(err, sim.ErrDisturbed) {
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

// A guard that is killed leaves a trail that holds up to its last second, and
// the next session refers to it.
func TestKilledGuardLeavesATrailThatHolds(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	dir := filepath.Join(w.dir, "trail")
	time.Sleep(2500 * time.Millisecond)
	if err := w.signal(syscall.SIGKILL); err != nil {
		t.Fatal(err)
	}
	w.guard.wait(5 * time.Second)
	first := sessionIn(t, dir)
	rep, err := trail.Verify(first, "")
	if err != nil || rep.Count > 0 || rep.Sealed || rep.Lines < 2 {
		t.Errorf("the killed session's trail: %v %+v", err, rep)
	}
	again := start(t, "run", "--site", filepath.Join(w.dir, "site.toml"), "--trail", dir)
	again.waitFor("watching")
	if code := again.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("exit status %d", code)
	}
	list, err := trail.List(dir)
	if err != nil || len(list) != 2 {
		t.Fatalf("%d sessions, want 2: %v", len(list), err)
	}
	r, err := trail.Open(list[1].Folder)
	if err != nil {
		t.Fatal(err)
	}
	if p := r.Meta().Previous; p == nil || p.Session != list[0].ID || p.Sealed {
		t.Errorf("the second session refers to %+v, want the first, unsealed", p)
	}
}
