package sim

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// meeting is where the parts wait for one another: the broker dies when every
// vehicle that is still in the story is under way.
type meeting struct {
	mu    sync.Mutex
	parts map[*player]attendance
	died  chan struct{} // closed when the broker is dead, or will not die
	back  chan struct{} // closed when it is back, or will not be
}

// attendance is how a player stands to the meeting.
type attendance uint8

const (
	awaited attendance = iota
	moving
	gone
)

func newMeeting() *meeting {
	return &meeting{parts: map[*player]attendance{}, died: make(chan struct{}), back: make(chan struct{})}
}

func (m *meeting) set(p *player, a attendance) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.parts[p] = a
}

// present is who moves; ok says that nobody is awaited.
func (m *meeting) present() (all []*player, ok bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for p, a := range m.parts {
		switch a {
		case awaited:
			return nil, false
		case moving:
			all = append(all, p)
		}
	}
	return all, true
}

// over says that the broker is dead.
func (m *meeting) over() bool {
	select {
	case <-m.died:
		return true
	default:
		return false
	}
}

// deadFor is how long the broker is dead at least.
const deadFor = time.Second

// conduct kills the broker once everybody is under way, and restarts it once
// everybody is at rest.
func (s *story) conduct(ctx context.Context) error {
	m := s.meeting
	defer close(m.back)
	cast, err := s.gather(ctx)
	if len(cast) == 0 {
		close(m.died)
		return err
	}
	killed := map[*player]time.Duration{}
	for _, p := range cast {
		killed[p] = p.node.Clock()
	}
	at := time.Now()
	s.options.Broker.Kill()
	close(m.died)
	s.say("", "the broker was killed while they move")
	var all sync.WaitGroup
	for _, p := range cast {
		all.Go(func() { p.restAlone(ctx, killed[p]) })
	}
	all.Wait()
	if wait := deadFor - time.Since(at); wait > 0 {
		time.Sleep(wait)
	}
	if err := s.options.Broker.Restart(); err != nil {
		return fmt.Errorf("sim: the story's broker does not come back: %w", err)
	}
	s.say("", "the broker is back after %.1f s", time.Since(at).Seconds())
	return nil
}

// gather waits until everybody who is still in the story moves; nobody, where
// all have left it.
func (s *story) gather(ctx context.Context) ([]*player, error) {
	tick := time.NewTicker(look)
	defer tick.Stop()
	for {
		if cast, ok := s.meeting.present(); ok {
			return cast, nil
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return nil, ctx.Err()
		}
	}
}

// brokerDies is the act the two vehicles share: each goes round in peace until
// the broker dies under it.
func (p *player) brokerDies(ctx context.Context) error {
	ring := []Vec{{2.2, 1.6, 0.9}, {3.2, 1.6, 0.9}, {3.2, 3.0, 0.9}, {2.2, 3.0, 0.9}}
	if !p.flies {
		ring = []Vec{{9.4, 1.3, 0}, {10.0, 1.3, 0}, {10.0, 2.7, 0}, {9.4, 2.7, 0}}
	}
	if err := p.circle(ctx, ring); err != nil {
		return err
	}
	p.expect(ctx, "broker killed", wish{"stop", []string{"link-lost", "pose-stale"}, ""})
	select {
	case <-p.story.meeting.back:
	case <-ctx.Done():
		return ctx.Err()
	}
	p.node.SetPilot(Rest{})
	return p.restart(ctx)
}

// circle goes round the ring until the broker is dead, and tells the meeting
// whether the vehicle moves.
func (p *player) circle(ctx context.Context, ring []Vec) error {
	m := p.story.meeting
	for {
		p.wander(0.6, 1.2, ring...)
		err := p.until(ctx, func(v NodeView) bool {
			if v.MayMove && v.State.Velocity.Flat().Len() > 0.4 {
				m.set(p, moving)
			} else {
				m.set(p, awaited)
			}
			return m.over()
		})
		switch {
		case m.over():
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case errors.Is(err, errHalted):
			m.set(p, awaited)
			p.say("was held up (%s) and goes on", showing(p.state()))
			if err := p.restart(ctx); err != nil {
				return err
			}
		}
	}
}

// restAlone is the act of coming to rest with nobody to say so.
func (p *player) restAlone(ctx context.Context, killed time.Duration) {
	a := Act{Name: "rest without a broker", Vehicle: p.name, Expected: "at rest by its own clock and rules", Tries: 1}
	err := p.watch(ctx, func(v NodeView) (bool, error) {
		return !v.MayMove && v.State.Velocity.Flat().Len() < RestSpeed, nil
	})
	h := p.node.Halts()
	switch {
	case err != nil:
		a.Seen = err.Error()
	case len(h) == 0 || h[len(h)-1].BrakeAt < killed:
		a.Seen = "it was not under way"
	default:
		last := h[len(h)-1]
		a.OK = true
		a.Seen = fmt.Sprintf("braked %.2f s and rested %.2f s after the broker died", (last.BrakeAt - killed).Seconds(), (last.RestAt - killed).Seconds())
		p.say("has %s", a.Seen)
	}
	p.story.note(a)
}
