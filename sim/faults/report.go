package faults

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"pinfold/sim"
)

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

	times  []time.Duration
	flying int // vehicles that are being measured
	worlds int // begun
}

// OK says that nothing was over its bound, left its pen or halted for a wrong
// reason, and that every row was measured as often as asked for.
func (r *Report) OK() bool {
	for i := range r.Rows {
		if x := &r.Rows[i]; x.Over > 0 || len(x.Wrong) > 0 || x.Runs < max(1, r.Runs) {
			return false
		}
	}
	return len(r.Rows) > 0
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

// take adds what came of one vehicle.
func (x *Result) take(r *Row, o *sim.Outcome, valid time.Duration) (said string, failed error) {
	x.flying--
	late := o.ToBrake - o.Started
	switch {
	case disturbs(o.Err), o.Err == nil && r.before(o, late):
		x.Disturbed++
		return "disturbed by the machine", nil
	case o.Err != nil:
		return "", o.Err
	}
	x.times = append(x.times, late)
	x.Runs++
	if late > r.Bound(valid) {
		x.Over++
	}
	for _, w := range r.Check(&o.Measured, valid) {
		if len(x.Wrong) < 3 {
			x.Wrong = append(x.Wrong, w)
		}
	}
	return fmt.Sprintf("motors cut after %.0f ms of %.0f", ms(late), ms(r.Bound(valid))), nil
}

// before says whether a vehicle was stopped by something before the fault: before it was
// whole where nothing may be stopped until then, and for another reason than the
// permit's age where nothing but that can reach it any more.
func (r *Row) before(o *sim.Outcome, late time.Duration) bool {
	return r.Late && late < 0 || late <= sim.DefaultSlack && !strings.Contains(o.Halting.Why, r.Why)
}

// disturbs says whether an error is the machine's: it had no time for what was to
// be measured.
func disturbs(err error) bool { return errors.Is(err, sim.ErrDisturbed) || errors.Is(err, errSlow) }

func (x *Result) sum(r *Row) {
	if r.Late && x.Disturbed > x.Runs {
		x.Wrong = append(x.Wrong, fmt.Sprintf("%d were stopped before the fault was whole, and %d not", x.Disturbed, x.Runs))
	}
	if x.Runs > 0 {
		slices.Sort(x.times)
		x.Median, x.Worst = ms(x.times[x.Runs/2]), ms(x.times[x.Runs-1])
	}
}

func ms(d time.Duration) float64 { return float64(d.Milliseconds()) }
