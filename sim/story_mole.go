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
	return p.heed(ctx, scene{name: "caution heeded", wish: wish{level: "caution"}, stage: []Vec{{13.1, 1.2, 0}}, do: func() {
		p.say("creeps towards the east edge of the landing")
		p.head(0.4, 0.8, Vec{16, p.node.View().State.Position.Y, 0})
	}}, func() {
		p.say("sees the caution and backs away")
		p.node.SetPilot(NewScript(Phrase{2 * time.Second, Control{Mode: Drive, Speed: -0.5}}))
	})
}

func (p *player) moleSpeed(ctx context.Context) error {
	return p.incident(ctx, scene{name: "speed excess", wish: wish{"stop", []string{"speed"}, ""}, stage: []Vec{{13.2, 1.2, 0}}, do: func() {
		p.say("turns round and speeds up past what the site allows")
		p.head(1.3, 0.9, Vec{8.6, 1.2, 0})
	}})
}

func (p *player) moleStairs(ctx context.Context) error {
	return p.incident(ctx, scene{name: "stairs", wish: wish{"stop", []string{"zone"}, "stairs"}, stage: []Vec{{11.9, 1.2, 0}}, do: func() {
		p.say("turns towards the basement stairs at 0.8 m/s")
		p.head(0.8, 0.9, Vec{p.about(11.8, 0.3), 3.6, 0})
	}})
}

// moleJump lets the tracker jump while the rover drives, and come home once it
// stands.
func (p *player) moleJump(ctx context.Context) error {
	return p.incident(ctx, scene{name: "tracker jumps", wish: wish{"stop", []string{"pose-jump", "pose-velocity"}, ""}, ready: p.under(0.55, Vec{9.6, 1.4, 0}), do: func() {
		p.say("has a tracker that jumps by 0.8 m")
		p.node.Faults.Jump(Vec{X: -0.6, Y: -0.5})
	}})
}

func (p *player) moleHome(ctx context.Context) error {
	if err := p.errand(ctx, "ordinary run again", 0.6, 0.8, Vec{9.7, 1.9, 0}); err != nil {
		return err
	}
	p.say("is stopped by the operator")
	return p.end(ctx, AskStop, "stop")
}
