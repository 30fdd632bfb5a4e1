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
	Runs     int                // of each row
	Only     string             // part of the names of rows; empty: all
	Parallel int                // worlds at the same time; 1 where zero
	Each     func(*Row, string) // told after each run how it went; nil: nobody
}

// Report is what came of it.
type Report struct {
	Broker string   `json:"broker"` // what it was
	Runs   int      `json:"runs"`   // of each row, as asked for
	Rows   []Result `json:"rows"`
}

// Result is what came of one row. Times are by the vehicle's own clock, from the
// fault to the first braking.
type Result struct {
	Fault     string   `json:"fault"`
	Vehicle   string   `json:"vehicle"`
	Runs      int      `json:"runs"`      // measured
	Disturbed int      `json:"disturbed"` // in which the machine let nothing be measured
	Median    float64  `json:"median_ms"`
	Worst     float64  `json:"worst_ms"`
	Bound     float64  `json:"bound_ms"`
	Over      int      `json:"over"`            // braked after the bound
	Wrong     []string `json:"wrong,omitempty"` // what else did not hold, the first of each kind
	times     []time.Duration
}

// OK says that nothing was over its bound, left its pen or halted for a wrong
// reason, and that every row was measured at all.
func (r *Report) OK() bool {
	for i := range r.Rows {
		if x := &r.Rows[i]; x.Over > 0 || len(x.Wrong) > 0 || x.Runs == 0 {
			return false
		}
	}
	return len(r.Rows) > 0
}

// tries is how often a run is begun anew where the machine disturbed it.
const tries = 6

// ErrDisturbed says that the machine let no try be measured.
var ErrDisturbed = errors.New("the machine disturbed every try")

// Bound is how long after the fault the motors may still run, by the site file:
// what may go unnoticed, then the permit's validity; and what the machine may add.
func (r *Row) Bound(valid time.Duration) time.Duration { return r.Detect + valid + r.Slack }

// Measure runs the row once, again where the machine itself disturbed it.
func (r *Row) Measure(ctx context.Context, s Setting, valid time.Duration, seed uint64) (m sim.Measured, err error) {
	for range tries {
		m, err = r.once(ctx, s, valid, seed)
		slow := errors.Is(err, sim.ErrDisturbed) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, errSlow) // no cruise speed, for want of time
		if !slow || ctx.Err() != nil {
			return m, err
		}
	}
	return m, ErrDisturbed
}

// most bounds one try.
const most = 2 * time.Minute

func (r *Row) once(ctx context.Context, s Setting, valid time.Duration, seed uint64) (m sim.Measured, err error) {
	if s.Dir, err = os.MkdirTemp(s.Dir, "fault-"); err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(s.Dir)) }()
	ctx, cancel := context.WithTimeout(ctx, most)
	defer cancel()
	w, err := NewWorld(ctx, s)
	if err != nil {
		return m, err
	}
	defer w.Close()
	return sim.RunScenario(ctx, sim.Scenario{Broker: w.Node.URL, Vehicle: r.Vehicle, Seed: seed, Valid: valid,
		Detect: r.Detect, Slack: r.Slack, Fault: func(ctx context.Context, n *sim.Node) error { return r.Cause(ctx, w, n) }})
}

// Check says what does not hold of a run.
func (r *Row) Check(m *sim.Measured, valid time.Duration) (wrong []string) {
	if !m.InTime() {
		wrong = append(wrong, fmt.Sprintf("not at rest in time, or not in its pen: rest after %v of %v, %+v", m.ToRest, m.Bound, m.Verdict))
	}
	if late := m.ToBrake - m.Started; late > r.Bound(valid) {
		wrong = append(wrong, fmt.Sprintf("the motors were cut %v after the fault, bound %v", late, r.Bound(valid)))
	}
	if !strings.Contains(m.Halting.Why, r.Why) {
		wrong = append(wrong, fmt.Sprintf("the vehicle says it halted for %q, want %q", m.Halting.Why, r.Why))
	}
	return wrong
}

// Run runs every row that is asked for, so often each.
func Run(ctx context.Context, p Plan) (*Report, error) {
	rows := slices.DeleteFunc(Rows(p.Valid), func(r Row) bool { return !strings.Contains(r.Name, p.Only) })
	if len(rows) == 0 {
		return nil, fmt.Errorf("no fault has %q in its name; give a part of one of: %s", p.Only, strings.Join(Names(p.Valid), "; "))
	}
	rep := &Report{Broker: "mosquitto", Runs: p.Runs}
	if p.Embedded {
		rep.Broker = "embedded, in a process of its own"
	}
	for i := range rows {
		rep.Rows = append(rep.Rows, Result{Fault: rows[i].Name, Vehicle: rows[i].Vehicle, Bound: ms(rows[i].Bound(p.Valid))})
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	jobs := make(chan int)
	var mu sync.Mutex
	var wait sync.WaitGroup
	for range max(1, p.Parallel) {
		wait.Go(func() {
			for j := range jobs {
				r := &rows[j%len(rows)]
				m, err := r.Measure(ctx, p.Setting, p.Valid, uint64(j))
				mu.Lock()
				said, err := rep.Rows[j%len(rows)].take(r, &m, p.Valid, err)
				if err != nil {
					cancel(fmt.Errorf("%s, %s: %w", r.Name, r.Vehicle, err))
				} else if p.Each != nil {
					p.Each(r, said)
				}
				mu.Unlock()
			}
		})
	}
	for j := 0; j < p.Runs*len(rows) && ctx.Err() == nil; j++ {
		select {
		case jobs <- j:
		case <-ctx.Done():
		}
	}
	close(jobs)
	wait.Wait()
	if ctx.Err() != nil {
		return rep, context.Cause(ctx)
	}
	for i := range rep.Rows {
		rep.Rows[i].sum()
	}
	return rep, nil
}

// take adds a run.
func (x *Result) take(r *Row, m *sim.Measured, valid time.Duration, err error) (said string, failed error) {
	switch {
	case errors.Is(err, ErrDisturbed):
		x.Disturbed++
		return "disturbed by the machine", nil
	case err != nil:
		return "", err
	}
	late := m.ToBrake - m.Started
	x.times = append(x.times, late)
	if late > r.Bound(valid) {
		x.Over++
	}
	for _, w := range r.Check(m, valid) {
		if len(x.Wrong) < 3 {
			x.Wrong = append(x.Wrong, w)
		}
	}
	return fmt.Sprintf("motors cut after %.0f ms of %.0f", ms(late), ms(r.Bound(valid))), nil
}

func (x *Result) sum() {
	if x.Runs = len(x.times); x.Runs > 0 {
		slices.Sort(x.times)
		x.Median, x.Worst = ms(x.times[x.Runs/2]), ms(x.times[x.Runs-1])
	}
}

func ms(d time.Duration) float64 { return float64(d.Milliseconds()) }

// Names are those of the rows, each once.
func Names(valid time.Duration) (all []string) {
	for _, r := range Rows(valid) {
		if !slices.Contains(all, r.Name) {
			all = append(all, r.Name)
		}
	}
	return all
}
