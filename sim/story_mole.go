package sim

import (
	"context"
	"time"
)

// mole is the rover's part.
func (p *player) mole(ctx context.Context) error {
	for _, act := range []func(context.Context) error{
		p.moleErrand, p.moleCaution, p.moleSpeed, p.moleStairs, p.moleJump, p.brokerDies, p.moleHome,
	} {
		if err := act(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (p *player) moleErrand(ctx context.Context) error {
	p.say("waits for the operator's start, at the west end of the landing")
	if err := p.start(ctx); err != nil {
		return err
	}
	p.say("carries parts past the head of the stairs")
	return p.errand(ctx, "ordinary run", 0.8, 0.8, Vec{13.2, p.about(1.2, 0.1), 0})
}

// moleCaution creeps towards the east edge until the watchdog shows a caution,
// and backs away: the driver heeds it.
func (p *player) moleCaution(ctx context.Context) error {
	p.say("creeps towards the east edge of the landing")
	p.head(0.4, 0.8, Vec{16, p.node.View().State.Position.Y, 0})
	if p.expect(ctx, "caution heeded", wish{level: "caution"}) {
		p.say("sees the caution and backs away")
	}
	p.node.SetPilot(NewScript(Phrase{1500 * time.Millisecond, Control{Mode: Drive, Speed: -0.5}}))
	back := p.node.View().State.Position.X - 0.45
	err := p.until(ctx, func(v NodeView) bool { return v.State.Position.X < back })
	if err != nil {
		p.say("did not get away from the edge: %v", err)
		return p.restart(ctx)
	}
	return nil
}

func (p *player) moleSpeed(ctx context.Context) error {
	err := p.incident(ctx, "speed excess", wish{"stop", []string{"speed"}, ""}, func() {
		p.say("turns round and speeds up past what the site allows")
		p.head(1.3, 0.9, Vec{8.6, 1.2, 0})
	})
	if err != nil {
		return err
	}
	return p.start(ctx)
}

func (p *player) moleStairs(ctx context.Context) error {
	err := p.incident(ctx, "stairs", wish{"stop", []string{"zone"}, "stairs"}, func() {
		p.say("turns towards the basement stairs at 0.8 m/s")
		p.head(0.8, 0.9, Vec{p.about(11.8, 0.3), 3.6, 0})
	})
	if err != nil {
		return err
	}
	return p.start(ctx)
}

// moleJump lets the tracker jump while the rover drives, and come home once it
// stands.
func (p *player) moleJump(ctx context.Context) error {
	p.head(0.7, 0.9, Vec{9.6, 1.4, 0})
	if err := p.until(ctx, func(v NodeView) bool { return v.State.Velocity.Len() > 0.55 }); err != nil {
		return err
	}
	err := p.incident(ctx, "tracker jumps", wish{"stop", []string{"pose-jump", "pose-velocity"}, ""}, func() {
		p.say("has a tracker that jumps by 0.6 m")
		p.node.Faults.Jump(Vec{X: -0.45, Y: -0.4})
	})
	if err != nil {
		return err
	}
	p.node.Faults.Home()
	return p.start(ctx)
}

func (p *player) moleHome(ctx context.Context) error {
	v := p.node.View().State.Position
	if err := p.errand(ctx, "ordinary run again", 0.6, 0.8, Vec{9.5, v.Y - 0.4, 0}); err != nil {
		return err
	}
	p.say("is stopped by the operator")
	return p.end(ctx, AskStop, "stop")
}
