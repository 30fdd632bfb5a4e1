package app

import (
	"slices"
	"sync"
	"sync/atomic"

	"pinfold/watchdog"
	"pinfold/watchdog/intake"
)

// mail carries what other goroutines noticed to one vehicle's loop, without
// ever blocking them. It is bounded by what it holds: the newest state of the
// link and of the trail, each with whether it was lost in between, the newest
// reach of every other vehicle, and one entry for each record that was to become
// durable.
type mail struct {
	ready  chan struct{}
	wanted atomic.Pointer[[]watchdog.Other] // whose reach is taken

	mu      sync.Mutex
	link    signal
	trail   signal
	others  []otherMail
	durable []intake.Entry
}

// otherMail is the newest that another vehicle's guard said.
type otherMail struct {
	fresh bool
	reach watchdog.OtherReach
}

// signal is the newest state of something that may fail, and what of it the
// loop has not yet been told.
type signal struct {
	up, lost, changed bool
}

func (s *signal) set(up bool) {
	s.up, s.changed = up, true
	s.lost = s.lost || !up
}

// take appends what the loop must be told: a loss that was healed meanwhile is
// still a loss.
func (s *signal) take(kind watchdog.EventKind, to []intake.Entry) []intake.Entry {
	if !s.changed {
		return to
	}
	if s.lost {
		to = append(to, intake.Entry{Kind: uint8(kind)})
	}
	if s.up {
		to = append(to, intake.Entry{Kind: uint8(kind), Flags: intake.Up})
	}
	s.changed, s.lost = false, false
	return to
}

func newMail() *mail { return &mail{ready: make(chan struct{}, 1)} }

func (m *mail) knock() {
	select {
	case m.ready <- struct{}{}:
	default:
	}
}

func (m *mail) setLink(up bool) {
	m.mu.Lock()
	m.link.set(up)
	m.mu.Unlock()
	m.knock()
}

func (m *mail) setTrail(up bool) {
	m.mu.Lock()
	m.trail.set(up)
	m.mu.Unlock()
	m.knock()
}

// want says whose reach is to be told.
func (m *mail) want(others []watchdog.Other) { m.wanted.Store(&others) }

func (m *mail) wants(vehicle string) bool {
	all := m.wanted.Load()
	return all != nil && slices.ContainsFunc(*all, func(o watchdog.Other) bool { return o.Name == vehicle })
}

// setOther takes what the guard of another vehicle says; the newest replaces
// what was not yet taken.
func (m *mail) setOther(o watchdog.OtherReach) {
	m.mu.Lock()
	i := slices.IndexFunc(m.others, func(k otherMail) bool { return k.reach.Name == o.Name })
	if i < 0 {
		i, m.others = len(m.others), append(m.others, otherMail{})
	}
	m.others[i] = otherMail{fresh: true, reach: o}
	m.mu.Unlock()
	m.knock()
}

func (m *mail) setDurable(token uint64, failed bool) {
	e := intake.Entry{Kind: uint8(watchdog.EvDurable), Payload: intake.Durable(token)}
	if failed {
		e.Flags = intake.Failed
	}
	m.mu.Lock()
	m.durable = append(m.durable, e)
	m.mu.Unlock()
	m.knock()
}

// take appends everything that waits to dst, in a fixed order.
func (m *mail) take(dst []intake.Entry) []intake.Entry {
	m.mu.Lock()
	defer m.mu.Unlock()
	dst = m.link.take(watchdog.EvLink, dst)
	dst = m.trail.take(watchdog.EvTrail, dst)
	for i := range m.others {
		if o := &m.others[i]; o.fresh {
			o.fresh = false
			dst = append(dst, intake.Entry{Kind: uint8(watchdog.EvOther), Payload: intake.Other(&o.reach)})
		}
	}
	dst = append(dst, m.durable...)
	m.durable = m.durable[:0]
	return dst
}
