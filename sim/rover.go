package sim

import (
	"math"
	"time"
)

// RoverSpec is a ground vehicle's abilities. It drives on a flat floor at z 0.
type RoverSpec struct {
	Body         Body
	Speed        float64       // m/s, most, either way
	Acceleration float64       // m/s², most
	Braking      float64       // m/s², deceleration of a halt
	Rolling      float64       // m/s², deceleration with the power off
	Turn         float64       // rad/s, most
	TurnAccel    float64       // rad/s², most
	Track        float64       // m, between the wheels of a differential drive; a wheel goes no faster than Speed
	Wheelbase    float64       // m; above zero the rover steers instead of turning its wheels against each other
	Steer        float64       // rad, most steering angle, with Wheelbase
	Delay        time.Duration // from a Control to the wheels
	// Fade is the share of Braking lost per second of braking, down to a third
	// of it: hot brakes. Zero for none.
	Fade float64
}

// Rover is a differential or steered ground vehicle, a point that rolls without
// slip: ẋ = v·cos θ, ẏ = v·sin θ, θ̇ = ω, with v and ω bounded in value and rate.
type Rover struct {
	spec    RoverSpec
	lag     delay
	yaw     float64 // rad
	speed   float64 // m/s, along the heading
	turn    float64 // rad/s
	braking float64 // s, how long it has braked in one go
	state   State
	// of yaw, and of the most steering angle: a vehicle that drives straight on asks
	// for the same again and again
	sin, cos, tan float64
}

// NewRover stands a rover at (x, y), heading yaw rad, at rest. dt is the step
// it will be given.
func NewRover(spec RoverSpec, x, y, yaw float64, dt time.Duration) *Rover {
	r := &Rover{spec: spec, lag: newDelay(spec.Delay, dt), yaw: yaw, tan: math.Tan(spec.Steer)}
	r.sin, r.cos = math.Sincos(yaw)
	r.state = State{Position: Vec{x, y, spec.Body.Below}, Orientation: Yawed(yaw), Grounded: true}
	return r
}

// Roll has it drive at speed (m/s, along its heading) already, c being what it
// was told to do: for starts under way.
func (r *Rover) Roll(speed float64, c Control) {
	r.speed = speed
	r.lag.fill(c)
	r.state.Velocity = Vec{X: speed * r.cos, Y: speed * r.sin}
}

// State is the truth now.
func (r *Rover) State() State { return r.state }

// Body is the room it fills.
func (r *Rover) Body() Body { return r.spec.Body }

// Step advances the rover by dt.
func (r *Rover) Step(dt time.Duration, c Control) State {
	h := dt.Seconds()
	c = r.lag.push(c)
	v0, w0 := r.speed, r.turn
	r.speed, r.turn = r.rates(c, h)
	// The midpoint heading makes a circle at constant v and ω exact to O(h²).
	sin, cos := r.sin, r.cos
	if turned := w0 + r.turn; turned != 0 {
		sin, cos = math.Sincos(r.yaw + turned/4*h)
		r.yaw = wrap(r.yaw + turned/2*h)
		r.sin, r.cos = math.Sincos(r.yaw)
		r.state.Orientation = Yawed(r.yaw)
	}
	step := (v0 + r.speed) / 2 * h
	before := r.state.Velocity
	r.state.Position = r.state.Position.Add(Vec{X: step * cos, Y: step * sin})
	r.state.Velocity = Vec{X: r.speed * r.cos, Y: r.speed * r.sin}
	r.state.Acceleration = r.state.Velocity.Sub(before).Mul(1 / h)
	r.state.TurnRate = r.turn
	r.state.Travelled += math.Abs(step)
	return r.state
}

// rates is the next speed and turn rate under c.
func (r *Rover) rates(c Control, h float64) (speed, turn float64) {
	want, wantTurn := 0.0, 0.0
	if c.Mode == Drive {
		want = clamp(c.Speed, -r.spec.Speed, r.spec.Speed)
		wantTurn = clamp(c.Turn, -r.spec.Turn, r.spec.Turn)
	}
	rate := r.spec.Acceleration
	slows := want*r.speed < 0 || math.Abs(want) < math.Abs(r.speed)
	if slows {
		rate = r.brakes(c.Mode, h)
	} else {
		r.braking = 0
	}
	return r.bound(towards(r.speed, want, rate*h), towards(r.turn, wantTurn, r.spec.TurnAccel*h))
}

// brakes is the deceleration available now, m/s².
func (r *Rover) brakes(m Mode, h float64) float64 {
	if m == Cut {
		return r.spec.Rolling
	}
	r.braking += h
	return r.spec.Braking * math.Max(1.0/3, 1-r.spec.Fade*r.braking)
}

// bound keeps speed and turn within what the wheels or the steering can do.
func (r *Rover) bound(speed, turn float64) (float64, float64) {
	if r.spec.Wheelbase > 0 { // Ackermann: ω = v·tan(steer)/wheelbase
		most := math.Abs(speed) * r.tan / r.spec.Wheelbase
		return speed, clamp(turn, -most, most)
	}
	// The outer wheel runs at |v| + |ω|·track/2: the turn gives way, so that
	// a brake is never weakened by a turn.
	if half := r.spec.Track / 2; half > 0 {
		most := math.Max(0, r.spec.Speed-math.Abs(speed)) / half
		if speed == 0 {
			most = r.spec.Speed / half
		}
		turn = clamp(turn, -most, most)
	}
	return speed, turn
}

// towards moves x to want by most at the most.
func towards(x, want, most float64) float64 {
	return x + clamp(want-x, -most, most)
}
