package sim

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// meeting is where the parts wait for one another: the broker dies when every
// vehicle is under way.
type meeting struct {
	mu      sync.Mutex
	missing map[*player]bool
	present []*player
	all     chan struct{} // closed when nobody is missing
	died    chan struct{} // closed when the broker is dead
	back    chan struct{} // closed when it is back, or will not be
}

func newMeeting() *meeting {
	return &meeting{missing: map[*player]bool{}, all: make(chan struct{}), died: make(chan struct{}), back: make(chan struct{})}
}

func (m *meeting) expect(p *player) { m.missing[p] = true }

// come says that p is under way.
func (m *meeting) come(p *player) { m.cross(p, true) }

// leave says that p will not come, where it has not come before.
func (m *meeting) leave(p *player) { m.cross(p, false) }

func (m *meeting) cross(p *player, present bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.missing[p] {
		return
	}
	delete(m.missing, p)
	if present {
		m.present = append(m.present, p)
	}
	if len(m.missing) == 0 {
		close(m.all)
	}
}

// deadFor is how long the broker is dead at least.
const deadFor = time.Second

// conduct kills the broker once everybody is under way, and restarts it once
// everybody is at rest.
func (s *story) conduct(ctx context.Context) error {
	m := s.meeting
	defer close(m.back)
	select {
	case <-m.all:
	case <-ctx.Done():
		close(m.died)
		return ctx.Err()
	}
	if len(m.present) == 0 {
		close(m.died)
		return nil
	}
	s.say("", "the broker is killed while both vehicles move")
	killed := map[*player]time.Duration{}
	for _, p := range m.present {
		killed[p] = p.node.Clock()
	}
	at := time.Now()
	s.options.Broker.Kill()
	close(m.died)
	var all sync.WaitGroup
	for _, p := range m.present {
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

// restAlone is the act of coming to rest with nobody to say so.
func (p *player) restAlone(ctx context.Context, killed time.Duration) {
	a := Act{Name: "rest without a broker", Vehicle: p.name, Expected: "at rest by its own clock and rules"}
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
