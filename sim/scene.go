package sim

import (
	"context"
	"errors"
	"fmt"

	"pinfold/watchdog/link/wire"
)

// scene is one act: where it begins, what sets it off, and what the watchdog
// has to make of it.
type scene struct {
	name  string
	wish  wish
	stage []Vec                       // the way to where it begins; empty for where the vehicle is
	ready func(context.Context) error // brings it under way first; may be nil
	do    func()
}

// tries is how often a scene is played that the machine itself disturbs: a
// computer under load holds up trackers and watchdogs, and a stop for that is
// right, and not what the scene is about.
const tries = 6

// incident plays a scene in which the vehicle has to be stopped, and ends with
// it started again.
func (p *player) incident(ctx context.Context, c scene) error {
	for try := 1; ; try++ {
		s, err := p.attempt(ctx, c)
		again := try < tries && (errors.Is(err, errHalted) || err == nil && !c.wish.met(s)) && disturbed(s)
		if !again {
			a := Act{Name: c.name, Vehicle: p.name, Expected: c.wish.String(), Seen: showing(s), OK: err == nil && c.wish.met(s), Tries: try}
			p.story.note(a)
			if err != nil && !errors.Is(err, errHalted) {
				return err
			}
			return p.restart(ctx)
		}
		p.say("was held up (%s); the scene is played again", showing(s))
		if err := p.restart(ctx); err != nil {
			return err
		}
	}
}

// heed plays a scene of which a caution comes, and no stop: away is what the
// pilot does about it.
func (p *player) heed(ctx context.Context, c scene, away func()) error {
	for try := 1; ; try++ {
		s, err := p.attempt(ctx, c)
		cautioned := err == nil && c.wish.met(s)
		if cautioned {
			away()
			err = p.until(ctx, func(NodeView) bool { return p.state().Level == "clear" })
		}
		seen := showing(p.state())
		if cautioned {
			seen = showing(s) + ", then " + seen
		}
		if errors.Is(err, errHalted) && disturbed(p.state()) && try < tries {
			p.say("was held up (%s); the scene is played again", seen)
			if err := p.restart(ctx); err != nil {
				return err
			}
			continue
		}
		p.story.note(Act{Name: c.name, Vehicle: p.name, Expected: c.wish.String() + ", then clear", Seen: seen, OK: cautioned && err == nil, Tries: try})
		if halted(p.state()) {
			return p.restart(ctx)
		}
		return nil
	}
}

// under sets out for a point and waits until the vehicle is faster than v m/s.
// Played again, it first goes back to where it set out from: it may have come so
// near to the point that it never gets that fast.
func (p *player) under(v float64, to Vec) func(context.Context) error {
	var from *Vec
	return func(ctx context.Context) error {
		if from == nil {
			at := p.node.View().State.Position
			from = &Vec{at.X, at.Y, to.Z}
		} else if err := p.transfer(ctx, 1.0, 1.5, *from); err != nil {
			return err
		}
		p.head(v+0.15, 1.2, to)
		return p.until(ctx, func(n NodeView) bool { return n.State.Velocity.Flat().Len() > v })
	}
}

// attempt plays a scene once and returns the state that decided it.
func (p *player) attempt(ctx context.Context, c scene) (wire.State, error) {
	if len(c.stage) > 0 {
		if err := p.transfer(ctx, 1.0, 1.5, c.stage...); err != nil {
			return p.state(), err
		}
	}
	if c.ready != nil {
		if err := c.ready(ctx); err != nil {
			return p.state(), err
		}
	}
	c.do()
	return p.await(ctx, c.wish), nil
}

// await waits for the state to show w. A stop for another reason ends the wait,
// since what is latched stays latched, and so does the end of patience.
func (p *player) await(ctx context.Context, w wish) wire.State {
	ctx, cancel := context.WithTimeout(ctx, actMost)
	defer cancel()
	s, _ := p.story.operator.Wait(ctx, p.name, func(s wire.State) bool { return w.met(s) || halted(s) })
	return s
}

// expect is await, noted as an act.
func (p *player) expect(ctx context.Context, act string, w wish) bool {
	s := p.await(ctx, w)
	p.story.note(Act{Name: act, Vehicle: p.name, Expected: w.String(), Seen: showing(s), OK: w.met(s), Tries: 1})
	return w.met(s)
}

// restart brings a vehicle back to where it may move: stopped by the operator
// where nothing else has stopped it, at rest, its tracker well, and started.
func (p *player) restart(ctx context.Context) error {
	if !halted(p.state()) {
		p.node.SetPilot(Rest{})
		short, cancel := context.WithTimeout(ctx, actMost)
		defer cancel()
		if err := p.story.operator.Ask(short, p.name, AskStop); err != nil {
			return err
		}
	}
	if err := p.rest(ctx); err != nil {
		return err
	}
	p.node.Faults.Recover()
	return p.start(ctx)
}

// errand is an act in which the vehicle goes somewhere and may not be stopped.
func (p *player) errand(ctx context.Context, act string, speed, accel float64, points ...Vec) error {
	for try := 1; ; try++ {
		p.head(speed, accel, points...)
		err := p.arrive(ctx, points[len(points)-1])
		s := p.state()
		if errors.Is(err, errHalted) && disturbed(s) && try < tries {
			p.say("was held up (%s) and goes on", showing(s))
		} else {
			a := Act{Name: act, Vehicle: p.name, Expected: "no stop until it is there", Seen: showing(s), OK: err == nil, Tries: try}
			if err != nil {
				a.Seen = err.Error()
			}
			p.story.note(a)
			if !errors.Is(err, errHalted) {
				return err
			}
		}
		if err := p.restart(ctx); err != nil || !disturbed(s) || try >= tries {
			return err
		}
	}
}

// transfer takes the vehicle to where its next act begins. A stop on the way
// is not what the act is about: it is told, and the vehicle started again.
func (p *player) transfer(ctx context.Context, speed, accel float64, points ...Vec) error {
	for range tries {
		p.head(speed, accel, points...)
		err := p.arrive(ctx, points[len(points)-1])
		if !errors.Is(err, errHalted) {
			return err
		}
		p.say("was held up on its way (%s)", showing(p.state()))
		if err := p.restart(ctx); err != nil {
			return err
		}
	}
	return fmt.Errorf("%w %d times on one way", errHalted, tries)
}
