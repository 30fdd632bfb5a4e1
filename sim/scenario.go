package sim

import (
	"context"
	"errors"
	"time"

	"pinfold/sim/judge"
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
	Fault    time.Duration `json:"fault_ns"`   // vehicle clock when the fault had been caused
	ToBrake  time.Duration `json:"brake_ns"`   // from the fault to the brake
	ToRest   time.Duration `json:"rest_ns"`    // from the fault to rest
	Bound    time.Duration `json:"bound_ns"`   // what ToRest may be: Detect + Valid + Slack + Braking
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

// RunScenario starts the vehicle and an operator, has it started and brought
// to cruise speed, causes the fault and measures until rest.
func RunScenario(ctx context.Context, s Scenario) (Measured, error) {
	return Measured{}, errors.New("sim: scenarios are being written")
}
