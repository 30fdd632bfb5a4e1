package sim

import (
	"context"
	"errors"
	"fmt"
	"time"

	"pinfold/watchdog/link/wire"
)

// player is one of the story's cast: a vehicle, and the operator who looks
// after it. It knows what it sets out to do; what comes of it is read from the
// watchdog's state and from the true position.
type player struct {
	story *story
	name  string
	flies bool
	node  *Node
	rng   *rng
}

// cast starts a vehicle and makes it a player.
func (s *story) cast(ctx context.Context, o NodeOptions) (*player, error) {
	n, err := StartNode(ctx, o)
	if err != nil {
		return nil, err
	}
	return &player{story: s, name: o.Vehicle, flies: o.Flies, node: n, rng: newRNG(s.options.Seed, "story "+o.Vehicle)}, nil
}

func (p *player) say(format string, args ...any) { p.story.say(p.name, format, args...) }

// about is x give or take by, drawn from the seed.
func (p *player) about(x, by float64) float64 { return x + (2*p.rng.Float64()-1)*by }

// head sends the vehicle to the points in a straight line each, at speed (m/s)
// and acceleration (m/s²).
func (p *player) head(speed, accel float64, points ...Vec) {
	p.follow(Course{Points: points, Speed: speed, Accel: accel})
}

// wander goes round the points until told otherwise.
func (p *player) wander(speed, accel float64, points ...Vec) {
	p.follow(Course{Points: points, Speed: speed, Accel: accel, Loop: true})
}

func (p *player) follow(c Course) {
	if p.flies {
		p.node.SetPilot(NewFlight(c))
		return
	}
	p.node.SetPilot(NewDriving(c))
}

// start has the operator start the vehicle with a pilot at rest, after a reset
// where a stop is latched. It waits for what blocks to pass.
func (p *player) start(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, startMost)
	defer cancel()
	p.node.SetPilot(Rest{})
	was := halted(p.state())
	err := p.story.operator.Release(ctx, p.name)
	if was && err == nil {
		p.say("was reset by the operator and started again")
	}
	return err
}

// state is the newest state heard of the vehicle.
func (p *player) state() wire.State {
	s, _ := p.story.operator.State(p.name)
	return s
}

// arrive waits until the vehicle is near a point and slow. It returns
// errHalted when the watchdog stopped it on the way.
func (p *player) arrive(ctx context.Context, to Vec) error {
	return p.until(ctx, func(v NodeView) bool {
		d := v.State.Position.Sub(to)
		if !p.flies {
			d = d.Flat()
		}
		return d.Len() < 0.15 && v.State.Velocity.Len() < 0.25
	})
}

// errHalted says that the watchdog stopped a vehicle that was to run on.
var errHalted = errors.New("the watchdog called a stop")

// look is how often the story looks at a vehicle.
const look = 10 * time.Millisecond

// until waits for the true state to be as wanted, as long as the watchdog lets
// the vehicle run, for actMost at the most.
func (p *player) until(ctx context.Context, wanted func(NodeView) bool) error {
	return p.watch(ctx, func(v NodeView) (bool, error) {
		if s := p.state(); halted(s) {
			return false, fmt.Errorf("%w: %s", errHalted, showing(s))
		}
		return wanted(v), nil
	})
}

// watch polls the true state for actMost at the most.
func (p *player) watch(ctx context.Context, done func(NodeView) (bool, error)) error {
	ctx, cancel := context.WithTimeout(ctx, actMost)
	defer cancel()
	tick := time.NewTicker(look)
	defer tick.Stop()
	for {
		if ok, err := done(p.node.View()); ok || err != nil {
			return err
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			v := p.node.View()
			return fmt.Errorf("waited in vain at (%.2f, %.2f, %.2f) m, %.2f m/s: %w", v.State.Position.X,
				v.State.Position.Y, v.State.Position.Z, v.State.Velocity.Len(), ctx.Err())
		}
	}
}

// rest waits until the vehicle is at rest, and on the ground where the
// watchdog called for a landing, and tells how it came there.
func (p *player) rest(ctx context.Context) error {
	down := p.flies && p.state().Level == "land"
	err := p.watch(ctx, func(v NodeView) (bool, error) {
		return !v.MayMove && v.State.Velocity.Len() < RestSpeed && (!down || v.State.Grounded), nil
	})
	if err != nil {
		return err
	}
	if h := p.node.Halts(); len(h) > 0 {
		last := h[len(h)-1]
		if !last.Rested() || last.Distance < 0.02 {
			return nil
		}
		p.say("is at rest %.2f s after its permit went, having covered %.2f m, with %.2f m to spare",
			(last.RestAt - last.PermitAt).Seconds(), last.Distance, last.Room)
	}
	return nil
}
