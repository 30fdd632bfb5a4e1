package sim

import (
	"context"
	"errors"
	"fmt"
	"time"

	"pinfold/sim/judge"
	"pinfold/watchdog/link/wire"
)

// Scenario is one vehicle at cruise speed to which something happens. The
// watchdog runs on DemoSite, or a site that has the vehicle, at Broker.
type Scenario struct {
	Broker  string // URL
	Prefix  string // wire.DefaultPrefix where empty
	Vehicle string // Wren or Mole
	Seed    uint64
	// Fault is what happens, called once at cruise speed. It may act on the node
	// (n.Faults) or on the world: kill the watchdog, stop the broker.
	Fault func(ctx context.Context, n *Node) error
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
	return lane{Vec{1.4, 1.2, flight}, Vec{5.6, 1.2, flight}, 1.2, 1.2}
}

// pilot cruises along the lane.
func (l lane) pilot(vehicle string) Pilot {
	c := Course{Points: []Vec{l.from, l.to}, Speed: l.speed, Accel: l.accel}
	if vehicle == Mole {
		return NewDriving(c)
	}
	return NewFlight(c)
}

// RunScenario starts the vehicle and an operator, has it started and brought
// to cruise speed, causes the fault and measures until rest. An error says that
// nothing could be measured; a vehicle that came to rest too late, or nowhere
// inside its pen, is no error but a Measured that is not InTime.
func RunScenario(ctx context.Context, s Scenario) (Measured, error) {
	if err := s.check(); err != nil {
		return Measured{}, err
	}
	n, err := StartNode(ctx, DemoNode(s.Vehicle, s.Broker, s.Prefix, s.Seed))
	if err != nil {
		return Measured{}, err
	}
	defer n.Close()
	if err := s.cruise(ctx, n); err != nil {
		return Measured{}, err
	}
	before := n.View().Halts
	m := Measured{Fault: n.Clock()}
	if err := s.Fault(ctx, n); err != nil {
		return m, fmt.Errorf("sim: scenario: the fault could not be caused: %w", err)
	}
	m.Started = n.Clock() - m.Fault
	return s.measure(ctx, n, m, before)
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
	if s.Slack == 0 {
		s.Slack = DefaultSlack
	}
	return nil
}

// cruise has the operator start the vehicle and waits for cruise speed, again
// where the machine held something up on the way. The operator is gone by then:
// a fault finds the vehicle alone.
func (s *Scenario) cruise(ctx context.Context, n *Node) error {
	ctx, cancel := context.WithTimeout(ctx, scenarioStart)
	defer cancel()
	op, err := NewOperator(ctx, s.Broker, s.Prefix, "scenario", s.Vehicle)
	if err != nil {
		return err
	}
	defer op.Close()
	for {
		if err := op.Release(ctx, s.Vehicle); err != nil {
			return err
		}
		n.SetPilot(laneOf(s.Vehicle).pilot(s.Vehicle))
		state, err := s.atSpeed(ctx, n, op)
		if err == nil || !disturbed(state) || ctx.Err() != nil {
			return err
		}
	}
}

// atSpeed waits until the vehicle cruises along its lane. Where the watchdog
// stops it before, the state says why.
func (s *Scenario) atSpeed(ctx context.Context, n *Node, op *Operator) (state wire.State, err error) {
	way := laneOf(s.Vehicle)
	along := way.to.Sub(way.from)
	along = along.Mul(1 / along.Len())
	fast := false
	err = n.await(ctx, func(v NodeView) bool {
		state, _ = op.State(s.Vehicle)
		fast = v.MayMove && v.State.Velocity.dot(along) > 0.97*way.speed
		return fast || halted(state)
	})
	if !fast && err == nil {
		err = errHalted
	}
	if err != nil {
		return state, fmt.Errorf("sim: scenario: %s never reached %.2f m/s: %w; the watchdog says %s", s.Vehicle, way.speed, err, showing(state))
	}
	return state, nil
}

// measure waits for the halt that the fault has led to: the first after the
// halts that were there before.
func (s *Scenario) measure(ctx context.Context, n *Node, m Measured, before int) (Measured, error) {
	ctx, cancel := context.WithTimeout(ctx, s.Detect+s.Valid+scenarioRest)
	defer cancel()
	err := n.await(ctx, func(v NodeView) bool {
		if h := n.Halts(); len(h) > before {
			m.Halting = h[before]
		}
		return m.Halting.Rested() || !v.MayMove && v.Halts == before
	})
	m.Verdict = n.Verdict(true)
	h := m.Halting
	switch {
	case err != nil && h.BrakeAt == 0:
		return m, fmt.Errorf("sim: scenario: %s kept its permit for %v after the fault", s.Vehicle, n.Clock()-m.Fault)
	case err != nil:
		return m, fmt.Errorf("sim: scenario: %s braked and did not come to rest: %w", s.Vehicle, err)
	case h.BrakeAt < m.Fault:
		return m, fmt.Errorf("%w: %s had halted before the fault: %s", ErrDisturbed, s.Vehicle, h.Why)
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
