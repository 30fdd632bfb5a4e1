package link

import (
	"fmt"
	"slices"
	"time"
)

// Slot holds at most one message for one topic: the newest. Make it with
// Client.Slot.
type Slot struct {
	c      *Client
	topic  string
	qos    byte
	retain bool
	left   func(payload []byte, at time.Duration) // nil: nobody asks

	// Guarded by Client.mu.
	buf      []byte
	notAfter time.Duration
	pending  bool   // buf waits to be sent
	queued   bool   // the slot stands in Client.waiting
	kept     bool   // buf is what a retained slot last held
	inFlight ticket // last message of QoS 1, until the broker has confirmed it
}

// Slot makes a slot for a topic. A retained one keeps its newest message and
// sends it again on every new connection, whatever its age: it is for people,
// never for permissions.
func (c *Client) Slot(topic string, qos byte, retain bool) (*Slot, error) {
	if err := checkSend(topic, qos, 0); err != nil {
		return nil, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.slots) == MaxSlots {
		return nil, fmt.Errorf("link: more than %d slots; use one slot for each topic", MaxSlots)
	}
	for _, s := range c.slots {
		if s.topic == topic {
			return nil, fmt.Errorf("link: topic %q has a slot already; put its messages there", topic)
		}
	}
	s := &Slot{c: c, topic: topic, qos: qos, retain: retain}
	c.slots = append(c.slots, s)
	return s, nil
}

// OnLeft has left told of every message that was written to the connection, with
// the instant at which it was (by Options.Now). It comes from a goroutine of its
// own, and must be set before the first Put.
func (s *Slot) OnLeft(left func(payload []byte, at time.Duration)) { s.left = left }

// Put offers a copy of payload for sending and never waits. It takes the place
// of what the slot still held. Once notAfter (by Options.Now) has passed it is
// dropped and counted; where the slot is not retained, so is all that is put
// while the link is down. A payload of more than MaxPayload bytes is dropped
// and counted as failed.
func (s *Slot) Put(payload []byte, notAfter time.Duration) {
	c := s.c
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case len(payload) > MaxPayload || c.closing:
		c.stats.Failed++
		return
	case c.session == nil && !s.retain:
		c.stats.WhileDown++
		return
	}
	if s.pending {
		c.stats.Replaced++
	}
	if s.atOnce(payload, notAfter) {
		return
	}
	s.buf = append(s.buf[:0], payload...)
	s.notAfter, s.pending, s.kept = notAfter, true, s.retain
	c.enqueue(s)
}

// atOnce sends payload now where nothing that was handed over before it could come
// after it. Called with the client locked.
func (s *Slot) atOnce(payload []byte, notAfter time.Duration) bool {
	c := s.c
	if s.qos > 0 || s.retain || c.opt.Now() > notAfter || !c.last.done() || !c.sending.TryLock() {
		return false
	}
	defer c.sending.Unlock()
	conn := c.session.conn.Load()
	if conn == nil || !conn.sendNow(s.topic, payload) {
		return false
	}
	s.pending = false // it stays in line, and has nothing to send
	c.stats.Sent++
	if s.left != nil {
		go s.left(slices.Clone(payload), c.opt.Now())
	}
	if conn.unheard(time.Now()) {
		c.note = true
		c.wake()
	}
	return true
}

// enqueue lines s up for the sender. Called with the client locked.
func (c *Client) enqueue(s *Slot) {
	if c.session == nil {
		return
	}
	if !s.queued {
		s.queued = true
		c.waiting = append(c.waiting, s)
	}
	c.wake()
}

// wake has the sender look.
func (c *Client) wake() {
	select {
	case c.kick <- struct{}{}:
	default:
	}
}

// Stats counts what became of messages to send.
type Stats struct {
	Sent      uint64 // handed to the connection
	Replaced  uint64 // a newer one took their place
	Late      uint64 // not sent by their notAfter
	WhileDown uint64 // put, or still waiting, while the link was down
	Failed    uint64 // refused by the connection, too large, or put after Close
}

// Stats counts what became of messages to send, since Dial.
func (c *Client) Stats() Stats {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.stats
}
