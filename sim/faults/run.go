package faults

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"pinfold/sim"
)

// Plan is what is to be shown.
type Plan struct {
	Setting                     // Dir may be empty: temporary folders
	Valid    time.Duration      // how long a permit of the program is good
	Runs     int                // of each row: vehicles that are measured
	Only     string             // part of the names of rows; empty: all
	Quick    int                // only rows that are as quick (Row.Quick); 0: all
	Fleet    int                // vehicles in a world at most; 1 where zero
	Parallel int                // worlds at the same time; 1 where zero
	Each     func(*Row, string) // told of each vehicle how it went; nil: nobody
}

// tries is how many times as many worlds as should do are begun at most for a row,
// where the machine disturbs.
const tries = 6

// Bound is how long after the fault the motors may still run, by the site file:
// what may go unnoticed, then the permit's validity; and what the machine may add.
func (r *Row) Bound(valid time.Duration) time.Duration { return r.Detect + valid + r.Slack }

// most bounds one world.
const most = 2 * time.Minute

// Measure has the row happen to a fleet in a world of its own. An error says that
// nothing was measured.
func (r *Row) Measure(ctx context.Context, s Setting, valid time.Duration, count int, seed uint64) (all []sim.Outcome, err error) {
	if s.Dir, err = os.MkdirTemp(s.Dir, "fault-"); err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(s.Dir)) }()
	short, cancel := context.WithTimeout(ctx, most)
	defer cancel()
	w, err := NewWorld(short, s, r.by, r.Vehicle, count)
	if err == nil {
		defer w.Close()
		all, err = r.happen(short, w, valid, count, seed)
	}
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		err = fmt.Errorf("%w: %w", errSlow, err) // no cruise speed, for want of time
	}
	return all, err
}

// happen has it happen in a world.
func (r *Row) happen(ctx context.Context, w *World, valid time.Duration, count int, seed uint64) ([]sim.Outcome, error) {
	var whole time.Time
	all, err := sim.RunFleet(ctx, sim.Scenario{Broker: w.Vehicles, Vehicle: r.Vehicle, Count: count, Seed: seed, Valid: valid, Detect: r.Detect,
		Slack: r.Slack, Fault: func(ctx context.Context, fleet []*sim.Node) error {
			err := r.fault(ctx, w, fleet)
			whole = time.Now()
			return err
		}})
	if !w.struck.IsZero() {
		for i := range all {
			all[i].Started -= whole.Sub(w.struck)
			all[i].Measured.Bound -= whole.Sub(w.struck)
		}
	}
	return all, err
}

// table is a report in the making, filled by several worlds at once.
type table struct {
	Plan
	rows []Row
	rep  Report
	ctx  context.Context
	end  context.CancelCauseFunc

	mu   sync.Mutex
	next int // row that is looked at first
	seed uint64
}

// Run runs every row that is asked for, so often each.
func Run(ctx context.Context, p Plan) (*Report, error) {
	t := &table{Plan: p, rep: Report{Broker: "mosquitto", Runs: p.Runs}}
	t.rows = slices.DeleteFunc(Rows(p.Valid), func(r Row) bool { return r.Quick < p.Quick || !strings.Contains(r.Name, p.Only) })
	if len(t.rows) == 0 {
		return nil, fmt.Errorf("no fault has %q in its name; give a part of one of: %s", p.Only, strings.Join(Names(p.Valid), "; "))
	}
	if p.Embedded {
		t.rep.Broker = "embedded, in a process of its own"
	}
	for i := range t.rows {
		t.rep.Rows = append(t.rep.Rows, Result{Fault: t.rows[i].Name, Vehicle: t.rows[i].Vehicle, Bound: ms(t.rows[i].Bound(p.Valid))})
	}
	t.ctx, t.end = context.WithCancelCause(ctx)
	defer t.end(nil)
	var wait sync.WaitGroup
	for range max(1, p.Parallel) {
		wait.Go(t.work)
	}
	wait.Wait()
	if t.ctx.Err() != nil {
		return &t.rep, context.Cause(t.ctx)
	}
	for i := range t.rep.Rows {
		t.rep.Rows[i].sum(&t.rows[i])
	}
	return &t.rep, nil
}

// work makes worlds until nothing is lacking.
func (t *table) work() {
	for t.ctx.Err() == nil {
		row, count, seed, flying := t.pick()
		switch {
		case count > 0:
			all, err := t.rows[row].Measure(t.ctx, t.Setting, t.Valid, count, seed)
			t.take(row, count, all, err)
		case flying: // some of those may have to be measured again
			time.Sleep(20 * time.Millisecond)
		default:
			return
		}
	}
}

// pick says for which row a world lacks, and of how many vehicles; and, where none
// does, whether any are being measured.
func (t *table) pick() (row, count int, seed uint64, flying bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	fleet := max(1, t.Fleet)
	for range t.rows {
		row, t.next = t.next, (t.next+1)%len(t.rows)
		x := &t.rep.Rows[row]
		flying = flying || x.flying > 0
		count = min(t.Runs-x.Runs-x.flying, fleet)
		if count > 0 && x.worlds < tries*(1+t.Runs/fleet) {
			x.worlds++
			x.flying += count
			t.seed += uint64(fleet)
			return row, count, t.seed, true
		}
	}
	return 0, 0, 0, flying
}

// take adds what came of a world.
func (t *table) take(row, count int, all []sim.Outcome, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if err != nil {
		all = make([]sim.Outcome, count)
		for i := range all {
			all[i].Err = err
		}
	}
	r := &t.rows[row]
	for i := range all {
		said, err := t.rep.Rows[row].take(r, &all[i], t.Valid)
		if err != nil {
			t.end(fmt.Errorf("%s, %s: %w", r.Name, r.Vehicle, err))
		} else if t.Each != nil {
			t.Each(r, said)
		}
	}
}

// Names are those of the rows, each once.
func Names(valid time.Duration) (all []string) {
	for _, r := range Rows(valid) {
		if !slices.Contains(all, r.Name) {
			all = append(all, r.Name)
		}
	}
	return all
}
