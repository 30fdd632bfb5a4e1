package rehearse

import (
	"fmt"
	"math"
	"time"

	"pinfold/sim"
	"pinfold/watchdog"
)

// PerPen is how many seeds in a row share a pen, which is dear to draw.
const PerPen = 16

// Random draws cases of random pens and vehicles. It keeps the pen of the seed
// before, and nothing else.
type Random struct {
	Kind  watchdog.Kind
	Break Break
	Peace bool // pilots that mean no harm as well
	block uint64
	drawn bool
	scene scene
}

// restEvery: of so many runs one begins at rest, with the waits that are
// declared, where the vehicle can gain speed at all.
const restEvery = 16

// scene is what many cases share.
type scene struct {
	config watchdog.Config
	pen    *pen
	plant  PlantKind
	rotor  sim.MultirotorSpec
}

// Case draws the case of a seed; attempt counts from zero, for draws that were
// not granted a start. A nil case: this draw found no place to start from.
func (d *Random) Case(seed uint64, attempt int) (*Case, error) {
	s, b, peace, err := d.stage(seed)
	if err != nil {
		return nil, err
	}
	return s.draw(seed, attempt, b, peace), nil
}

// stage draws the pen of a seed, unless it is that of the seed before.
func (d *Random) stage(seed uint64) (*scene, *Break, bool, error) {
	if b := seed / PerPen; !d.drawn || b != d.block {
		if err := d.draw(b); err != nil {
			return nil, nil, false, fmt.Errorf("rehearse: seed %d: %w", seed, err)
		}
	}
	return &d.scene, &d.Break, d.Peace, nil
}

// draw draws a case in a scene; nil where it found no place to start from.
func (s *scene) draw(seed uint64, attempt int, b *Break, peace bool) *Case {
	return s.drawBy(newDice(seed, 0x63617365<<16|uint64(attempt)), seed, b, peace)
}

// drawBy draws the case of a seed by some dice.
func (s *scene) drawBy(rng *dice, seed uint64, b *Break, peace bool) *Case {
	c := &Case{Seed: seed, founder: seed, Config: s.config, Pen: s.pen.judged, Most: 6 * time.Second}
	c.Truth.Plant, c.Truth.Rotor = s.plant, s.rotor
	c.Corner = Corner(rng.IntN(int(Corners) + 1))
	if c.Corner == Corners {
		c.Corner = Worst // the half of all runs
	}
	c.truth(rng, b)
	c.AtRest = seed%restEvery == restEvery-1 && c.Truth.Gain > 0.3 && s.config.Stopping.PositionErr > 1e-4 && b.Speed == 0
	if !c.place(rng, s.pen, peace) {
		return nil
	}
	rng.begin(inErrors)
	c.aimErrors(rng, b)
	c.genes = genome{rng.made, seed}
	if c.AtRest {
		c.Speed = sim.Vec{}
		c.Truth.SilentAt = 0
		c.Truth.Eye.LateFrom = 100 * ms
		return c
	}
	c.Config.Timing.TrustedFor, c.Config.Timing.RestFor, c.Config.Timing.RestSpeed = 0, 0, 10
	return c
}

// draw draws what a block of seeds shares.
func (d *Random) draw(block uint64) (err error) {
	rng := newDice(block, 0x70656e<<8|uint64(d.Kind))
	s := &d.scene
	if err = s.room(rng, d.Kind, 3, 8); err != nil {
		return err
	}
	c := &s.config
	drawLimits(rng, c, s.pen)
	s.pen.targets = append(s.pen.targets, limitTargets(c)...)
	d.block, d.drawn = block, true
	return nil
}

// room draws a vehicle and a pen that is lo to hi times as wide as what the
// vehicle needs until rest.
func (s *scene) room(rng *dice, kind watchdog.Kind, lo, hi float64) (err error) {
	s.vehicle(rng, kind)
	c := &s.config
	need := c.Radius + c.Stopping.Margin + c.Stopping.PositionErr + stopping(c, 1.2) + 0.3
	if s.pen, err = drawPen(rng, span(rng, lo, hi)*need, kind == watchdog.Multirotor); err != nil {
		return err
	}
	s.pen.judged.Radius, s.pen.judged.Below, s.pen.judged.Above = c.Radius, c.Height/2, c.Height/2
	c.Zones = s.pen.set
	return nil
}

// fresh is a case in a scene that begins in motion, without a place and a pilot.
func (s *scene) fresh(rng *dice, seed uint64, b *Break) Case {
	c := Case{Seed: seed, Config: s.config, Pen: s.pen.judged, Most: 6 * time.Second, Corner: Corner(rng.IntN(int(Corners) + 1))}
	if c.Corner == Corners {
		c.Corner = Worst // the half of all runs
	}
	c.Truth.Plant, c.Truth.Rotor = s.plant, s.rotor
	c.truth(rng, b)
	c.Config.Timing.TrustedFor, c.Config.Timing.RestFor, c.Config.Timing.RestSpeed = 0, 0, 10
	return c
}

// vehicle draws what is declared of a vehicle, and the model it moves by.
func (s *scene) vehicle(rng *dice, kind watchdog.Kind) {
	s.config = declare(rng, kind)
	switch {
	case kind == watchdog.Rover:
		s.plant = Differential + PlantKind(rng.IntN(2))
	case rng.IntN(5) == 0:
		s.plant, s.rotor = Rotor, drawRotor(rng, &s.config)
	default:
		s.plant = Point
	}
}

// drawLimits declares limits of height and distance that bind, now and then.
func drawLimits(rng *dice, c *watchdog.Config, p *pen) {
	confirm := rng.IntN(4)
	if top := p.judged.Inside[0].Ceiling; p.flies && rng.IntN(3) == 0 {
		h := top * span(rng, 0.5, 1)
		c.Limits[watchdog.LimitHeight] = watchdog.Limit{On: true, Max: h, Caution: h, Confirm: confirm, Answer: watchdog.ActStop}
	}
	if rng.IntN(4) == 0 {
		corner := p.judged.Inside[0].Outer[0]
		d := math.Hypot(corner[0], corner[1]) * span(rng, 0.7, 1)
		c.Limits[watchdog.LimitDistance] = watchdog.Limit{On: true, Max: d, Caution: d, Confirm: confirm, Answer: watchdog.ActStop}
	}
}

// stopping is about how much room a vehicle at v m/s needs until rest, m.
func stopping(c *watchdog.Config, v float64) float64 {
	s := &c.Stopping
	a, _ := watchdog.OnSlope(s.Deceleration, s.Slope)
	t := reaction(c)
	gain := s.VelocityErr + float64(s.Acceleration*t)
	return watchdog.StoppingDistance(v+gain, t, a) + float64(0.5*s.Acceleration*t*t)
}

// reaction is about how long it is until the brakes are on, s.
func reaction(c *watchdog.Config) float64 {
	until := 20*ms + watchdog.JudgeEvery
	if c.Stopping.CoverLoss {
		until = max(until, c.Timing.PermitValid)
	}
	return (until + c.Pose.VelocityWindow/2 + c.Stopping.Reaction).Seconds()
}

// truth draws what holds, within what is declared but for the Break.
func (c *Case) truth(rng *dice, b *Break) {
	s, t := &c.Config.Stopping, &c.Truth
	worse := func(lo float64) float64 { // a share of what is declared
		if c.Corner != Within {
			return 1
		}
		return span(rng, lo, 1)
	}
	a, _ := watchdog.OnSlope(s.Deceleration, s.Slope)
	t.Braking = a / worse(0.7) * (1 - b.Braking)
	t.Vertical = s.Vertical / worse(0.7) * (1 - b.Braking)
	t.Gain = s.Acceleration*worse(0) + b.Gain
	t.Turning = rng.Float64()
	c.delays(rng, worse(0.3), b)
	c.rotor(b)
	t.Eye = c.eye(rng)
	if s.CoverLoss {
		t.CutCall = rng.IntN(2) == 0
	}
	if rng.IntN(8) == 0 {
		t.SilentAt = c.warm() + duration(rng, 20*ms, 500*ms)
	}
}

// delays shares the reaction out between the link there, the link back and the
// actuators: nothing of it is left where full is 1. The vehicle asks once a
// tick whether it may move, and its actuators' time is in whole ticks.
func (c *Case) delays(rng *dice, full float64, b *Break) {
	t := &c.Truth
	left := time.Duration(float64(c.Config.Stopping.Reaction)*full) - Tick
	if t.Plant == Rotor { // its own lags are in its model
		m := &t.Rotor
		own := max(m.Delay+m.TiltLag+seconds(1/m.Gain)+seconds(m.Climb/sim.Gravity), m.Delay+m.MotorLag+seconds(1/m.Lift))
		left = max(0, c.Config.Stopping.Reaction-own-Tick)
	}
	t.Transit = time.Duration(rng.Float64() * 0.4 * float64(left))
	t.Down = time.Duration(rng.Float64() * 0.5 * float64(left))
	t.DownLate = time.Duration(rng.Float64() * float64(t.Down))
	if c.Corner != Within {
		t.DownLate = 0
	}
	if t.Plant != Rotor {
		t.Actuator = max(0, (left-t.Transit-t.Down)/Tick*Tick)
	}
	t.Late = duration(rng, 0, 30*ms)
	t.Late = min(t.Late, c.Config.Pose.MaxAge/3)
	if most := c.Config.Pose.MaxLate; most > 0 {
		t.Late = min(t.Late, most/2)
	}
	t.Actuator += b.Reaction
	t.Rotor.Delay += b.Reaction
	t.Down += b.Down
	t.Transit += b.Transit
}

// rotor breaks a multirotor's own brakes where they are to be weaker.
func (c *Case) rotor(b *Break) {
	m := &c.Truth.Rotor
	m.Brake = math.Atan(math.Tan(m.Brake) * (1 - b.Braking))
	m.Thrust -= b.Braking * (m.Thrust - sim.Gravity)
}

// eye draws the tracker: its errors point nowhere yet.
func (c *Case) eye(rng *dice) sim.EyeSpec {
	p := &c.Config.Pose
	e := sim.EyeSpec{Period: duration(rng, 3*ms, 12*ms), Jitter: span(rng, 0, 0.8) * float64(rng.IntN(2)),
		Clock: duration(rng, time.Second, 90*time.Second), Latency: c.Truth.Transit, Late: c.Truth.Late,
		LateFrom: c.warm(), Velocity: rng.IntN(2) == 0}
	if rng.IntN(4) == 0 {
		e.Lose = span(rng, 0, 0.3)
	}
	e.Velocity = e.Velocity && c.Config.Fields.VX != ""
	if !e.Velocity { // four samples, the warm-up's
		e.Period = min(e.Period, p.VelocityWindow/5)
	}
	e.Period = min(e.Period, p.MaxAge/3)
	if p.MinRateHz > 0 {
		e.Period = min(e.Period, seconds(0.7/p.MinRateHz))
	}
	e.Period = max(e.Period, ms)
	return e
}

// aimErrors makes the tracker lie so that the vehicle seems further from where
// it leaves by, and slower, than it is: as much as is declared, and as a Break
// has it.
func (c *Case) aimErrors(rng *dice, b *Break) {
	s, e := &c.Config.Stopping, &c.Truth.Eye
	size, speed := 1.0, 1.0
	dir, head := c.Pilot.Out.Mul(-1), c.Pilot.Dir.Mul(-1)
	if c.Corner != Worst {
		size, speed = rng.Float64(), rng.Float64()
		dir, head = unit(rng, c.Config.Kind == watchdog.Multirotor), unit(rng, c.Config.Kind == watchdog.Multirotor)
	}
	wobble := 0.3 * rng.Float64() * s.PositionErr
	if !e.Velocity { // it must not look like a speed: see derivedNoise
		wobble = math.Min(wobble, s.VelocityErr*speed/derivedNoise(&c.Config, e.Period))
	}
	e.Wobble = math.Max(wobble, math.Min(5e-6, s.PositionErr)) // no tracker repeats itself to the last digit
	most := math.Max(0, s.PositionErr*size-wobble)
	e.Hide = dir.Mul(most + b.Drift*span(rng, 0.25, 1)*Way)
	if e.Velocity {
		e.WobbleV = 0.3 * rng.Float64() * s.VelocityErr * speed
		e.HideV = head.Mul(s.VelocityErr*speed - e.WobbleV)
	}
	e.HideV = e.HideV.Add(head.Mul(b.Speed))
	if b.Speed > 0 {
		e.Velocity = true
	}
}

// derivedNoise is the most by which a position error of at most 1 m can tilt the
// slope over the velocity window, 1/s: 2·sum|t|/sum t² over half the window,
// which is the shortest it can be, is at most 8 over it.
func derivedNoise(c *watchdog.Config, _ time.Duration) float64 {
	return 8 / c.Pose.VelocityWindow.Seconds()
}

// unit is a random direction.
func unit(rng *dice, up bool) sim.Vec {
	a, z := rng.Float64()*2*math.Pi, 0.0
	if up {
		z = span(rng, -1, 1)
	}
	r := math.Sqrt(1 - z*z)
	return sim.Vec{X: r * math.Cos(a), Y: r * math.Sin(a), Z: z}
}
