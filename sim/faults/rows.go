package faults

import (
	"context"
	"slices"
	"syscall"
	"time"

	"pinfold/sim"
)

// Row is one thing that happens to vehicles at cruise speed.
type Row struct {
	Name    string
	Vehicle string
	Detect  time.Duration // how long it may go unnoticed while permits stay fresh
	Slack   time.Duration // what the machine may add
	Why     string        // part of the reason the vehicle itself must give; a killed guard's will may come first
	Late    bool          // before the fault is whole nothing may be stopped
	Quick   int           // 2: run at every test, 1: unless those are to be short, 0: only on request; in those nothing else can fail
	by      ways          // that it happens on
	fault   cause
}

// ways are those to the broker that are made for a fault; the others lead straight
// there, which costs less.
type ways struct{ guards, node bool }

var (
	straight  = ways{}
	guardsWay = ways{guards: true}
	nodeWay   = ways{node: true}
	bothWays  = ways{true, true}
)

// Cause has it happen in the world w, or to all nodes of a fleet in it.
func (r *Row) Cause(ctx context.Context, w *World, fleet []*sim.Node) error {
	return r.fault(ctx, w, fleet)
}

// cause has something happen in the world w, or to all nodes of a fleet in it.
type cause func(ctx context.Context, w *World, fleet []*sim.Node) error

// tight is what the machine may add where nobody but the vehicle itself has to
// notice anything: the simulator runs in 5 ms slices.
const tight = 20 * time.Millisecond

// backlog is by how much a growing backlog delays poses, seconds a second.
const backlog = 0.5

// maxAge is that of sim.DemoSite.
const maxAge = 100 * time.Millisecond

// narrow is how much a narrow link lets through, bytes a second: about a third of
// the poses of 200 Hz, so that what waits grows by two thirds of a second a second
// and is older than a permit may be before narrowDetect.
const (
	narrow       = 20_000
	narrowDetect = 500 * time.Millisecond
)

// guardRows are about the watchdog itself.
func guardRows() []Row {
	by := func(s syscall.Signal) cause {
		return func(_ context.Context, w *World, _ []*sim.Node) error { return w.Tell(s) }
	}
	return []Row{
		{"guard SIGKILLed", sim.Wren, 0, tight, "", false, 2, straight, by(syscall.SIGKILL)},
		{"guard SIGKILLed", sim.Mole, 0, tight, "", false, 2, straight, by(syscall.SIGKILL)},
		{"guard SIGSTOPped", sim.Wren, 0, tight, "permit", false, 2, straight, by(syscall.SIGSTOP)},
		{"guard crashes, as by a panic", sim.Mole, 0, tight, "", false, 0, straight, by(syscall.SIGQUIT)}, // the Go runtime prints its goroutines and dies
		{"guard is told to end", sim.Wren, 0, tight, "", false, 0, straight, by(syscall.SIGTERM)},
		{"second guard is started", sim.Mole, 0, sim.DefaultSlack, "", false, 1, straight, secondGuardStarts},
		{"guard's client id taken by another", sim.Wren, 0, sim.DefaultSlack, "", false, 1, guardsWay, takeClientID},
		{"guard SIGKILLed, its permits replayed", sim.Wren, 0, tight, "", false, 1, straight, replayPermits},
		{"guard SIGKILLed, its permit retained", sim.Mole, 0, tight, "", false, 1, nodeWay, retainPermit},
	}
}

// linkRows are about the broker and the ways to it.
func linkRows() []Row {
	now := func(do func(w *World) error) cause {
		return func(_ context.Context, w *World, _ []*sim.Node) error { return do(w) }
	}
	cut := func(do func(w *World)) cause {
		return now(func(w *World) error { do(w); return nil })
	}
	const slow = 300 * time.Millisecond
	return []Row{
		{"broker SIGKILLed", sim.Wren, 0, tight, "permit", false, 2, straight, cut(func(w *World) { w.Broker.Kill() })},
		{"broker SIGSTOPped", sim.Mole, 0, tight, "permit", false, 2, straight, now(freezeBroker)},
		{"broker restarted", sim.Wren, 0, tight, "", false, 0, straight, now(func(w *World) error { w.strike(); return w.Broker.Restart() })},
		{"broker slow by 150 ms each way, for all", sim.Wren, 0, tight, "", false, 0, bothWays, cut(func(w *World) {
			w.Guards.Slow(slow/2, slow/2)
			w.Node.Slow(slow/2, slow/2)
		})},
		{"guard's link slow by 300 ms each way", sim.Mole, 0, tight, "", false, 0, guardsWay, cut(func(w *World) { w.Guards.Slow(slow, slow) })},
		{"guard's link cut, half open", sim.Wren, 0, tight, "", false, 1, guardsWay, cut(func(w *World) { w.Guards.Cut(true, true) })},
		{"vehicle's link cut", sim.Mole, 0, tight, "permit", false, 1, nodeWay, cut(func(w *World) { w.Node.Cut(true, true) })},
		{"vehicle's link narrow, 20 kB/s", sim.Mole, narrowDetect, tight, "", false, 1, nodeWay, cut(func(w *World) { w.Node.Narrow(narrow, narrow) })},
		{"nothing reaches the vehicle", sim.Wren, 0, tight, "permit", false, 0, nodeWay, cut(func(w *World) { w.Node.Cut(false, true) })},
		{"nothing leaves the vehicle", sim.Mole, 0, tight, "", false, 0, nodeWay, cut(func(w *World) { w.Node.Cut(true, false) })},
	}
}

// freezeBroker stops the broker's process, and lets it go on when all is over:
// one that is stopped cannot end.
func freezeBroker(w *World) error {
	w.after(func() { _ = w.Broker.Cont() }) // it is killed right after
	return w.Broker.Stop()
}

// poseRows are about the tracker. valid is how long a permit is good.
func poseRows(valid time.Duration) []Row {
	later := time.Duration(float64(valid) / backlog)
	each := func(do func(sim.Faults)) cause {
		return func(_ context.Context, _ *World, fleet []*sim.Node) error {
			for _, n := range fleet {
				do(n.Faults)
			}
			return nil
		}
	}
	silence := each(func(f sim.Faults) { f.Silence(true) })
	freeze := each(func(f sim.Faults) { f.Freeze(true) })
	jump := each(func(f sim.Faults) { f.Jump(sim.Vec{X: -0.8}) })
	return []Row{
		{"pose stops", sim.Wren, 0, tight, "", false, 2, straight, silence},
		{"pose freezes", sim.Wren, 500 * time.Millisecond, sim.DefaultSlack, "", false, 2, straight, freeze},
		{"pose jumps", sim.Mole, maxAge, sim.DefaultSlack, "", false, 2, straight, jump},
		{"pose delayed by a growing backlog", sim.Mole, later, tight, "", false, 1, nodeWay, growBacklog},
		{"pose stops, old ones replayed", sim.Wren, 0, tight, "", false, 0, straight, replayPoses},
		{"pose repeated out of order, then none", sim.Mole, 0, tight, "", true, 0, straight, repeatPoses},
	}
}

// Rows are all of them. valid is how long a permit is good.
func Rows(valid time.Duration) []Row { return slices.Concat(guardRows(), linkRows(), poseRows(valid)) }
