package sim

import "time"

// Gravity is the standard acceleration of free fall, m/s² (rounded from the
// 9.80665 of ISO 80000-3 as REFERENCES §1 does).
const Gravity = 9.81

// Mode is what a vehicle is told to do with a Control.
type Mode uint8

// The zero Mode is the safe one: come to rest and stay there.
const (
	Halt  Mode = iota // brake to rest; a multirotor then hovers where it stopped
	Drive             // follow Control.Speed or Control.Velocity, and Control.Turn
	Lean              // multirotor: lean as Control.Lean says, keep Velocity.Z
	Land              // multirotor: brake, descend, motors off on the ground
	Cut               // power removed at once: a rover coasts, a multirotor falls
)

// Control is what the pilot asks of a vehicle for one step.
type Control struct {
	Mode     Mode
	Speed    float64 // rover: m/s along its heading, negative backwards
	Velocity Vec     // multirotor: m/s, site frame
	Turn     float64 // rad/s about the vertical, counter-clockwise
	Lean     Vec     // rad, towards x and y of the site frame
	// Blind says that the vehicle has no good pose of its own: it brakes on a
	// dead-reckoned velocity, which drifts.
	Blind bool
}

// State is the truth about a vehicle.
type State struct {
	Position     Vec // m, site frame, the body's centre
	Velocity     Vec // m/s, site frame
	Acceleration Vec // m/s², site frame, over the last step
	Orientation  Quat
	TurnRate     float64 // rad/s about the vertical
	Grounded     bool
	Impact       float64 // m/s, hardest touch-down so far
	Travelled    float64 // m, length of the path so far
}

// Still says whether the vehicle is at rest: slower than 2 cm/s, the drift that
// a hover cannot avoid.
func (s State) Still() bool { return s.Velocity.Len() < 0.02 }

// Body is the upright cylinder a vehicle fills.
type Body struct {
	Radius float64 // m
	Below  float64 // m, how far it reaches below its centre
	Above  float64 // m, how far above
}

// Plant is a vehicle that can be stepped. Step applies c for dt and returns the
// new truth; dt is 1 ms by convention, and the same for every call.
type Plant interface {
	Step(dt time.Duration, c Control) State
	State() State
	Body() Body
}

// delay hands a Control on after a fixed number of steps: the actuator's dead
// time. The zero delay hands it on at once.
type delay struct {
	ring []Control
	next int
}

func newDelay(d, dt time.Duration) delay {
	if d <= 0 || dt <= 0 {
		return delay{}
	}
	return delay{ring: make([]Control, int((d+dt-1)/dt))}
}

func (d *delay) push(c Control) Control {
	if len(d.ring) == 0 {
		return c
	}
	out := d.ring[d.next]
	d.ring[d.next] = c
	d.next = (d.next + 1) % len(d.ring)
	return out
}

// fill puts c into the whole of the pipe, as if it had been asked for all along.
func (d *delay) fill(c Control) {
	for i := range d.ring {
		d.ring[i] = c
	}
}
