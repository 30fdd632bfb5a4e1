package rehearse

import (
	"fmt"
	"time"

	"pinfold/sim/judge"
	"pinfold/watchdog"
)

// PairCase is one run of two vehicles that are to be kept apart.
type PairCase struct {
	Seed     uint64
	Of       [2]*Case
	Distance float64 // m, declared
	Meeting  Meeting
	Soon     [2]time.Duration // least that passes until the other's guard hears of a vehicle
	Late     [2]time.Duration // most
	ahead    [2]float64       // m, what each asks for on top
	lead     int              // who does what the meeting is named for
	pilots   [2]pilotOf
}

// PairSource draws cases of two vehicles; a nil case is a draw that found no
// place to start from.
type PairSource interface {
	PairCase(seed uint64, attempt int) (*PairCase, error)
}

// RandomPairs draws two random vehicles in one random pen. Like Random it keeps
// the pen of the seed before, and nothing else.
type RandomPairs struct {
	Kinds  [2]watchdog.Kind
	Break  Break
	Cover  bool // both cover the loss of the link, which is lost whenever a stop is called
	block  uint64
	drawn  bool
	scenes [2]scene
}

// names of the two vehicles of a random pair.
func pairName(i int) string { return word(i, "one", "two") }

// PairCase draws the case of a seed.
func (d *RandomPairs) PairCase(seed uint64, attempt int) (*PairCase, error) {
	if b := seed / PerPen; !d.drawn || b != d.block {
		if err := d.draw(b); err != nil {
			return nil, fmt.Errorf("rehearse: seed %d: %w", seed, err)
		}
	}
	c := drawPair(&d.scenes, seed, attempt, &d.Break)
	for i := range d.scenes {
		if c != nil && d.Cover {
			c.Of[i].Truth.CutCall = true
		}
	}
	return c, nil
}

// draw draws what a block of seeds shares: two vehicles, and a pen that leaves
// both of them some way.
func (d *RandomPairs) draw(block uint64) (err error) {
	rng := newDice(block, 0x70616972<<16|uint64(d.Kinds[0])<<8|uint64(d.Kinds[1]))
	need, flies := 0.0, false
	for i := range d.scenes {
		s := &d.scenes[i]
		s.vehicle(rng, d.Kinds[i])
		s.config.Stopping.CoverLoss = s.config.Stopping.CoverLoss || d.Cover
		s.config.Vehicle = pairName(i)
		c := &s.config
		need += c.Radius + c.Stopping.Margin + c.Stopping.PositionErr + stopping(c, 1.2) + 0.3
		flies = flies || d.Kinds[i] == watchdog.Multirotor
	}
	p, err := drawPen(rng, span(rng, 4, 9)*need, flies)
	if err != nil {
		return err
	}
	distance, lead := span(rng, 0.02, 0.6), span(rng, 0, 0.5)*float64(rng.IntN(2))
	yields := rng.IntN(2)
	for i := range d.scenes {
		s := &d.scenes[i]
		s.pen = p.forBody(&s.config)
		s.config.Zones = p.set
		o := watchdog.Other{Name: pairName(1 - i), Distance: distance}
		if i == yields {
			o.Lead = lead
		}
		s.config.Others = []watchdog.Other{o}
	}
	d.block, d.drawn = block, true
	return nil
}

// forBody is the pen as another body meets it.
func (p *pen) forBody(c *watchdog.Config) *pen {
	q := *p
	q.flies = c.Kind == watchdog.Multirotor
	q.judged.Radius, q.judged.Below, q.judged.Above = c.Radius, c.Height/2, c.Height/2
	q.targets = targets(&q.judged, q.flies, true)
	return &q
}

// drawPair draws a case of two vehicles; nil where it found no place.
func drawPair(scenes *[2]scene, seed uint64, attempt int, b *Break) *PairCase {
	rng := newDice(seed, 0x6d656574<<16|uint64(attempt))
	c := &PairCase{Seed: seed}
	corner := Corner(rng.IntN(int(Corners) + 1))
	if corner == Corners {
		corner = Worst // the half of all runs
	}
	for i := range c.Of {
		s := &scenes[i]
		v := &Case{Seed: seed<<1 | uint64(i), Config: s.config, Pen: s.pen.judged, Most: 6 * time.Second, Corner: corner}
		v.Truth.Plant, v.Truth.Rotor = s.plant, s.rotor
		v.truth(rng, b)
		v.Config.Timing.TrustedFor, v.Config.Timing.RestFor, v.Config.Timing.RestSpeed = 0, 0, 10
		c.Of[i], c.ahead[i] = v, s.config.Others[0].Lead
		c.Soon[i], c.Late[i] = v.toldLate(rng)
	}
	c.Distance = c.Of[0].Config.Others[0].Distance
	for range pairTries {
		c.drawMeeting(rng)
		if c.stage(rng, [2]*pen{scenes[0].pen, scenes[1].pen}) {
			for _, v := range c.Of {
				v.aimErrors(rng, b)
			}
			return c
		}
	}
	return nil
}

// pairTries bounds how often a meeting is drawn again within an attempt.
const pairTries = 16

// PairResult is what came of a run of two vehicles.
type PairResult struct {
	Seed    uint64        `json:"seed"`
	Started bool          `json:"started"` // without, it is no run
	Meeting string        `json:"meeting"`
	Closest float64       `json:"closest"` // m, between the two bodies
	At      time.Duration `json:"closest_ns"`
	Near    bool          `json:"near"`   // nearer than declared
	Short   float64       `json:"short"`  // m, by how much
	Left    bool          `json:"left"`   // one of them left its pen
	First   int           `json:"first"`  // who was stopped first for the other's coming near; -1 neither
	Free    bool          `json:"free"`   // and the other one then still had its permit
	For     [2]bool       `json:"for"`    // who was
	Causes  [2]string     `json:"causes"` // what stopped each
	Rested  [2]bool       `json:"rested"`
	Length  time.Duration `json:"length_ns"`
	Hash    Hashes        `json:"hash"`
	met     Meeting
}

// leaks says whether the run is one that must not be.
func (r *PairResult) leaks() bool { return r.Near || r.Left }

// RunPairSeed draws and runs a seed until both are granted a start that they
// need; a result that was not Started is a seed for which none was.
func RunPairSeed(src PairSource, seed uint64, opt Options) (res PairResult, c *PairCase, err error) {
	res, c, err = untilStarted(func(attempt int) (*PairCase, error) { return src.PairCase(seed, attempt) }, RunPair, PairResult.started, opt)
	res.Seed = seed
	return res, c, err
}

func (r PairResult) started() bool { return r.Started }

// untilStarted draws and runs until a run had its start; it is told only then.
func untilStarted[C, R any](draw func(attempt int) (*C, error), run func(*C, Options) (R, error), started func(R) bool, opt Options) (res R, c *C, err error) {
	for attempt := range Attempts {
		if c, err = draw(attempt); err != nil {
			return res, nil, err
		}
		if c == nil {
			continue
		}
		if res, err = run(c, Options{Hash: opt.Hash}); err == nil && started(res) && opt.Trace != nil {
			res, err = run(c, opt)
		}
		if err != nil || started(res) {
			return res, c, err
		}
	}
	return res, c, nil
}

// String tells the case in two lines.
func (c *PairCase) String() string {
	return fmt.Sprintf("%v, to keep %.2f m apart\n  %s: %v\n  %s: %v", c.Meeting, c.Distance,
		c.Of[0].Config.Vehicle, c.Of[0], c.Of[1].Config.Vehicle, c.Of[1])
}

// bodyOf tells the judge of the body of a case.
func bodyOf(c *Case) judge.Body {
	return judge.Body{Radius: c.Pen.Radius, Below: c.Pen.Below, Above: c.Pen.Above}
}
