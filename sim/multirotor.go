package sim

import (
	"math"
	"time"
)

// MultirotorSpec is a multirotor's abilities. The floor is at z 0.
type MultirotorSpec struct {
	Body     Body
	Speed    float64       // m/s, most that its own controller asks for, horizontally
	Climb    float64       // m/s, most up
	Descent  float64       // m/s, most down; landing uses Landing
	Landing  float64       // m/s, descent of a landing
	Tilt     float64       // rad, most lean in Drive and Lean
	Brake    float64       // rad, most lean while halting: g·tan of it is the deceleration
	TiltLag  time.Duration // time constant from a wanted to the actual lean
	Thrust   float64       // m/s², most thrust per mass; the least is zero
	MotorLag time.Duration // time constant of the thrust
	Drag     float64       // 1/s, linear (rotor) drag per mass
	DragAir  float64       // 1/m, quadratic (body) drag per mass
	Turn     float64       // rad/s, most
	Friction float64       // m/s², deceleration on the ground
	Delay    time.Duration // from a Control to the motors
	Gust     float64       // m/s², standard deviation of a gusty acceleration, horizontal, each axis
	GustLag  time.Duration // correlation time of the gusts
	// Gain and Lift are those of the inner velocity loop, horizontally and
	// vertically, 1/s; DefaultGain and DefaultLift where zero.
	Gain, Lift float64
	// DeadReckon is the error of a Blind vehicle's own velocity: a bias that
	// grows by this much a second, m/s².
	DeadReckon float64
}

// Gains of the inner loops, 1/s. With the lags of the demo's vehicle they leave
// about 50° of phase at crossover; they are the model's, not any product's.
const (
	DefaultGain  = 5.0
	DefaultLift  = 6.0
	positionGain = 1.2
)

// Multirotor is a point mass under gravity, thrust along its up axis and drag:
// a = -g·ẑ + T·up(lean) - drag. The lean follows the wanted lean as a
// first-order lag, the thrust too. Inner loop and motors see every Control
// after the actuator delay.
type Multirotor struct {
	spec   MultirotorSpec
	lag    delay
	lean   Vec     // rad, towards x and y
	thrust float64 // m/s², per mass
	yaw    float64 // rad
	gust   Vec     // m/s²
	bias   Vec     // m/s, error of the vehicle's own velocity while blind
	drift  Vec     // m/s², how fast bias grows
	hold   Vec     // m, where a hover stands
	holds  bool
	parked bool // landed, motors off
	rng    *rng
	state  State
}

// NewMultirotor sets a multirotor on the ground at (x, y), heading yaw rad,
// motors off. dt is the step it will be given.
func NewMultirotor(spec MultirotorSpec, x, y, yaw float64, seed uint64, dt time.Duration) *Multirotor {
	if spec.Gain <= 0 {
		spec.Gain = DefaultGain
	}
	if spec.Lift <= 0 {
		spec.Lift = DefaultLift
	}
	m := &Multirotor{spec: spec, lag: newDelay(spec.Delay, dt), yaw: yaw, parked: true, rng: newRNG(seed, "multirotor")}
	m.state = State{Position: Vec{x, y, spec.Body.Below}, Orientation: Yawed(yaw), Grounded: true}
	angle := m.rng.Float64() * 2 * math.Pi
	m.drift = Vec{math.Cos(angle), math.Sin(angle), 0}.Mul(spec.DeadReckon)
	return m
}

// Place puts it at p with velocity v (m, m/s, site frame), hovering: for
// starts in the air.
func (m *Multirotor) Place(p, v Vec) {
	m.parked, m.holds, m.thrust = false, false, Gravity
	m.lag.fill(Control{Mode: Drive, Velocity: v})
	m.state.Position, m.state.Velocity, m.state.Grounded = p, v, false
}

// State is the truth now.
func (m *Multirotor) State() State { return m.state }

// Body is the room it fills.
func (m *Multirotor) Body() Body { return m.spec.Body }

// Step advances the multirotor by dt.
func (m *Multirotor) Step(dt time.Duration, c Control) State {
	h := dt.Seconds()
	c = m.lag.push(c)
	m.reckon(c, h)
	force := m.wanted(c)
	m.actuate(force, c, h)
	m.blow(h)
	m.move(h)
	m.yaw = wrap(m.yaw + m.state.TurnRate*h)
	m.state.Orientation = Leaning(m.lean, m.yaw)
	return m.state
}

// actuate lets lean, thrust and turn follow what is wanted, exactly for a
// wanted value that is constant over the step.
func (m *Multirotor) actuate(force Vec, c Control, h float64) {
	wantLean, wantThrust := Vec{}, force.Len()
	if flat := force.Flat().Len(); flat > 0 {
		wantLean = force.Flat().Mul(math.Atan2(flat, force.Z) / flat)
	}
	if m.parked || c.Mode == Cut {
		wantThrust, wantLean = 0, Vec{}
	}
	m.lean = m.lean.Add(wantLean.Sub(m.lean).Mul(share(h, m.spec.TiltLag)))
	m.thrust += (clamp(wantThrust, 0, m.spec.Thrust) - m.thrust) * share(h, m.spec.MotorLag)
	turn := 0.0
	if c.Mode == Drive {
		turn = clamp(c.Turn, -m.spec.Turn, m.spec.Turn)
	}
	if m.parked {
		turn = 0
	}
	m.state.TurnRate += (turn - m.state.TurnRate) * share(h, m.spec.TiltLag)
}

// move integrates position and velocity: Heun's method, exact under constant
// acceleration, with ground contact at z 0.
func (m *Multirotor) move(h float64) {
	up := Leaning(m.lean, 0).Up()
	v0 := m.state.Velocity
	a0 := m.accel(v0, up)
	a := a0.Add(m.accel(v0.Add(a0.Mul(h)), up)).Mul(0.5)
	v := v0.Add(a.Mul(h))
	step := v0.Add(v).Mul(0.5 * h)
	p := m.state.Position.Add(step)
	m.state.Grounded = p.Z <= m.spec.Body.Below && v.Z <= 0
	if m.state.Grounded {
		m.state.Impact = math.Max(m.state.Impact, -v.Z)
		p.Z, v.Z = m.spec.Body.Below, 0
		v = v.Mul(math.Max(0, 1-m.spec.Friction*h/math.Max(v.Len(), 1e-9)))
	}
	m.state.Travelled += p.Sub(m.state.Position).Len()
	m.state.Acceleration = v.Sub(v0).Mul(1 / h)
	m.state.Position, m.state.Velocity = p, v
}

// accel is the acceleration at velocity v, m/s².
func (m *Multirotor) accel(v, up Vec) Vec {
	drag := v.Mul(m.spec.Drag + m.spec.DragAir*v.Len())
	return up.Mul(m.thrust).Add(m.gust).Sub(drag).Add(Vec{Z: -Gravity})
}

// blow advances the gusts: an Ornstein-Uhlenbeck process, stationary at Gust.
func (m *Multirotor) blow(h float64) {
	if m.spec.Gust == 0 || m.parked {
		m.gust = Vec{}
		return
	}
	k := share(h, m.spec.GustLag)
	s := m.spec.Gust * math.Sqrt(k*(2-k))
	m.gust = m.gust.Mul(1 - k).Add(Vec{m.rng.NormFloat64() * s, m.rng.NormFloat64() * s, 0})
}

// share is the part of the way that a first-order lag goes in h seconds.
func share(h float64, lag time.Duration) float64 {
	if lag <= 0 {
		return 1
	}
	return 1 - math.Exp(-h/lag.Seconds())
}
