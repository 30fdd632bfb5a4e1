package rehearse

import (
	"time"

	"pinfold/sim"
)

// topic is what a message to the vehicle is about.
type topic uint8

const (
	aboutPose topic = iota
	aboutAck
	aboutPermit
	aboutCommand
)

// message is on its way until due.
type message struct {
	due  time.Duration
	what topic
	data []byte
	seen sim.Glance // of a pose that is not written out: data is empty
}

// mail carries messages one way, in order. Its memory is used again.
type mail struct {
	ring  []message
	first int
	count int
}

// put sends data, which is copied; it arrives at due, and never before what was
// sent earlier.
func (m *mail) put(what topic, data []byte, due time.Duration) {
	s := m.slot(due)
	s.what, s.data = what, append(s.data[:0], data...)
}

// show sends a pose that is not written out.
func (m *mail) show(g *sim.Glance, due time.Duration) {
	s := m.slot(due)
	s.what, s.data, s.seen = aboutPose, s.data[:0], *g
}

// slot is where the next message is to be put.
func (m *mail) slot(due time.Duration) *message {
	if m.count == len(m.ring) {
		m.grow()
	}
	if m.count > 0 {
		due = max(due, m.at(m.count-1).due)
	}
	s := m.at(m.count)
	s.due = due
	m.count++
	return s
}

func (m *mail) at(i int) *message { return &m.ring[(m.first+i)%len(m.ring)] }

func (m *mail) grow() {
	bigger := make([]message, max(8, 2*len(m.ring)))
	for i := range m.count {
		bigger[i] = *m.at(i)
	}
	m.ring, m.first = bigger, 0
}

// next is when the first message arrives; false where none is on its way.
func (m *mail) next() (time.Duration, bool) {
	if m.count == 0 {
		return 0, false
	}
	return m.at(0).due, true
}

// take hands over the first message. It is good until the next put.
func (m *mail) take() *message {
	s := m.at(0)
	m.first = (m.first + 1) % len(m.ring)
	m.count--
	return s
}
