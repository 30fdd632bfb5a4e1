package rehearse

import (
	"fmt"
	"math"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
	"pinfold/zones"
)

// SlowCase is one run of a vehicle that has slow zones in its way.
type SlowCase struct {
	Case
	Zones  []judge.Region
	Limits []float64     // m/s, what each declares
	Sneak  time.Duration // slowly until then, and from then on as fast as it can; 0 otherwise
}

// Promised is the highest true speed, m/s, that a slow zone with that limit may
// be met at: the limit, the declared error of the velocity, and what a vehicle
// that was slow enough at the last judgement may gain, by its declared
// acceleration, until its brakes are on. One that can gain nothing has the first
// two alone.
func (c *SlowCase) Promised(limit float64) float64 {
	s, t := &c.Config.Stopping, &c.Config.Timing
	until := c.Config.Pose.MaxAge + watchdog.JudgeEvery + c.Config.Pose.VelocityWindow + s.Reaction
	if s.CoverLoss {
		until += t.PermitValid
	}
	for i := range c.Config.Slow { // what has to be confirmed is called later
		until = max(until, until+time.Duration(c.Config.Slow[i].Limit.Confirm)*watchdog.JudgeEvery)
	}
	return limit + s.VelocityErr + s.Acceleration*until.Seconds()
}

// RandomSlow draws vehicles that go at slow zones in random pens. Like Random it
// keeps the pen of the seed before, and nothing else.
type RandomSlow struct {
	Kind   watchdog.Kind
	Break  Break
	block  uint64
	drawn  bool
	scene  scene
	aims   *pen // with what is aimed at
	zones  []judge.Region
	limits []float64
}

// SlowCase draws the case of a seed; nil where it found no place to start from.
func (d *RandomSlow) SlowCase(seed uint64, attempt int) (*SlowCase, error) {
	if b := seed / PerPen; !d.drawn || b != d.block {
		if err := d.draw(b); err != nil {
			return nil, fmt.Errorf("rehearse: seed %d: %w", seed, err)
		}
	}
	rng := newDice(seed, 0x736c6f77<<16|uint64(attempt))
	c := &SlowCase{Case: d.scene.fresh(rng, seed, &d.Break), Zones: d.zones, Limits: d.limits}
	if !c.goAt(rng, d.aims) {
		return nil, nil
	}
	c.aimErrors(rng, &d.Break)
	return c, nil
}

// draw draws what a block of seeds shares.
func (d *RandomSlow) draw(block uint64) (err error) {
	rng := newDice(block, 0x6c6f77<<8|uint64(d.Kind))
	if err = d.scene.room(rng, d.Kind, 7, 11); err != nil {
		return err
	}
	c, p := &d.scene.config, d.scene.pen
	aims := *p
	aims.targets, d.zones, d.limits, c.Slow = nil, nil, nil, nil
	aims.judged.Outside = append([]judge.Region{}, p.judged.Outside...)
	x0, x1 := p.judged.Inside[0].Outer[0][0], p.judged.Inside[0].Outer[0][1]
	for i := range 1 + rng.IntN(2) {
		far := math.Hypot(x0, x1) * span(rng, 0, 0.3)
		to := unit(rng, false).Mul(far)
		r := judge.Region{Name: fmt.Sprintf("slow %d", i+1), Floor: below, Ceiling: p.judged.Inside[0].Ceiling * span(rng, 0.3, 1.2),
			Outer: star(rng, to.X, to.Y, math.Hypot(x0, x1)*span(rng, 0.1, 0.25), 3+rng.IntN(7), 0.4)}
		limit := span(rng, 0.1, 0.5)
		shape := shapesOf(&judge.Pen{Outside: []judge.Region{r}})[0]
		if _, err = zones.New([]zones.Shape{keepIn(shape)}); err != nil {
			continue // a ring that the zones would refuse
		}
		c.Slow = append(c.Slow, watchdog.SlowZone{Shape: shape, Limit: watchdog.Limit{On: true, Max: limit, Caution: limit, Confirm: rng.IntN(4), Answer: watchdog.ActStop}})
		d.zones, d.limits = append(d.zones, r), append(d.limits, limit)
		aims.judged.Outside = append(aims.judged.Outside, r)
		aims.targets = ringTargets(aims.targets, r, true)
		if p.flies {
			aims.targets = append(aims.targets, target{place: judge.Place{Region: r.Name, Edge: judge.Ceiling}, out: sim.Vec{Z: -1}, low: r.Floor, high: r.Ceiling, what: atFloor})
		}
	}
	if len(d.zones) == 0 {
		return fmt.Errorf("no slow zone")
	}
	d.aims, d.block, d.drawn = &aims, block, true
	return nil
}

// keepIn is a shape of the kind that stands alone.
func keepIn(s zones.Shape) zones.Shape {
	s.Kind = zones.KeepIn
	return s
}

// goAt places the vehicle and its pilot before a slow zone: half of them too
// fast, the others slow enough until they are near it, or in it.
func (c *SlowCase) goAt(rng *dice, aims *pen) bool {
	l := &c.Config.Limits[watchdog.LimitSpeed]
	most := *l
	sneaks := c.Truth.Gain > 0.3 && rng.IntN(2) == 0
	if sneaks {
		l.Max = c.Limits[rng.IntN(len(c.Limits))]
		l.Max = math.Max(l.Max, 1.2*c.Config.Stopping.VelocityErr)
	}
	ok := c.place(rng, aims, false)
	*l = most
	if !ok || c.Pilot.Speed <= 0 {
		return false
	}
	if sneaks {
		far := stopping(&c.Config, c.Pilot.Speed) + c.Pilot.Speed*0.4
		c.Sneak = c.warm() + seconds(span(rng, 0.6, 2.6)*math.Min(far/c.Pilot.Speed, 2))
		c.Pilot.Full = 3 * c.fastest()
	}
	return true
}

// SlowResult is what came of a run among slow zones.
type SlowResult struct {
	Result
	Inside bool    `json:"inside"` // it was in one of them
	Fast   bool    `json:"fast"`   // and faster there than is promised
	Over   float64 `json:"faster"` // m/s, by how much; negative: slower
	Zone   string  `json:"zone"`   // which
}

func (r SlowResult) started() bool { return r.Started }

// RunSlow makes the run of a case.
func RunSlow(c *SlowCase, opt Options) (res SlowResult, err error) {
	r, err := newRig(&c.Case, opt)
	if err != nil {
		return res, fmt.Errorf("rehearse: seed %d: %w", c.Seed, err)
	}
	all := make([]*judge.Slow, len(c.Zones))
	for i := range all {
		if all[i], err = judge.NewSlow(bodyOf(&c.Case), c.Zones[i], c.Promised(c.Limits[i])); err != nil {
			return res, fmt.Errorf("rehearse: seed %d: %w", c.Seed, err)
		}
	}
	if c.Sneak > 0 {
		r.wish = func(_ *sim.State, t, _ time.Duration) sim.Vec {
			if t < c.Sneak {
				return c.Pilot.Dir.Mul(c.Pilot.Speed)
			}
			return c.Pilot.Dir.Mul(c.Pilot.Full)
		}
	}
	r.seen = func(s *sim.State) {
		for _, j := range all {
			if r.res.Started {
				j.Look(r.now, judge.Point{s.Position.X, s.Position.Y, s.Position.Z}, s.Velocity.Flat().Len())
			}
		}
	}
	r.run()
	res.Result, res.Over = r.res, math.Inf(-1)
	for i, j := range all {
		v := j.Verdict()
		if v.Inside == 0 {
			continue
		}
		res.Inside, res.Fast = true, res.Fast || !v.Kept()
		if by := v.Worst - c.Promised(c.Limits[i]); by > res.Over {
			res.Over, res.Zone = by, c.Zones[i].Name
		}
		r.tell("in %s at up to %.4f m/s (at %v), where %.4f m/s are promised", c.Zones[i].Name, v.Worst, v.At, c.Promised(c.Limits[i]))
	}
	return res, nil
}

// RunSlowSeed draws and runs a seed until a start is granted.
func RunSlowSeed(src *RandomSlow, seed uint64, opt Options) (res SlowResult, c *SlowCase, err error) {
	res, c, err = untilStarted(func(attempt int) (*SlowCase, error) { return src.SlowCase(seed, attempt) }, RunSlow, SlowResult.started, opt)
	res.Seed = seed
	return res, c, err
}
