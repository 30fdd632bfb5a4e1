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

// BackKind is how a vehicle that is to be brought back is driven.
type BackKind uint8

// The ways.
const (
	Inward  BackKind = iota // straight back in, at walking pace or slower
	Outward                 // away
	Beside                  // along the edge, or nearly
	Hasty                   // back in, faster than walking
	Turning                 // back in, and then out again
	Dawdle                  // stands about, past the end
	BackKinds
)

// String gives the way's word.
func (k BackKind) String() string {
	return word(int(k), "inward", "outward", "along", "hasty", "turning", "dawdle")
}

// BackCase is one run of a vehicle that is brought back.
type BackCase struct {
	Case
	How  BackKind
	Turn time.Duration // when one that turns does
}

// RandomBack draws vehicles at rest outside their pens, or too near an edge. Like
// Random it keeps the pen of the seed before, and nothing else.
type RandomBack struct {
	Kind  watchdog.Kind
	Break Break
	block uint64
	drawn bool
	scene scene
}

// outMost is how far outside a vehicle is placed, m.
const outMost = 1.5

// BackCase draws the case of a seed; nil where it found no place.
func (d *RandomBack) BackCase(seed uint64, attempt int) (*BackCase, error) {
	if b := seed / PerPen; !d.drawn || b != d.block {
		if err := d.draw(b); err != nil {
			return nil, fmt.Errorf("rehearse: seed %d: %w", seed, err)
		}
	}
	rng := newDice(seed, 0x6261636b<<16|uint64(attempt))
	c := &BackCase{Case: d.scene.fresh(rng, seed, &d.Break), How: BackKind(rng.IntN(int(BackKinds)))}
	if c.How == Dawdle && rng.IntN(3) > 0 { // it takes half a minute
		c.How = Outward
	}
	c.AtRest, c.Most = true, watchdog.RetrieveFor+3*time.Second
	c.Config.Timing.TrustedFor, c.Config.Timing.RestFor, c.Config.Timing.RestSpeed = 50*ms, 50*ms, watchdog.DefaultTiming().RestSpeed
	c.Truth.SilentAt, c.Truth.Eye.LateFrom = 0, 100*ms
	if !c.outside(rng) {
		return nil, nil
	}
	c.drive(rng)
	c.aimErrors(rng, &d.Break)
	return c, nil
}

// draw draws what a block of seeds shares: a pen without holes, of one region,
// so that how far outside a place is can be said in one way only.
func (d *RandomBack) draw(block uint64) (err error) {
	rng := newDice(block, 0x6f7574<<8|uint64(d.Kind))
	s := &d.scene
	if err = s.room(rng, d.Kind, 4, 8); err != nil {
		return err
	}
	c, p := &s.config, &s.pen.judged
	if c.Stopping.Acceleration < 0.4 {
		c.Stopping.Acceleration = span(rng, 0.4, 3)
	}
	p.Inside, p.Outside = p.Inside[:1], nil
	p.Inside[0].Holes = nil
	if c.Zones, err = zones.New(shapesOf(p)); err != nil {
		return err
	}
	d.block, d.drawn = block, true
	return nil
}

// outside draws where it stands.
func (c *BackCase) outside(rng *dice) bool {
	j, err := judge.New(c.Pen)
	if err != nil {
		return false
	}
	r := &c.Pen.Inside[0]
	far := 0.0
	for _, p := range r.Outer {
		far = math.Max(far, math.Hypot(p[0], p[1]))
	}
	least := -outMost
	if rng.IntN(4) == 0 {
		least = -0.02
	}
	for range maxTries {
		c.At = unit(rng, false).Mul(span(rng, 0, far+outMost))
		c.At.Z = c.Pen.Below
		if c.Config.Kind == watchdog.Multirotor {
			c.At.Z = span(rng, c.Pen.Below, math.Max(r.Ceiling+0.3, c.Pen.Below+0.01))
		}
		room := j.Room(c.At.X, c.At.Y, c.At.Z)
		if room > least && room < c.Config.Stopping.Margin+c.Config.Stopping.PositionErr {
			return true
		}
	}
	return false
}

// drive draws who brings it back. The middle of a pen is its origin, and all of
// it is seen from there.
func (c *BackCase) drive(rng *dice) {
	in := c.At.Mul(-1)
	in.Z = 0
	if c.Config.Kind == watchdog.Multirotor {
		in.Z = math.Max(0.4*c.Pen.Inside[0].Ceiling, c.Pen.Below) - c.At.Z
	}
	in = norm(in)
	pace := watchdog.WalkingPace - c.Config.Stopping.VelocityErr - 0.02
	q := Pilot{Kind: Straight, Dir: in, Out: in.Mul(-1), Speed: pace * span(rng, 0.15, 1), Full: 9}
	switch c.How {
	case Outward:
		q.Dir, q.Speed = in.Mul(-1), span(rng, 0.05, 3)
		if rng.IntN(2) == 0 {
			q.Dir = rotated(q.Dir, span(rng, -1, 1))
		}
	case Beside:
		q.Dir = rotated(in, math.Copysign(span(rng, 1.2, 1.9), rng.Float64()-0.5))
	case Hasty:
		q.Speed = span(rng, 1.6, 4)
	case Dawdle:
		q.Speed = 0
	}
	c.Turn = c.warm() + duration(rng, 100*ms, 1500*ms)
	c.Pilot = q
}

// want is what its pilot asks for.
func (c *BackCase) want(_ *sim.State, t, _ time.Duration) sim.Vec {
	if c.How == Turning && t >= c.Turn {
		return c.Pilot.Dir.Mul(-c.Pilot.Full)
	}
	return c.Pilot.Dir.Mul(c.Pilot.Speed)
}

// BackResult is what came of a run of a vehicle that was brought back.
type BackResult struct {
	Result
	How     BackKind `json:"-"`
	Way     string   `json:"way"`
	Back    bool     `json:"back"`    // it rests with all of its body inside
	Out     float64  `json:"out"`     // m, the most its room fell below the most that its way until rest had had, where that took it outside
	Over    float64  `json:"over"`    // m, by how much that was more than its declared stopping allows for; negative: less
	Further bool     `json:"further"` // it went further out than that
	Late    bool     `json:"late"`    // it was not called to a halt in time, or did not come to rest
}

func (r BackResult) started() bool { return r.Started }
func (r *BackResult) leaks() bool  { return r.Further || r.Late }

// backRig looks after one such run.
type backRig struct {
	*rig
	c       *BackCase
	most    float64 // m, the most room that its way until rest had, while it was let go on
	out     float64 // m, the most it fell by, outside
	over    float64 // m, by how much that was beyond what was allowed for just then
	allowed float64 // m, as declared, after what the guard last let pass
}

// RunBack makes the run of a case.
func RunBack(c *BackCase, opt Options) (res BackResult, err error) {
	r, err := newRig(&c.Case, opt)
	if err != nil {
		return res, fmt.Errorf("rehearse: seed %d: %w", c.Seed, err)
	}
	b := &backRig{rig: r, c: c, most: math.Inf(-1), over: math.Inf(-1)}
	r.back, r.wish, r.seen = true, c.want, b.follow
	r.run()
	began := r.shift + c.warm()
	res = BackResult{Result: r.res, How: c.How, Way: c.How.String(), Out: b.out, Back: r.res.Rested && r.res.Room > 0}
	res.Over, res.Further = b.over, b.over > overSlack
	res.Late = !res.Stopped || !res.Rested || res.StopAt > began+watchdog.RetrieveFor+2*watchdog.JudgeEvery
	r.tell("went out by %.4f m at most, %.4f m beyond what is allowed for; started at %v, called at %v", res.Out, res.Over, began, r.called)
	return res, nil
}

// follow notes how far it has gone out, and how far it may, as declared. As long
// as the guard lets it go on, it saw no less room on the way until rest than the
// slack and the position's error take from the most there was; both rooms are off
// by that error, and the way spreads by what may be gained on it.
func (b *backRig) follow(s *sim.State) {
	if !b.res.Started {
		return
	}
	if b.called < 0 {
		p, reach := &b.c.Config.Stopping, b.guard.Snapshot().Reach
		side := math.Min(reach.Up, reach.Down) - p.Margin - p.PlaceErr()
		b.allowed = watchdog.RetrieveSlack + 3*p.PlaceErr() + math.Hypot(reach.Sweep.Grow, side)
		b.most = math.Max(b.most, b.wayRoom(s, reach.Reaction))
	}
	room := b.judge.Room(s.Position.X, s.Position.Y, s.Position.Z)
	if room < 0 {
		b.out = math.Max(b.out, b.most-room)
		b.over = math.Max(b.over, b.most-room-b.allowed)
	}
}

// wayRoom is the least room on the way until rest from where it truly is and as
// fast as it truly is, if its brakes are on after react s and brake as declared.
// What it only passes by on that way is no room that it has come back to.
func (b *backRig) wayRoom(s *sim.State, react float64) float64 {
	p := &b.c.Config.Stopping
	a, _ := watchdog.OnSlope(p.Deceleration, p.Slope)
	way := sim.Vec{}
	if v := s.Velocity.Flat(); v.Len() > 0 {
		way = v.Mul(watchdog.StoppingDistance(v.Len(), react, a) / v.Len())
	}
	if vz := s.Velocity.Z; vz != 0 && b.c.Config.Kind == watchdog.Multirotor {
		way.Z = math.Copysign(watchdog.StoppingDistance(math.Abs(vz), react, p.Vertical), vz)
	}
	const points = 16
	room := math.Inf(1)
	for i := range points + 1 {
		at := s.Position.Add(way.Mul(float64(i) / points))
		room = math.Min(room, b.judge.Room(at.X, at.Y, math.Max(at.Z, b.c.Pen.Below)))
	}
	return room
}

// RunBackSeed draws and runs a seed until a start is granted.
func RunBackSeed(src *RandomBack, seed uint64, opt Options) (res BackResult, c *BackCase, err error) {
	res, c, err = untilStarted(func(attempt int) (*BackCase, error) { return src.BackCase(seed, attempt) }, RunBack, BackResult.started, opt)
	res.Seed = seed
	return res, c, err
}
