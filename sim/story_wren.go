package sim

import (
	"context"
	"time"
)

// flight is the height, m, at which wren flies.
const flight = 1.2

// wren is the multirotor's part: what its pilot sets out to do, and what the
// watchdog has to make of it.
func (p *player) wren(ctx context.Context) error {
	for _, act := range []func(context.Context) error{
		p.wrenLap, p.wrenCaution, p.wrenNet, p.wrenPost, p.wrenSpeed, p.wrenTilt, p.wrenLost, p.brokerDies, p.wrenHome,
	} {
		if err := act(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (p *player) wrenLap(ctx context.Context) error {
	p.say("waits for the operator's start, motors off")
	if err := p.start(ctx); err != nil {
		return err
	}
	p.say("takes off and flies an ordinary way")
	return p.errand(ctx, "ordinary flight", 1.0, 1.2, Vec{1.6, 1.5, flight}, Vec{3.3, 2.2, flight}, Vec{2.4, 3.3, flight})
}

// wrenCaution goes near the north net until the watchdog shows a caution, and
// away again: the pilot heeds it.
func (p *player) wrenCaution(ctx context.Context) error {
	p.say("comes slowly up to the north net")
	p.head(0.5, 1.0, Vec{p.about(2.4, 0.3), 5.5, flight})
	if p.expect(ctx, "caution heeded", wish{level: "caution"}) {
		p.say("sees the caution and turns away")
	}
	return p.transfer(ctx, 1.2, 1.5, Vec{2.2, 1.1, flight})
}

func (p *player) wrenNet(ctx context.Context) error {
	err := p.incident(ctx, "predicted exit", wish{"stop", []string{"zone"}, "cage"}, func() {
		p.say("heads for the east net at 1.4 m/s")
		p.head(1.4, 1.0, Vec{8.5, p.about(1.1, 0.15), flight})
	})
	if err != nil {
		return err
	}
	return p.start(ctx)
}

func (p *player) wrenPost(ctx context.Context) error {
	err := p.incident(ctx, "post", wish{"stop", []string{"zone"}, "post"}, func() {
		p.say("flies straight at the steel post at 1 m/s")
		p.head(1.0, 1.5, Vec{5.0, 2.5, flight})
	})
	if err != nil {
		return err
	}
	return p.start(ctx)
}

func (p *player) wrenSpeed(ctx context.Context) error {
	if err := p.transfer(ctx, 1.0, 1.5, Vec{5.9, 1.0, flight}); err != nil {
		return err
	}
	err := p.incident(ctx, "speed excess", wish{"stop", []string{"speed"}, ""}, func() {
		p.say("dashes west, faster than the site allows")
		p.head(1.9, 2.2, Vec{0.8, 1.0, flight})
	})
	if err != nil {
		return err
	}
	return p.start(ctx)
}

func (p *player) wrenTilt(ctx context.Context) error {
	err := p.incident(ctx, "tilt excess", wish{"stop", []string{"tilt"}, ""}, func() {
		p.say("throws itself over by 32 degrees")
		p.node.SetPilot(NewScript(Phrase{400 * time.Millisecond, Control{Mode: Lean, Lean: Vec{X: -32 * degree}}}))
	})
	if err != nil {
		return err
	}
	return p.start(ctx)
}

// wrenLost loses the tracker in flight and finds it again during the landing.
func (p *player) wrenLost(ctx context.Context) error {
	p.head(0.7, 1.2, Vec{2.6, 2.9, flight})
	if err := p.until(ctx, func(v NodeView) bool { return v.State.Velocity.Len() > 0.5 }); err != nil {
		return err
	}
	err := p.incident(ctx, "tracker lost", wish{"land", []string{"pose-stale", "pose-rate"}, ""}, func() {
		p.say("loses its tracker in flight")
		p.node.Faults.Lose(true)
		time.AfterFunc(900*time.Millisecond, func() { p.node.Faults.Lose(false) })
	})
	if err != nil {
		return err
	}
	return p.start(ctx)
}

// brokerDies is the act the two vehicles share.
func (p *player) brokerDies(ctx context.Context) error {
	ring := []Vec{{2.2, 1.6, 0.9}, {3.2, 1.6, 0.9}, {3.2, 3.0, 0.9}, {2.2, 3.0, 0.9}}
	if !p.flies {
		ring = []Vec{{9.4, 1.3, 0}, {10.0, 1.3, 0}, {10.0, 2.7, 0}, {9.4, 2.7, 0}}
	}
	p.wander(0.6, 1.2, ring...)
	err := p.until(ctx, func(v NodeView) bool { return v.State.Velocity.Flat().Len() > 0.4 })
	if err != nil {
		return err
	}
	p.story.meeting.come(p)
	select {
	case <-p.story.meeting.died:
	case <-ctx.Done():
		return ctx.Err()
	}
	p.expect(ctx, "broker killed", wish{"stop", []string{"link-lost", "pose-stale"}, ""})
	<-p.story.meeting.back
	p.node.SetPilot(Rest{})
	if err := p.rest(ctx); err != nil {
		return err
	}
	return p.start(ctx)
}

func (p *player) wrenHome(ctx context.Context) error {
	v := p.node.View().State.Position
	if err := p.errand(ctx, "ordinary flight again", 0.9, 1.2, Vec{v.X, v.Y, 0.8}); err != nil {
		return err
	}
	p.say("is asked to land by the operator")
	return p.end(ctx, AskLand, "land")
}

// end is the last act: the operator's own command.
func (p *player) end(ctx context.Context, ask, level string) error {
	short, cancel := context.WithTimeout(ctx, actMost)
	defer cancel()
	if err := p.story.operator.Ask(short, p.name, ask); err != nil {
		return err
	}
	p.expect(ctx, "operator's "+ask, wish{level, []string{"operator"}, ""})
	return p.rest(ctx)
}
