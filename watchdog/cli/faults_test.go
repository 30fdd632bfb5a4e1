package cli

import (
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"pinfold/sim"
	"pinfold/sim/faults"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/trail"
)

// world is a broker and a guard, each a process of its own, and the ways that
// guard and vehicle have to the broker.
type world struct {
	t            *testing.T
	broker       *mosquittotest.Broker
	guard        *process
	site, dir    string
	guards, node *mosquittotest.Way
}

func newWorld(t *testing.T) *world {
	t.Helper()
	return newWorldOf(t, sim.DemoSite)
}

// newWorldOf is a world with a site file of its own, for a broker.
func newWorldOf(t *testing.T, site func(url string) string) *world {
	t.Helper()
	w := &world{t: t, broker: mosquittotest.Start(t), dir: t.TempDir()}
	w.guards, w.node = mosquittotest.NewWay(t, w.broker.URL), mosquittotest.NewWay(t, w.broker.URL)
	w.site = filepath.Join(w.dir, "site.toml")
	if err := os.WriteFile(w.site, []byte(site(w.guards.URL)), 0o600); err != nil {
		t.Fatal(err)
	}
	w.guard = start(t, "run", "--site", w.site, "--trail", filepath.Join(w.dir, "trail"))
	w.guard.waitFor("watching")
	return w
}

// faulty is the world as the faults know it.
func (w *world) faulty() *faults.World {
	f := &faults.World{Broker: w.broker.Process, Guards: w.guards, Node: w.node, Site: w.site, Dir: w.dir, Tell: w.signal}
	w.t.Cleanup(f.Close)
	return f
}

func (w *world) signal(s syscall.Signal) error { return w.guard.cmd.Process.Signal(s) }

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
