package link

import (
	"context"
	"errors"
	"sync"
	"time"
)

// Client keeps one connection to a broker. Its methods may be called from any
// goroutine, but not from OnLink.
type Client struct {
	opt   Options
	nodes []target
	at    int // node that is used, or tried next; of the keeper

	ctx    context.Context // ends when the connection is to go down for good
	cancel context.CancelFunc
	renew  chan string   // capacity 1
	kick   chan struct{} // capacity 1: something waits to be sent
	flush  chan struct{} // closed: send what waits, and end
	sent   chan struct{} // closed: the sender has ended
	kept   chan struct{} // closed: the keeper has ended

	sending sync.Mutex // held while one message is handed to the connection

	mu       sync.Mutex
	session  *session // nil while the link is down
	slots    []*Slot
	waiting  []*Slot // in the order in which they are to be sent
	last     ticket  // of the newest message handed to the library
	note     bool    // the library is to be given a note
	closing  bool
	deadline time.Time // of Close
	stats    Stats
}

// Dial checks the options, begins to connect in the background and returns at
// once. An error is about the options: none will come of waiting.
func Dial(o Options) (*Client, error) {
	t, err := o.check()
	if err != nil {
		return nil, err
	}
	o.Subs, o.More = append([]Sub(nil), o.Subs...), append([]string(nil), o.More...)
	o.Will.Payload = append([]byte(nil), o.Will.Payload...)
	c := &Client{opt: o, nodes: t, renew: make(chan string, 1), kick: make(chan struct{}, 1),
		flush: make(chan struct{}), sent: make(chan struct{}), kept: make(chan struct{})}
	c.ctx, c.cancel = context.WithCancel(context.Background())
	go c.keep()
	go c.send()
	return c, nil
}

// Up is whether the link is up: connected, and every subscription granted.
func (c *Client) Up() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.session != nil
}

// Renew drops the connection, if there is one, and makes a new one under a new
// client id. It never waits. Call it when the link is up and yet nothing comes:
// brokers have been seen to forget the subscriptions of a client they keep.
func (c *Client) Renew(why string) {
	if !c.Up() {
		return
	}
	select {
	case c.renew <- why:
	default: // one is on its way
	}
}

// Close sends what waits, says goodbye, so that the broker does not publish the
// will, and ends the client. It waits for at most about timeout; an error says
// what may not have left. The second call does nothing.
func (c *Client) Close(timeout time.Duration) error {
	deadline := time.Now().Add(timeout)
	c.mu.Lock()
	if c.closing {
		c.mu.Unlock()
		return nil
	}
	c.closing, c.deadline = true, deadline
	up := c.session != nil
	c.mu.Unlock()

	close(c.flush)
	flushed := before(deadline, c.sent)
	c.mu.Lock()
	last := c.last
	c.mu.Unlock()
	flushed = last.wait(time.Until(deadline)) && !last.failed() && flushed
	c.cancel()
	ended := before(deadline.Add(2*farewell), c.kept)
	switch {
	case !up:
		return errors.New("link: was down when closed; nothing was sent")
	case !flushed:
		return errors.New("link: closed before the last messages are known to have left")
	case !ended:
		return errors.New("link: the connection did not close in time")
	}
	return nil
}

// before waits for done until deadline.
func before(deadline time.Time, done <-chan struct{}) bool {
	timer := time.NewTimer(time.Until(deadline))
	defer timer.Stop()
	select {
	case <-done:
		return true
	case <-timer.C:
		select {
		case <-done:
			return true
		default:
			return false
		}
	}
}
