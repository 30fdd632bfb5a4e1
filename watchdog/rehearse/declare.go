package rehearse

import (
	"math"
	"time"

	"pinfold/sim"
	"pinfold/watchdog"
	"pinfold/watchdog/pose"
)

const ms = time.Millisecond

// span draws evenly from lo to hi. The conversion keeps a processor from
// fusing the two operations: what is drawn is the same on all.
func span(rng *dice, lo, hi float64) float64 { return lo + float64((hi-lo)*rng.Float64()) }

// duration draws evenly from lo to hi, in whole milliseconds.
func duration(rng *dice, lo, hi time.Duration) time.Duration {
	return lo + time.Duration(rng.Int64N(int64((hi-lo)/ms)+1))*ms
}

// sometimes is x once in n, and otherwise zero.
func sometimes(rng *dice, n int, x float64) float64 {
	if rng.IntN(n) == 0 {
		return x
	}
	return 0
}

// declare draws what a site file could say of a vehicle, but for its zones.
func declare(rng *dice, kind watchdog.Kind) watchdog.Config {
	c := watchdog.Config{Guard: "rehearsal", Session: "r", Vehicle: "v", Hash: "0", Kind: kind, HasGround: true,
		Radius: span(rng, 0.05, 0.4), Height: span(rng, 0.08, 0.5), Fields: pose.DefaultFields(), Timing: watchdog.DefaultTiming()}
	s := &c.Stopping
	*s = watchdog.Stopping{Predict: true, Reaction: duration(rng, 60*ms, 300*ms), Deceleration: span(rng, 0.8, 5),
		Acceleration: span(rng, 0, 3) * float64(rng.IntN(2)), Margin: sometimes(rng, 8, span(rng, 0, 0.1)),
		PositionErr: span(rng, 0, 0.05), VelocityErr: span(rng, 0.002, 0.1), CoverLoss: rng.IntN(8) == 0}
	if kind == watchdog.Rover {
		s.Slope = sometimes(rng, 6, 0.05)
	} else {
		s.Vertical = span(rng, 1, 5)
	}
	c.Pose = pose.Config{MaxAge: 100 * ms, MaxLate: 100 * ms, FrozenAfter: 200 * ms, MaxClockStep: 250 * ms,
		VelocityWindow: duration(rng, 30*ms, 80*ms), VelocityTolerance: 0.5, MaxSpeed: 20, JumpSlack: 0.2, Settle: 500 * ms}
	c.Limits[watchdog.LimitSpeed] = watchdog.Limit{On: true, Max: 4, Caution: 4, Confirm: 2, Answer: watchdog.ActStop}
	return c
}

// drawRotor draws a multirotor with its attitude, thrust and controller, and
// declares for it what its model comes to.
//
// The wanted acceleration is answered by a lean that follows as a first-order
// lag, and the velocity by a loop of gain k: both together are a dead time of
// Delay + TiltLag + 1/k before a constant braking of g·tan(Brake), at the most.
// While it ends a climb its thrust is less than its weight, and with it what its
// lean brakes by: over the whole of it, as if it had begun climb/g later. While
// it drives, the lean and all its thrust accelerate it.
func drawRotor(rng *dice, c *watchdog.Config) sim.MultirotorSpec {
	m := sim.MultirotorSpec{Speed: 4, Climb: 1, Descent: 1, Landing: 0.5,
		Tilt: span(rng, 0.1, 0.25), Brake: span(rng, 0.15, 0.4), TiltLag: duration(rng, 10*ms, 40*ms),
		Thrust: span(rng, 13, 16), MotorLag: duration(rng, 5*ms, 20*ms), Turn: 1, Friction: 4,
		Gain: span(rng, 4, 6), Lift: span(rng, 5, 8), Delay: duration(rng, 0, 20*ms)}
	s := &c.Stopping
	flat := m.Delay + m.TiltLag + seconds(1/m.Gain) + seconds(m.Climb/sim.Gravity)
	up := m.Delay + m.MotorLag + seconds(1/m.Lift)
	s.Reaction = max(flat, up) + duration(rng, 20*ms, 80*ms)
	s.Deceleration = sim.Gravity * math.Tan(m.Brake)
	s.Vertical = m.Thrust - sim.Gravity
	s.Acceleration = m.Thrust * math.Tan(m.Tilt)
	return m
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
