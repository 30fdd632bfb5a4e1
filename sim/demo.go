package sim

import (
	"fmt"
	"math"
	"time"

	"pinfold/sim/judge"
)

// The demo's names. The place and everything in it is invented.
const (
	DemoSiteName = "Brackenfield Community Workshop"
	Wren         = "wren" // multirotor, in the cage
	Mole         = "mole" // rover, on the landing
)

const degree = math.Pi / 180

// DemoMultirotor is wren: 0.44 m across, able to do more than its site allows.
func DemoMultirotor() MultirotorSpec {
	return MultirotorSpec{
		Body:  Body{Radius: 0.22, Below: 0.06, Above: 0.06},
		Speed: 2.5, Climb: 1.0, Descent: 0.8, Landing: 0.6,
		Tilt: 35 * degree, Brake: 22 * degree, TiltLag: 50 * time.Millisecond,
		Thrust: 20, MotorLag: 30 * time.Millisecond,
		Drag: 0.3, DragAir: 0.02, Turn: 2, Friction: 4,
		Delay: 20 * time.Millisecond,
		Gust:  0.05, GustLag: 500 * time.Millisecond, DeadReckon: 0.05,
	}
}

// DemoRover is mole: a cart 0.6 m across.
func DemoRover() RoverSpec {
	return RoverSpec{
		Body:  Body{Radius: 0.30, Below: 0.15, Above: 0.25},
		Speed: 1.4, Acceleration: 0.9, Braking: 1.6, Rolling: 0.4,
		Turn: 1.5, TurnAccel: 4, Track: 0.4,
		Delay: 40 * time.Millisecond,
	}
}

// demoTracker is the tracking camera of either vehicle.
func demoTracker(clock time.Duration, name string) TrackerSpec {
	return TrackerSpec{
		Rate: 200, Clock: clock, Latency: 4 * time.Millisecond,
		Noise: 0.0008, NoiseAngle: 0.0015, NoiseSpeed: 0.01, Velocity: true, Name: name,
	}
}

// DemoNode is one of the demo's vehicles (Wren, Mole or a copy of one) at its place, ready for
// StartNode. The two have clocks that have nothing to do with one another.
func DemoNode(vehicle, url, prefix string, seed uint64) NodeOptions {
	o := NodeOptions{Vehicle: vehicle, Broker: url, Prefix: prefix, Pen: DemoPens()[kindOf(vehicle)], Seed: seed}
	if kindOf(vehicle) == Mole {
		o.Plant = NewRover(DemoRover(), 9, 1.2, 0, Tick)
		o.Tracker = demoTracker(77*time.Minute, "cart-eye")
		return o
	}
	o.Flies = true
	o.Plant = NewMultirotor(DemoMultirotor(), 1.5, 1.3, 0, seed, Tick)
	o.Tracker = demoTracker(1000*time.Second, "flight-eye")
	return o
}

// Where things stand, metres, site frame: the origin is the mark on the floor
// at the cage's south-west corner, x runs east along the net.
var (
	demoCage    = [][2]float64{{0, 0}, {7, 0}, {7, 5}, {0, 5}}
	demoPost    = [][2]float64{{4.9, 2.4}, {5.1, 2.4}, {5.1, 2.6}, {4.9, 2.6}}
	demoLanding = [][2]float64{{8, 0}, {15, 0}, {15, 4}, {8, 4}}
	demoStairs  = [][2]float64{{11, 2.4}, {12.6, 2.4}, {12.6, 4}, {11, 4}}
)

// The height bands. The cage's reaches below the slab: the slab ends a landing,
// and a landed vehicle is not to count as breaking through the floor.
const (
	demoUnder   = -0.5
	demoCeiling = 3.2
)

// DemoPens is what the judge is told about the two vehicles.
func DemoPens() map[string]judge.Pen {
	w, m := DemoMultirotor().Body, DemoRover().Body
	return map[string]judge.Pen{
		Wren: {
			Inside:  []judge.Region{{Name: "cage", Outer: demoCage, Floor: demoUnder, Ceiling: demoCeiling}},
			Outside: []judge.Region{{Name: "post", Outer: demoPost, Floor: demoUnder, Ceiling: demoCeiling}},
			Radius:  w.Radius, Below: w.Below, Above: w.Above,
		},
		Mole: {
			Inside:  []judge.Region{{Name: "landing", Outer: demoLanding, Floor: demoUnder, Ceiling: 2}},
			Outside: []judge.Region{{Name: "stairs", Outer: demoStairs, Floor: demoUnder, Ceiling: 2}},
			Radius:  m.Radius, Below: m.Below, Above: m.Above,
		},
	}
}

// DemoSite is the demo's site file, for a broker at url.
func DemoSite(url string) string { return fmt.Sprintf(demoSite, url) }

// The zones and the judge's pens are written down twice on purpose: a slip in
// one of them shows in the demo's answers.
const demoSite = `# The demo's site: an invented workshop. Lengths in metres, angles in degrees.
[site]
name = "Brackenfield Community Workshop"
local_rules = "Indoors, cage netted on all sides; the hall safety plan applies, checked by the hall lead"

[broker]
url = %q

# The netted cage. Its floor lies below the slab, so that a landed vehicle is inside.
[[zone]]
name = "cage"
kind = "keep-in"
vehicles = ["wren"]
floor = -0.5
ceiling = 3.2
polygon = [[0.0, 0.0], [7.0, 0.0], [7.0, 5.0], [0.0, 5.0]]

[[zone]]
name = "post"
kind = "keep-out"
vehicles = ["wren"]
floor = -0.5
ceiling = 3.2
polygon = [[4.9, 2.4], [5.1, 2.4], [5.1, 2.6], [4.9, 2.6]]

# The landing outside the cage, and the head of the basement stairs.
[[zone]]
name = "landing"
kind = "keep-in"
vehicles = ["mole"]
floor = -0.5
ceiling = 2.0
polygon = [[8.0, 0.0], [15.0, 0.0], [15.0, 4.0], [8.0, 4.0]]

[[zone]]
name = "stairs"
kind = "keep-out"
vehicles = ["mole"]
floor = -0.5
ceiling = 2.0
polygon = [[11.0, 2.4], [12.6, 2.4], [12.6, 4.0], [11.0, 4.0]]

[[vehicle]]
name = "wren"
kind = "multirotor"
radius = 0.22
height = 0.12
[vehicle.pose]
axes = "z-up"
max_age = "100ms"
[vehicle.limits]
height = 2.8
speed = 1.5
climb = 1.2
descent = 1.0
tilt = 25
[vehicle.stopping]
reaction = "150ms"
link = "50ms"
deceleration = 3.0
margin = 0.10

[[vehicle]]
name = "mole"
kind = "rover"
radius = 0.30
height = 0.40
[vehicle.pose]
axes = "z-up"
max_age = "100ms"
[vehicle.limits]
speed = 1.0
tilt = 10
[vehicle.stopping]
reaction = "150ms"
link = "50ms"
deceleration = 1.2
margin = 0.10
`
