package sim

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"pinfold/sim/judge"
	"pinfold/watchdog/link/wire"
)

// Scenario is vehicles at cruise speed to which something happens. The watchdog
// runs on FleetSite, or a site that has the vehicles, at Broker.
type Scenario struct {
	Broker  string // URL
	Prefix  string // wire.DefaultPrefix where empty
	Vehicle string // Wren or Mole
	Count   int    // how many of that kind; one where zero
	Seed    uint64 // of the first; the others' follow
	// Fault is what happens, called once when all are at cruise speed. It may act
	// on the nodes (n.Faults) or on the world: kill the watchdog, stop the broker.
	Fault func(ctx context.Context, fleet []*Node) error
	// Valid is the permit's validity that the watchdog declares.
	Valid time.Duration
	// Detect is how long the fault may go unnoticed while permits stay fresh:
	// zero for a dead or silent link, where only the permit's age counts.
	Detect time.Duration
	// Slack is allowed for the machine on top: scheduling, and the messages in
	// flight; DefaultSlack where zero.
	Slack time.Duration
}

// DefaultSlack is what a busy machine may add to a reaction.
const DefaultSlack = 100 * time.Millisecond

// Measured is how the vehicle answered, times by the vehicle's own clock.
type Measured struct {
	Fault    time.Duration `json:"fault_ns"`   // vehicle clock just before the fault was caused
	Started  time.Duration `json:"started_ns"` // how long the fault took to cause
	ToBrake  time.Duration `json:"brake_ns"`   // from Fault to the brake
	ToRest   time.Duration `json:"rest_ns"`    // from Fault to rest
	Bound    time.Duration `json:"bound_ns"`   // what ToRest may be: Started + Detect + Valid + Slack + Braking
	Braking  time.Duration `json:"braking_ns"` // the vehicle's own braking from Speed, rehearsed in virtual time
	Speed    float64       `json:"speed"`      // m/s over the floor when the permit went
	Distance float64       `json:"distance"`   // m of path from the permit's end to rest
	Room     float64       `json:"room"`       // m to the edge of the allowed space at rest
	Halting  Halting       `json:"halting"`
	Verdict  judge.Verdict `json:"verdict"`
}

// InTime says whether the vehicle came to rest within the bound, inside its
// pen.
func (m Measured) InTime() bool {
	return m.Halting.Rested() && m.ToRest > 0 && m.ToRest <= m.Bound && m.Verdict.Stayed()
}

// ErrDisturbed says that the machine held something up just before the fault,
// so that the vehicle halted for that and nothing was measured: run the
// scenario anew.
var ErrDisturbed = errors.New("sim: scenario disturbed by the machine")

// Bounds of a scenario.
const (
	scenarioStart = 60 * time.Second // until the vehicle is at cruise speed
	scenarioRest  = 10 * time.Second // beyond what is allowed, until rest
)

// lane is where a scenario's vehicle cruises: a straight way inside its pen,
// clear of everything for longer than any of the faults may go unnoticed.
type lane struct {
	from, to     Vec
	speed, accel float64
}

// laneOf is the lane of one of the demo's vehicles.
func laneOf(vehicle string) lane {
	if vehicle == Mole {
		return lane{Vec{X: 9, Y: 1.2}, Vec{X: 13.8, Y: 1.2}, 0.8, 0.9}
	}
	return lane{Vec{1.4, 1.2, 0.5}, Vec{5.6, 1.2, 0.5}, 1.2, 1.2} // low: going up takes time
}

// pilot cruises along the lane, from where the vehicle is to its far end; again: after
// it has gone back to the near one.
func (l lane) pilot(vehicle string, again bool) Pilot {
	c := Course{Points: []Vec{l.from, l.to}, Speed: l.speed, Accel: l.accel}
	if !again {
		c.Points = c.Points[1:]
	}
	if vehicle == Mole {
		return NewDriving(c)
	}
	return NewFlight(c)
}

// Outcome is what was measured of one vehicle, or why nothing was.
type Outcome struct {
	Measured
	Err error
}

// RunScenario is RunFleet of one vehicle.
func RunScenario(ctx context.Context, s Scenario) (Measured, error) {
	s.Count = 1
	all, err := RunFleet(ctx, s)
	if err != nil {
		return Measured{}, err
	}
	return all[0].Measured, all[0].Err
}

// RunFleet starts the vehicles and an operator, has them started and brought to
// cruise speed, causes the fault and measures until rest. An error says that
// nothing could be measured of any, an Outcome's of that one; a vehicle that came
// to rest too late, or nowhere inside its pen, is no error but a Measured that is
// not InTime.
func RunFleet(ctx context.Context, s Scenario) ([]Outcome, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	var fleet []*Node
	defer func() {
		for _, n := range fleet {
			n.Close()
		}
	}()
	for i, name := range fleetNames(s.Vehicle, s.Count) {
		n, err := StartNode(ctx, DemoNode(name, s.Broker, s.Prefix, s.Seed+uint64(i)))
		if err != nil {
			return nil, err
		}
		n.Faults.Thin(waiting)
		fleet = append(fleet, n)
	}
	if err := s.cruise(ctx, fleet); err != nil {
		return nil, err
	}
	all, before := make([]Outcome, len(fleet)), make([]int, len(fleet))
	for i, n := range fleet {
		v := n.View()
		before[i], all[i].Fault, all[i].Err = v.Halts, n.Clock(), s.underWay(v)
	}
	if err := s.Fault(ctx, fleet); err != nil {
		return nil, fmt.Errorf("sim: scenario: the fault could not be caused: %w", err)
	}
	var wait sync.WaitGroup
	for i, n := range fleet {
		all[i].Started = n.Clock() - all[i].Fault
		if all[i].Err != nil {
			continue
		}
		wait.Go(func() { all[i].Measured, all[i].Err = s.measure(ctx, n, all[i].Measured, before[i]) })
	}
	wait.Wait()
	return all, nil
}

func (s *Scenario) check() error {
	if s.Vehicle != Wren && s.Vehicle != Mole {
		return fmt.Errorf("sim: scenario: no vehicle %q; there are %s and %s", s.Vehicle, Wren, Mole)
	}
	if s.Fault == nil {
		return errors.New("sim: scenario without a fault; set Scenario.Fault")
	}
	if s.Valid <= 0 || s.Detect < 0 || s.Slack < 0 {
		return fmt.Errorf("sim: scenario: validity %v, detection %v, slack %v: the first must be positive, none negative", s.Valid, s.Detect, s.Slack)
	}
	if s.Count < 0 || s.Count > MaxFleet {
		return fmt.Errorf("sim: scenario: %d vehicles; there may be 1 to %d", s.Count, MaxFleet)
	}
	if s.Slack == 0 {
		s.Slack = DefaultSlack
	}
	s.Count = max(s.Count, 1)
	return nil
}

// cruise has the operator start all vehicles and waits until they are at cruise
// speed together, again where one was stopped on the way: the lane is clear, so that
// the machine held something up. The operator is gone by then: a fault finds the
// vehicles alone.
func (s *Scenario) cruise(ctx context.Context, fleet []*Node) error {
	ctx, cancel := context.WithTimeout(ctx, scenarioStart)
	defer cancel()
	op, err := NewOperator(ctx, s.Broker, s.Prefix, "scenario", fleetNames(s.Vehicle, s.Count)...)
	if err != nil {
		return err
	}
	defer op.Close()
	for again := false; ; again = true {
		errs := make([]error, len(fleet))
		var wait sync.WaitGroup
		for i, n := range fleet {
			wait.Go(func() { errs[i] = op.Release(ctx, n.Vehicle) })
		}
		wait.Wait()
		if err := errors.Join(errs...); err != nil {
			return err
		}
		for _, n := range fleet {
			n.Faults.Thin(0)
		}
		for _, n := range fleet { // at once, so that they come to speed at once
			n.SetPilot(laneOf(s.Vehicle).pilot(s.Vehicle, again))
		}
		if err := s.atSpeed(ctx, fleet, op); err == nil || ctx.Err() != nil {
			return err
		}
	}
}

// waiting is how many poses there are for each that is sent while the vehicle stands
// and waits for its start, which takes seconds: 50 Hz of 200 cost less.
const waiting = 4

// errApart says that vehicles were at cruise speed, and never all at once.
var errApart = errors.New("never all at once")

// laneTakes is after which time all have been along their lane.
const laneTakes = 12 * time.Second

// atSpeed waits until all cruise along their lane.
func (s *Scenario) atSpeed(ctx context.Context, fleet []*Node, op *Operator) error {
	until, slow, state := time.Now().Add(laneTakes), fleet[0], wire.State{}
	fast := false
	err := slow.await(ctx, func(NodeView) bool {
		fast = true
		for _, n := range fleet {
			now, _ := op.State(n.Vehicle)
			if halted(now) {
				state, slow, fast = now, n, false
				return true
			}
			fast = fast && s.fast(n.View())
		}
		return fast || time.Now().After(until)
	})
	switch {
	case fast:
		return nil
	case err == nil && halted(state):
		err = errHalted
	case err == nil:
		err = errApart
	}
	return fmt.Errorf("sim: scenario: %s never reached %.2f m/s: %w; the watchdog says %s", slow.Vehicle, laneOf(s.Vehicle).speed, err, showing(state))
}

// fast says whether a vehicle has its permit and cruises along its lane.
func (s *Scenario) fast(v NodeView) bool {
	way := laneOf(s.Vehicle)
	along := way.to.Sub(way.from)
	return v.MayMove && v.State.Velocity.dot(along.Mul(1/along.Len())) > 0.97*way.speed
}

// underWay is ErrDisturbed for a vehicle that is no longer as atSpeed saw it: what it
// does upon a fault shows nothing.
func (s *Scenario) underWay(v NodeView) error {
	if s.fast(v) {
		return nil
	}
	return fmt.Errorf("%w: a %s was no longer at cruise speed with its permit when the fault came", ErrDisturbed, s.Vehicle)
}

// measure waits for the halt that the fault has led to, after those that were there
// before. Where a last fresh permit ended one before it came to rest, it is the one
// after that.
func (s *Scenario) measure(ctx context.Context, n *Node, m Measured, before int) (Measured, error) {
	ctx, cancel := context.WithTimeout(ctx, s.Detect+s.Valid+scenarioRest)
	defer cancel()
	var first Halting
	err := n.await(ctx, func(v NodeView) bool {
		if h := n.Halts(); len(h) > before {
			first, m.Halting = h[before], h[len(h)-1]
		}
		return m.Halting.Rested() || !v.MayMove && v.Halts == before
	})
	m.Verdict = n.Verdict(true)
	h := m.Halting
	switch {
	case err != nil && h.BrakeAt == 0:
		return m, fmt.Errorf("sim: scenario: %s kept its permit for %v after the fault", n.Vehicle, n.Clock()-m.Fault)
	case err != nil:
		return m, fmt.Errorf("sim: scenario: %s braked and did not come to rest: %w", n.Vehicle, err)
	case first.BrakeAt < m.Fault:
		return m, fmt.Errorf("%w: %s had halted before the fault: %s", ErrDisturbed, n.Vehicle, first.Why)
	}
	m.ToBrake, m.ToRest = h.BrakeAt-m.Fault, h.RestAt-m.Fault
	m.Speed, m.Distance, m.Room = h.Speed, h.Distance, h.Room
	m.Braking = DemoBraking(s.Vehicle, h.Speed)
	m.Bound = m.Started + s.Detect + s.Valid + s.Slack + m.Braking
	return m, nil
}

// await polls the node until it is as wanted.
func (n *Node) await(ctx context.Context, wanted func(NodeView) bool) error {
	tick := time.NewTicker(look)
	defer tick.Stop()
	for !wanted(n.View()) {
		select {
		case <-tick.C:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}
