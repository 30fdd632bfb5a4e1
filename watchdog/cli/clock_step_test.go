package cli

import (
	"context"
	"math"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/watchdog/app"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// A wall clock that jumps by an hour, forwards and back again, is no fault for a
// vehicle that drives: the guard judges by the monotonic clock. The trail says
// that the clock was stepped, and the session judged again is the same.
func TestSteppedClockChangesNothing(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	site, err := config.Parse("site.toml", []byte(patientDemo(b.URL)), noFiles)
	if err != nil {
		t.Fatal(err)
	}
	var step atomic.Int64
	dir, guard, ready, ended := t.TempDir(), context.Background(), make(chan struct{}), make(chan error, 1)
	guard, end := context.WithCancel(guard)
	defer end()
	go func() {
		_, err := app.Run(guard, app.Options{Site: site, Version: "test", TrailDir: dir, Ready: func(app.Session) { close(ready) },
			Wall: func() time.Time { return time.Now().Add(time.Duration(step.Load())) }})
		ended <- err
	}()
	<-ready
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	node, err := sim.StartNode(ctx, sim.DemoNode(sim.Mole, b.URL, wire.DefaultPrefix, 5))
	if err != nil {
		t.Fatal(err)
	}
	defer node.Close()
	op, err := sim.NewOperator(ctx, b.URL, wire.DefaultPrefix, "test", sim.Mole)
	if err != nil {
		t.Fatal(err)
	}
	defer op.Close()
	node.SetPilot(sim.NewDriving(sim.Course{Points: []sim.Vec{{X: 13.8, Y: 1.2}, {X: 9.2, Y: 1.2}}, Speed: 0.6, Accel: 0.9, Loop: true}))
	undisturbed := false
	for range 5 { // again where the machine itself stopped it
		underWay(ctx, t, op, node, sim.Mole)
		before := node.View().Halts
		for _, by := range []time.Duration{time.Hour, 0, -time.Hour, 0} {
			step.Store(int64(by))
			time.Sleep(1200 * time.Millisecond) // the trail looks once a second
		}
		if undisturbed = node.View().Halts == before && node.View().MayMove; undisturbed {
			break
		}
		t.Logf("halted, the machine or the clock: %s", node.Halts()[before].Why)
	}
	if !undisturbed {
		t.Error("halted at every try")
	}
	end()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	folder := sessionIn(t, dir)
	checkSteps(t, folder)
	if again, err := review.Reproduce(folder); err != nil || !again.Same {
		t.Errorf("judged again: %v %+v", err, again)
	}
	if r, err := trail.Verify(folder, ""); err != nil || !r.OK() || !r.Sealed || filepath.Base(folder) == "" {
		t.Errorf("verify: %v %+v", err, r)
	}
}

// checkSteps looks for an hour forwards and an hour back in the trail.
func checkSteps(t *testing.T, folder string) {
	t.Helper()
	r, err := trail.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	forth, back := 0, 0
	err = r.Events(func(l trail.Line) error {
		var c trail.Clock
		if l.Kind != trail.KindClock {
			return nil
		}
		if err := l.Decode(&c); err != nil {
			return err
		}
		if math.Abs(c.Stepped-3600) < 1 {
			forth++
		} else if math.Abs(c.Stepped+3600) < 1 {
			back++
		}
		return nil
	})
	if err != nil || forth < 2 || back < 2 {
		t.Errorf("%d steps forwards and %d back are in the trail: %v", forth, back, err)
	}
}
