package sim

import (
	"context"
	"fmt"
	"time"

	"pinfold/watchdog/link"
)

// bus is a connection to a broker that finds its way back by itself. What
// arrives waits in its inbox, each kind in a queue of its own.
type bus struct {
	client *link.Client
	inbox  *link.Inbox
	epoch  time.Time
	up     chan struct{} // gets a value when the link comes up
}

// subscription is a topic with the QoS asked for. Its place in the list is the
// queue of the inbox that its messages wait in.
type subscription struct {
	topic string
	qos   byte
}

// largest is how much of a message is kept, bytes: a state at its fullest.
const largest = 64 << 10

// goodbye is how long a bus may take to close.
const goodbye = 300 * time.Millisecond

// dial connects name to the broker at url and waits until the link is up.
func dial(ctx context.Context, url, name string, subs ...subscription) (*bus, error) {
	b := &bus{epoch: time.Now(), up: make(chan struct{}, 1)}
	queues := make([]link.Queue, len(subs))
	for i := range queues {
		queues[i] = link.Queue{Max: largest}
	}
	var err error
	if b.inbox, err = link.NewInbox(queues...); err != nil {
		return nil, err
	}
	o := link.Options{URL: url, ClientID: name, Now: b.now, OnLink: b.onLink}
	for i, s := range subs {
		o.Subs = append(o.Subs, link.Sub{Topic: s.topic, QoS: s.qos, Inbox: b.inbox, ID: i})
	}
	if b.client, err = link.Dial(o); err != nil {
		return nil, err
	}
	select {
	case <-b.up:
		return b, nil
	case <-ctx.Done():
		b.close()
		return nil, fmt.Errorf("no link to the broker at %s: %w; is it running?", url, ctx.Err())
	}
}

// now is the bus's monotonic clock.
func (b *bus) now() time.Duration { return time.Since(b.epoch) }

func (b *bus) onLink(up bool, _ string) {
	if !up {
		return
	}
	select {
	case b.up <- struct{}{}:
	default:
	}
}

// outlet makes the slot that a topic's messages leave by.
func (b *bus) outlet(topic string, qos byte) (*outlet, error) {
	s, err := b.client.Slot(topic, qos, false)
	if err != nil {
		return nil, err
	}
	return &outlet{s, b}, nil
}

// outlet sends the newest message of one topic.
type outlet struct {
	slot *link.Slot
	bus  *bus
}

// put offers a message that is worth sending within the given time. It never
// waits.
func (o *outlet) put(payload []byte, within time.Duration) {
	o.slot.Put(payload, o.bus.now()+within)
}

// close says goodbye. That a last message may not have left changes nothing
// for a simulation that is over.
func (b *bus) close() { _ = b.client.Close(goodbye) }
