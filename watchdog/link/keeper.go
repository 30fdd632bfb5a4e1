package link

import (
	"errors"
	"time"
)

// keep makes connections until the client is closed.
func (c *Client) keep() {
	defer close(c.kept)
	within, told, tried := connectFirst, "", 0
	for c.ctx.Err() == nil {
		s, err := c.connect(within)
		if err != nil {
			if why := plainError(err); why != told && c.ctx.Err() == nil {
				told = why
				c.tell(false, why)
			}
			c.at = (c.at + 1) % len(c.nodes)
			if tried++; tried%len(c.nodes) != 0 {
				continue // the next node at once
			}
			within = min(2*within, connectMost)
			c.pause(err)
			continue
		}
		within, told, tried = connectFirst, "", 0
		c.serve(s)
		c.at = (c.at + 1) % len(c.nodes) // whatever ended it, another node may do better
	}
}

// serve lets a connection carry messages until it ends.
func (c *Client) serve(s *session) {
	select {
	case <-c.renew: // asked for while an older connection was up
	default:
	}
	c.use(s)
	c.tell(true, "connected")
	why, quiesce := "", farewell
	select {
	case why = <-s.lost:
	case why = <-c.renew:
	case <-c.ctx.Done():
		why = "closed by this side"
		c.mu.Lock()
		quiesce = max(time.Until(c.deadline), farewell)
		c.mu.Unlock()
	}
	c.drop()
	c.tell(false, why)
	s.end(quiesce)
}

// use brings the link up. Retained slots send their newest message again.
func (c *Client) use(s *session) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.session = s
	for _, slot := range c.slots {
		slot.inFlight = ticket{}
		if slot.kept {
			slot.pending = true
			c.enqueue(slot)
		}
	}
}

// drop takes the link down. What waits is not sent later.
func (c *Client) drop() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.session = nil
	for _, slot := range c.waiting {
		if slot.pending {
			slot.pending = false
			c.stats.WhileDown++
		}
		slot.queued = false
	}
	c.waiting = c.waiting[:0]
}

// pause waits before the next try: longer where the broker refused, since it
// will most likely refuse again.
func (c *Client) pause(err error) {
	wait := retryEvery
	if errors.As(err, new(*refusal)) {
		wait = 10 * retryEvery
	}
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-c.ctx.Done():
	}
}

func (c *Client) tell(up bool, why string) {
	if c.opt.OnLink != nil {
		c.opt.OnLink(up, why)
	}
}
