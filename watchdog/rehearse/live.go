package rehearse

import (
	"fmt"
	"math"
	"math/rand/v2"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/watchdog"
	"pinfold/watchdog/pose"
)

// undeclared is what a vehicle gains, m/s², where no acceleration is declared:
// one that starts from rest must gain something.
const undeclared = 0.3

// Live is a vehicle of a site for real time: what a sim.Node is made of, and
// courses to its edges. It brakes exactly as declared, after half of the declared
// reaction; the other half is for the real link.
type Live struct {
	Vehicle config.Vehicle // as the guard is to be told: a tracker that speaks the contract in the site frame
	pen     *pen
	gain    float64
	home    sim.Vec
}

// NewLive makes one. It refuses what NewSite does, and a pen without any room.
func NewLive(v *config.Vehicle) (*Live, error) {
	s, err := NewSite(v)
	if err != nil {
		return nil, err
	}
	c := s.scenes[0].config
	l := &Live{Vehicle: *v, pen: s.scenes[0].pen, gain: c.Stopping.Acceleration}
	if l.gain < undeclared {
		l.gain = undeclared
	}
	l.Vehicle.AlignFile = ""
	l.Vehicle.Signing = config.Signing{}
	own := &l.Vehicle.Config
	own.Fields, own.Pose.Axes, own.Pose.Mount, own.Pose.Align = pose.DefaultFields(), pose.ZUp, pose.Mount{}, pose.Alignment{}
	own.Others, own.Tie = nil, watchdog.Tie{}
	inset := c.Radius + c.Stopping.Margin + c.Stopping.PlaceErr()
	room := c.Zones.Usable(inset, c.Height/2, c.Height/2)
	if !(room.Circle.Radius > 0) {
		return nil, fmt.Errorf("rehearse: vehicle %q has no room in its pen", v.Name)
	}
	z := c.Ground + c.Height/2
	if c.Kind == watchdog.Multirotor {
		z = math.Max(room.Floor, math.Min(room.Ceiling, c.Ground+1))
	}
	l.home = sim.Vec{X: room.Circle.Center.X, Y: room.Circle.Center.Y, Z: z}
	return l, nil
}

// Declared says whether an acceleration is declared.
func (l *Live) Declared() bool { return l.Vehicle.Config.Stopping.Acceleration > 0 }

// Node is the vehicle at rest in the middle of its pen.
func (l *Live) Node(broker, prefix string, seed uint64) sim.NodeOptions {
	c := &l.Vehicle.Config
	s := &c.Stopping
	decel, _ := watchdog.OnSlope(s.Deceleration, s.Slope)
	pen := l.pen.judged
	body := sim.Body{Radius: pen.Radius, Below: pen.Below, Above: pen.Above}
	plant := sim.NewMover(sim.MoverSpec{Body: body, Acceleration: l.gain, Braking: decel, Vertical: math.Max(s.Vertical, 1), Landing: 0.5,
		Delay: (s.Reaction / 2).Truncate(Tick)}, l.home, sim.Vec{}, Tick)
	return sim.NodeOptions{Vehicle: l.Vehicle.Name, Broker: broker, Prefix: prefix, Plant: plant, Pen: pen, Seed: seed,
		Flies:   c.Kind == watchdog.Multirotor,
		Tracker: sim.TrackerSpec{Rate: 200, Clock: 1000e9, Latency: 2e6, Noise: 0.0005, Velocity: true, Name: "live"}}
}

// Course draws a straight way to an edge and beyond, from where the vehicle is.
func (l *Live) Course(rng *rand.Rand, from sim.Vec) sim.Course {
	c := &l.Vehicle.Config
	top := c.Pose.MaxSpeed
	if lim := c.Limits[watchdog.LimitSpeed]; lim.On {
		top = lim.Max
	}
	speed := (0.4 + 0.5*rng.Float64()) * math.Min(math.Max(top, 0.2), 5)
	for range maxTries {
		t := &l.pen.targets[rng.IntN(len(l.pen.targets))]
		if t.what != atEdge {
			continue
		}
		k := rng.Float64()
		at := sim.Vec{X: t.a[0] + k*(t.b[0]-t.a[0]), Y: t.a[1] + k*(t.b[1]-t.a[1]), Z: from.Z}
		if way := at.Sub(from).Flat(); way.Len() > 0.5 {
			return sim.Course{Points: []sim.Vec{at.Add(way.Mul(2 / way.Len()))}, Speed: speed, Accel: 0.9 * l.gain}
		}
	}
	return sim.Course{Points: []sim.Vec{l.home}, Speed: speed, Accel: 0.9 * l.gain}
}
