package watchdog

import (
	"math"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/trig"
	"pinfold/zones"
)

// Gravity is the standard acceleration used in the braking formulas, m/s²
// (rounded as the published tables round it).
const Gravity = 9.81

// StoppingDistance is the distance, m, covered from now until rest by a
// vehicle at speed v (m/s, >= 0) that goes on for t (s, >= 0) and then brakes
// at a constant a (m/s², > 0): d = v·t + v²/(2a). It is +Inf where a is not
// positive or an argument is not a number: no finite distance is promised.
// Source of the formula: AASHTO Green Book, stopping sight distance.
func StoppingDistance(v, t, a float64) float64 {
	if !(v >= 0) || !(t >= 0) || !(a > 0) {
		return math.Inf(1)
	}
	return float64(v*t) + float64(v*v)/(2*a)
}

// SpeedWithin is the highest speed, m/s, from which a vehicle still stops
// within d metres: the inverse of StoppingDistance. It is 0 where there is no
// such speed.
func SpeedWithin(d, t, a float64) float64 {
	if !(d > 0) || !(t >= 0) || !(a > 0) {
		return 0
	}
	at := float64(a * t)
	return math.Sqrt(float64(at*at)+float64(2*a*d)) - at
}

// BrakingByTilt is the deceleration, m/s², of a multirotor that leans back by
// theta (rad, 0 to π/4) at constant height: g·tan Θ. Source: JARUS SORA 2.5
// Annex A §A.5.2.
func BrakingByTilt(theta float64) float64 {
	if !(theta > 0) || theta > math.Pi/4 {
		return 0
	}
	return Gravity * trig.Tan(theta)
}

// OnSlope is the deceleration, m/s², left of a (m/s², on the level) when
// rolling down a grade (rise over run, >= 0): a - g·grade, the grade term of
// AASHTO's stopping sight distance. ok is false where nothing is left: there
// is then no finite stopping distance.
func OnSlope(a, grade float64) (left float64, ok bool) {
	left = a - float64(Gravity*grade)
	if !(left > 0) || math.IsInf(left, 0) {
		return 0, false
	}
	return left, true
}

// Reach is the set that over-approximates where the body can be from now until
// rest, if a stop were called at the next judgement.
//
// Derivation, with its assumptions numbered:
//
//  1. The pose is at most PlaceErr wrong, the velocity at most VelocityErr,
//     and the velocity is the one of Lag ago.
//  2. For the time t = pose age + JudgeEvery + Lag + Reaction nothing brakes (the
//     age is against the fastest pose that came, see pose.Track.Age: what that one
//     took on its way is part of Reaction, and so is a turn that goes on);
//     the vehicle may meanwhile gain Acceleration in any direction. JudgeEvery
//     is there because the next judgement is that far off. With CoverLoss the
//     permit's validity stands in for age and JudgeEvery where it is longer.
//     The permit's way to the vehicle is within Trip, which is part of Reaction;
//     where the measured round trip is longer, what is more is added, but never
//     more than the permit that is on its way has left: see delays.until.
//  3. From then on it brakes at Deceleration or harder, less what the slope
//     takes, against its direction of motion; a multirotor brakes vertically at
//     Vertical or harder.
//  4. The ground stops what falls.
//
// The nominal path of velocity v is the straight line of length
// v·t + v²/(2a). A velocity that differs from v by at most
// δ = VelocityErr + Acceleration·t ends at most
//
//	VelocityErr·t + ½·Acceleration·t² + ((v+δ)² − v²)/(2a)
//
// beside the nominal stop: the first two terms are the drift until braking, the
// last bounds how far u·|u|/(2a) moves when u moves by δ, its slope being at
// most (v+δ)/a. That is what the radius grows by on the way. Harder braking
// ends earlier on the same line, so the capsule covers it. It covers the way
// too: the share of the growth that is due at any point of the nominal path is
// no more than the even growth has reached there, since the last term outgrows
// the first two in proportion to the path.
//
// Upwards and downwards the same is done with the vertical speed, but the two
// are not tied together, since one may be done long before the other: the
// sweep is as high at its start as it can become at all.
//
// Where the velocity is unknown it is taken to be assumed, in any direction.
type Reach struct {
	Sweep    zones.Sweep
	Reaction float64 // s, t above
	Along    float64 // m, horizontal stopping distance of the nominal velocity
	Up, Down float64 // m, furthest the centre can rise and sink until rest, with errors and margin
}

// reachOf fills r for pose p whose delays are known, at the speed of p or, where
// that is unknown, at the assumed speed.
func (c *Config) reachOf(p *pose.Pose, d delays, assumed float64, r *Reach) {
	s := &c.Stopping
	pad := s.Margin + s.PlaceErr()
	half := float64(c.Height / 2)
	// Field by field: a whole one would be made elsewhere and copied.
	r.Sweep.Grow, r.Reaction, r.Along = 0, 0, 0
	r.Sweep.From = zones.XYZ{X: p.Position.X, Y: p.Position.Y, Z: p.Position.Z}
	r.Sweep.To = r.Sweep.From
	r.Sweep.Radius, r.Up, r.Down = c.Radius+pad, pad, pad
	if s.Predict {
		r.Reaction = pose.InSeconds(d.until(c) + p.Lag + s.Reaction)
		c.carry(p, assumed, r)
	}
	r.Sweep.Above, r.Sweep.Below = half+r.Up, half+r.Down
	c.groundReach(r)
}

// carry moves the sweep's far end to where the vehicle comes to rest.
func (c *Config) carry(p *pose.Pose, assumed float64, r *Reach) {
	s := &c.Stopping
	t := r.Reaction
	a, _ := OnSlope(s.Deceleration, s.Slope) // 0 where refused, and then the distance is infinite
	vx, vy, vz := p.Velocity.X, p.Velocity.Y, p.Velocity.Z
	errV := s.VelocityErr
	if !p.HasVelocity {
		vx, vy, vz, errV = 0, 0, 0, errV+assumed
	}
	v := trig.Hypot(vx, vy)
	r.Along = StoppingDistance(v, t, a)
	if v > 0 {
		k := t + v/(2*a) // s, Along per m/s
		r.Sweep.To.X += float64(vx * k)
		r.Sweep.To.Y += float64(vy * k)
	}
	r.Sweep.Grow = spread(v, t, a, errV, s.Acceleration)
	if c.Kind != Multirotor {
		return // a rover stays on its floor
	}
	along := StoppingDistance(math.Abs(vz), t, s.Vertical)
	side := spread(math.Abs(vz), t, s.Vertical, errV, s.Acceleration)
	r.Up += side
	r.Down += side
	if vz > 0 {
		r.Up += along
	} else {
		r.Down += along
	}
}

// spread is how far beside the nominal stop the vehicle can come to rest; see
// Reach for the derivation.
func spread(v, t, a, errV, acc float64) float64 {
	gain := float64(acc * t)
	d := errV + gain
	return float64(errV*t) + float64(0.5*float64(gain*t)) + (float64((v+d)*(v+d))-float64(v*v))/(2*a)
}

// groundReach cuts what would reach below the ground. The body's centre is left
// where the pose has it.
func (c *Config) groundReach(r *Reach) {
	if w := &r.Sweep; c.HasGround {
		w.Below = max(0, min(w.Below, w.From.Z-c.Ground))
	}
}
