package link

import (
	"errors"
	"fmt"
	"time"
)

// send carries the slots' messages to the connection, one goroutine for all.
func (c *Client) send() {
	defer close(c.sent)
	recheck := time.NewTimer(time.Hour)
	defer recheck.Stop()
	for {
		select {
		case <-c.kick:
		case <-recheck.C:
		case <-c.flush:
			c.drain()
			return
		}
		if c.drain() {
			recheck.Reset(ackRecheck)
		}
	}
}

// drain sends what waits. It is true where a slot has to wait for the broker's
// confirmation of its last message.
func (c *Client) drain() (again bool) {
	c.mu.Lock()
	n, session := len(c.waiting), c.session
	if !c.note {
		session = nil
	}
	c.note = false
	c.mu.Unlock()
	if session != nil {
		session.publish(noteTopic, nil, 0, false)
	}
	for ; n > 0; n-- {
		if c.sendNext() {
			again = true
		}
	}
	return again
}

// sendNext sends the message of the slot that waited longest.
func (c *Client) sendNext() (again bool) {
	c.sending.Lock() // keeps PublishNow from being overtaken
	defer c.sending.Unlock()
	s, session, payload, again := c.pick()
	if s == nil {
		return again
	}
	t := session.publish(s.topic, payload, s.qos, s.retain)
	if s.left != nil {
		go c.tellLeft(s, t, payload)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.failed() {
		c.stats.Failed++
		return false
	}
	c.stats.Sent++
	c.last = t
	if s.qos > 0 {
		s.inFlight = t
	}
	return false
}

// tellLeft waits until a message has been written, and tells who asked for it.
func (c *Client) tellLeft(s *Slot, t ticket, payload []byte) {
	if t.wait(writeTimeout) && !t.failed() {
		s.left(payload, c.opt.Now())
	}
}

// pick takes the next message off the queue; no slot means there is none to
// send.
func (c *Client) pick() (s *Slot, to *session, payload []byte, again bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.waiting) == 0 {
		return nil, nil, nil, false
	}
	s = c.waiting[0]
	c.waiting = append(c.waiting[:0], c.waiting[1:]...)
	s.queued = false
	switch {
	case !s.pending || c.session == nil:
		return nil, nil, nil, false
	case !s.retain && c.opt.Now() > s.notAfter:
		s.pending = false
		c.stats.Late++
		return nil, nil, nil, false
	case !s.inFlight.done() && !c.closing: // closing, there is no later
		s.queued = true
		c.waiting = append(c.waiting, s)
		return nil, nil, nil, true
	}
	s.pending = false
	return s, c.session, append([]byte(nil), s.buf...), false // the connection keeps it for a while
}

// PublishNow sends one message at once and waits until it has left, and with
// QoS 1 until the broker has confirmed it, for at most timeout. What a slot of
// the same topic still held is dropped. It is for shutting down: the caller's
// loop uses a Slot.
func (c *Client) PublishNow(topic string, payload []byte, qos byte, retain bool, timeout time.Duration) error {
	if err := checkSend(topic, qos, len(payload)); err != nil {
		return err
	}
	payload = append([]byte(nil), payload...)
	done := make(chan error, 1)
	go func() { done <- c.publishNow(topic, payload, qos, retain, timeout) }()
	timer := time.NewTimer(timeout)
	defer timer.Stop()
	select {
	case err := <-done:
		return err
	case <-timer.C:
		return fmt.Errorf("link: %s was not sent within %v; the link is stalled", topic, timeout)
	}
}

func (c *Client) publishNow(topic string, payload []byte, qos byte, retain bool, timeout time.Duration) error {
	t, err := c.publishOne(topic, payload, qos, retain)
	if err != nil {
		return err
	}
	if !t.wait(timeout) {
		return fmt.Errorf("link: %s was not confirmed within %v", topic, timeout)
	}
	if t.failed() {
		return fmt.Errorf("link: %s was not sent: %w", topic, t.token.Error())
	}
	return nil
}

func (c *Client) publishOne(topic string, payload []byte, qos byte, retain bool) (ticket, error) {
	c.sending.Lock()
	defer c.sending.Unlock()
	c.mu.Lock()
	session := c.session
	for _, s := range c.slots {
		if s.topic == topic {
			if s.pending {
				c.stats.Replaced++
			}
			s.pending, s.kept = false, false
		}
	}
	c.mu.Unlock()
	if session == nil {
		return ticket{}, errors.New("link: down; nothing was sent")
	}
	t := session.publish(topic, payload, qos, retain)
	c.mu.Lock()
	defer c.mu.Unlock()
	if t.failed() {
		c.stats.Failed++
		return t, fmt.Errorf("link: %s was not sent: %w", topic, t.token.Error())
	}
	c.stats.Sent++
	c.last = t
	return t, nil
}
