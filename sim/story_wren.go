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
	return p.heed(ctx, scene{name: "caution heeded", wish: wish{level: "caution"}, stage: []Vec{{2.4, 3.3, flight}}, do: func() {
		p.say("comes slowly up to the north net")
		p.head(0.5, 1.0, Vec{p.about(2.4, 0.3), 5.5, flight})
	}}, func() {
		p.say("sees the caution and turns away")
		p.head(1.0, 1.5, Vec{2.2, 1.1, flight})
	})
}

func (p *player) wrenNet(ctx context.Context) error {
	return p.incident(ctx, scene{name: "predicted exit", wish: wish{"stop", []string{"zone"}, "cage"}, stage: []Vec{{2.2, 1.1, flight}}, do: func() {
		p.say("heads for the east net at 1.4 m/s")
		p.head(1.4, 1.0, Vec{8.5, p.about(1.1, 0.15), flight})
	}})
}

func (p *player) wrenPost(ctx context.Context) error {
	return p.incident(ctx, scene{name: "post", wish: wish{"stop", []string{"zone"}, "post"}, stage: []Vec{{6.0, 1.1, flight}}, do: func() {
		p.say("flies straight at the steel post at 1 m/s")
		p.head(1.0, 1.5, Vec{5.0, 2.5, flight})
	}})
}

func (p *player) wrenSpeed(ctx context.Context) error {
	return p.incident(ctx, scene{name: "speed excess", wish: wish{"stop", []string{"speed"}, ""}, stage: []Vec{{5.9, 1.0, flight}}, do: func() {
		p.say("dashes west, faster than the site allows")
		p.head(1.9, 2.2, Vec{0.8, 1.0, flight})
	}})
}

// wrenTilt brakes too hard: leaning back against its way, it slows down while
// it leans too far.
func (p *player) wrenTilt(ctx context.Context) error {
	return p.incident(ctx, scene{name: "tilt excess", wish: wish{"stop", []string{"tilt"}, ""}, ready: p.under(0.6, Vec{6.0, 1.1, flight}), do: func() {
		p.say("throws itself back by 32 degrees")
		p.node.SetPilot(NewScript(Phrase{400 * time.Millisecond, Control{Mode: Lean, Lean: Vec{X: -32 * degree}}}))
	}})
}

// wrenLost loses the tracker in flight and finds it again during the landing.
func (p *player) wrenLost(ctx context.Context) error {
	return p.incident(ctx, scene{name: "tracker lost", wish: wish{"land", []string{"pose-stale", "pose-rate"}, ""}, ready: p.under(0.5, Vec{2.6, 2.9, flight}), do: func() {
		p.say("loses its tracker in flight")
		p.node.Faults.Lose(true)
		time.AfterFunc(900*time.Millisecond, func() { p.node.Faults.Lose(false) })
	}})
}

func (p *player) wrenHome(ctx context.Context) error {
	if err := p.errand(ctx, "ordinary flight again", 0.9, 1.2, Vec{2.4, 2.2, 0.8}); err != nil {
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
