package faults

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"pinfold/sim"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// ear keeps the newest messages of a vehicle's topic, as anybody could who may
// read it, and says them again.
type ear struct {
	client *link.Client
	slot   *link.Slot
	inbox  *link.Inbox
	kept   [][]byte
}

// newEar listens to a topic.
func newEar(w *World, vehicle string, topic func(wire.TopicSet) string) (*ear, error) {
	topics, err := wire.Topics(wire.DefaultPrefix, vehicle)
	if err != nil {
		return nil, err
	}
	e := &ear{}
	if e.inbox, err = link.NewInbox(link.Queue{Depth: link.MaxDepth}); err != nil {
		return nil, err
	}
	begun := time.Now()
	e.client, err = link.Dial(link.Options{URL: w.Broker.URL, ClientID: "ear", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topic(topics), Inbox: e.inbox}}})
	if err != nil {
		return nil, err
	}
	w.after(func() { _ = e.client.Close(time.Second) })
	e.slot, err = e.client.Slot(topic(topics), 0, false)
	return e, err
}

// hear collects for so long.
func (e *ear) hear(d time.Duration) {
	var m link.Message
	for end := time.Now().Add(d); time.Now().Before(end); time.Sleep(time.Millisecond) {
		for e.inbox.Take(&m) {
			e.kept = append(e.kept, slices.Clone(m.Payload))
		}
	}
}

// again says what was heard, the oldest first, over and over until the world ends.
func (e *ear) again(w *World, every time.Duration) {
	stop := make(chan struct{})
	w.after(func() { close(stop) })
	go func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			case <-time.After(every):
				e.slot.Put(e.kept[i%len(e.kept)], 1<<62)
			}
		}
	}()
}

// overhear is an ear that has heard something.
func overhear(w *World, topic func(wire.TopicSet) string, vehicle string) (*ear, error) {
	e, err := newEar(w, vehicle, topic)
	if err != nil {
		return nil, err
	}
	if e.hear(300 * time.Millisecond); len(e.kept) < 3 {
		return nil, fmt.Errorf("only %d messages were overheard", len(e.kept))
	}
	return e, nil
}

func permitTopic(s wire.TopicSet) string { return s.Permit }
func poseTopic(s wire.TopicSet) string   { return s.Pose }

func replayPermits(_ context.Context, w *World, _ *sim.Node) error {
	e, err := overhear(w, permitTopic, sim.Wren)
	if err != nil {
		return err
	}
	if err := w.Tell(syscall.SIGKILL); err != nil {
		return err
	}
	e.again(w, 5*time.Millisecond)
	return nil
}

// retainPermit leaves the newest permit with the broker, which hands it to the
// vehicle when that comes back from a short loss of its link, still fresh.
func retainPermit(_ context.Context, w *World, _ *sim.Node) error {
	e, err := overhear(w, permitTopic, sim.Mole)
	if err != nil {
		return err
	}
	if err := w.Tell(syscall.SIGKILL); err != nil {
		return err
	}
	err = e.client.PublishNow("pinfold/mole/permit", e.kept[len(e.kept)-1], 0, true, time.Second)
	w.Node.Drop()
	return err
}

func replayPoses(_ context.Context, w *World, n *sim.Node) error {
	e, err := overhear(w, poseTopic, sim.Wren)
	if err != nil {
		return err
	}
	n.Faults.Silence(true)
	e.again(w, 5*time.Millisecond)
	return nil
}

// repeatPoses has every pose said again, late and out of order, for a while.
func repeatPoses(_ context.Context, w *World, n *sim.Node) error {
	e, err := overhear(w, poseTopic, sim.Mole)
	if err != nil {
		return err
	}
	e.again(w, 2*time.Millisecond)
	time.Sleep(300 * time.Millisecond)
	if v := n.View(); !v.MayMove {
		return fmt.Errorf("%w: stopped while poses were repeated: %s", sim.ErrDisturbed, n.Halts()[v.Halts-1].Why) // for good where it is so at every try
	}
	n.Faults.Silence(true)
	return nil
}

func growBacklog(_ context.Context, w *World, _ *sim.Node) error {
	begun, stop := time.Now(), make(chan struct{})
	w.after(func() { close(stop) })
	go func() {
		for {
			select {
			case <-stop:
				return
			case <-time.After(time.Millisecond):
				w.Node.Slow(time.Duration(backlog*float64(time.Since(begun))), 0)
			}
		}
	}()
	return nil
}

func secondGuardStarts(ctx context.Context, w *World, _ *sim.Node) error {
	_, err := w.startGuard(ctx, filepath.Join(w.Dir, "second"))
	return err
}
