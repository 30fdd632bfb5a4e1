package sim

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
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
	ctx, cancel := context.WithTimeout(ctx, actMost)
	defer cancel()
	p.node.SetPilot(Rest{})
	if s, ok := p.story.operator.State(p.name); ok && halted(s) {
		defer p.say("is reset by the operator and started again")
	}
	return p.story.operator.Release(ctx, p.name)
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
		if s, ok := p.story.operator.State(p.name); ok && halted(s) {
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
	s, _ := p.story.operator.State(p.name)
	down := p.flies && s.Level == "land"
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

// wish is what the watchdog's state has to show.
type wish struct {
	level  string   // clear, caution, stop or land; stop is also met by land
	causes []string // any of these has to stand first among what is latched
	name   string   // of the zone or limit; empty for any
}

func (w wish) String() string {
	s := w.level
	if len(w.causes) > 0 {
		s += ": " + strings.Join(w.causes, " or ")
	}
	if w.name != "" {
		s += " " + w.name
	}
	return s
}

// met says whether a state shows what is wished for.
func (w wish) met(s wire.State) bool {
	if s.Level != w.level && !(w.level == "stop" && s.Level == "land") {
		return false
	}
	if len(w.causes) == 0 {
		return true
	}
	return len(s.Latched) > 0 && slices.Contains(w.causes, s.Latched[0].Cause) &&
		(w.name == "" || s.Latched[0].Name == w.name)
}

// showing is what a state shows, in the words of an Act.
func showing(s wire.State) string {
	out := s.Level
	for i, c := range s.Latched {
		if i == 0 {
			out += ": "
		} else {
			out += ", "
		}
		out += c.Cause
		if c.Name != c.Cause && c.Name != "" {
			out += " " + c.Name
		}
	}
	if out == "" {
		return "no state"
	}
	return out
}

// expect waits for the state to show w, notes the act and says so. A stop for
// another reason ends the wait: what is latched stays latched.
func (p *player) expect(ctx context.Context, act string, w wish) bool {
	ctx, cancel := context.WithTimeout(ctx, actMost)
	defer cancel()
	s, err := p.story.operator.Wait(ctx, p.name, func(s wire.State) bool { return w.met(s) || halted(s) })
	ok := err == nil && w.met(s)
	p.story.note(Act{Name: act, Vehicle: p.name, Expected: w.String(), Seen: showing(s), OK: ok})
	if ok && len(s.Latched) > 0 {
		p.say("is told to %s: %s", s.Level, s.Latched[0].Text)
	}
	return ok
}

// incident is an act in which the vehicle has to be stopped: do sets it off. It
// ends with the vehicle at rest.
func (p *player) incident(ctx context.Context, act string, w wish, do func()) error {
	do()
	if !p.expect(ctx, act, w) {
		p.node.SetPilot(Rest{})
		p.node.Faults.Recover()
		ctx, cancel := context.WithTimeout(ctx, actMost)
		defer cancel()
		if err := p.story.operator.Ask(ctx, p.name, AskStop); err != nil {
			return err
		}
	}
	return p.rest(ctx)
}

// errand is an act in which the vehicle goes somewhere and may not be stopped.
func (p *player) errand(ctx context.Context, act string, speed, accel float64, points ...Vec) error {
	p.head(speed, accel, points...)
	err := p.arrive(ctx, points[len(points)-1])
	s, _ := p.story.operator.State(p.name)
	a := Act{Name: act, Vehicle: p.name, Expected: "no stop until it is there", Seen: showing(s), OK: err == nil}
	if err != nil {
		a.Seen = err.Error()
	}
	p.story.note(a)
	if errors.Is(err, errHalted) {
		return p.restart(ctx)
	}
	return err
}

// restart brings a vehicle that was stopped back into motion.
func (p *player) restart(ctx context.Context) error {
	if err := p.rest(ctx); err != nil {
		return err
	}
	return p.start(ctx)
}

// transfer takes the vehicle to where its next act begins. A stop on the way
// is not what the act is about: it is told, and the vehicle started again.
func (p *player) transfer(ctx context.Context, speed, accel float64, points ...Vec) error {
	for range 3 {
		p.head(speed, accel, points...)
		err := p.arrive(ctx, points[len(points)-1])
		if !errors.Is(err, errHalted) {
			return err
		}
		p.say("was stopped on its way, which nobody meant it to be: %v", err)
		if err := p.restart(ctx); err != nil {
			return err
		}
	}
	return fmt.Errorf("%w three times on one way", errHalted)
}
