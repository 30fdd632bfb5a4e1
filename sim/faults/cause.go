package faults

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
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
	topic  string
	inbox  *link.Inbox
	kept   [][]byte
}

// newEar listens to a topic.
func newEar(w *World, vehicle string, topic func(wire.TopicSet) string) (*ear, error) {
	topics, err := wire.Topics(wire.DefaultPrefix, vehicle)
	if err != nil {
		return nil, err
	}
	e := &ear{topic: topic(topics)}
	if e.inbox, err = link.NewInbox(link.Queue{Depth: link.MaxDepth}); err != nil {
		return nil, err
	}
	begun := time.Now()
	e.client, err = link.Dial(link.Options{URL: w.Broker.URL, ClientID: "ear-" + vehicle, Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: e.topic, Inbox: e.inbox}}})
	if err != nil {
		return nil, err
	}
	w.after(func() { _ = e.client.Close(time.Second) })
	e.slot, err = e.client.Slot(e.topic, 0, false)
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

// overhear is an ear for each of a fleet that has heard something. Who was stopped
// meanwhile was so by the machine: what is to happen has not happened yet.
func overhear(w *World, topic func(wire.TopicSet) string, fleet []*sim.Node) ([]*ear, error) {
	ears, errs := make([]*ear, len(fleet)), make([]error, len(fleet))
	for i, n := range fleet {
		if ears[i], errs[i] = newEar(w, n.Vehicle, topic); errs[i] != nil {
			return nil, errs[i]
		}
	}
	var wait sync.WaitGroup
	for i, e := range ears {
		wait.Go(func() {
			if e.hear(300 * time.Millisecond); len(e.kept) < 3 {
				errs[i] = fmt.Errorf("%w: only %d messages were overheard", sim.ErrDisturbed, len(e.kept))
			}
		})
	}
	wait.Wait()
	for i, n := range fleet {
		if !n.View().MayMove {
			errs[i] = errors.Join(errs[i], fmt.Errorf("%w: %s was stopped before the fault", sim.ErrDisturbed, n.Vehicle))
		}
	}
	return ears, errors.Join(errs...)
}

func permitTopic(s wire.TopicSet) string { return s.Permit }
func poseTopic(s wire.TopicSet) string   { return s.Pose }

func replayPermits(_ context.Context, w *World, fleet []*sim.Node) error {
	ears, err := overhear(w, permitTopic, fleet)
	if err != nil {
		return err
	}
	w.strike()
	if err := w.Tell(syscall.SIGKILL); err != nil {
		return err
	}
	for _, e := range ears {
		e.again(w, 5*time.Millisecond)
	}
	return nil
}

// retainPermit leaves the newest permit with the broker, which hands it to the
// vehicle when that comes back from a short loss of its link, still fresh.
func retainPermit(_ context.Context, w *World, fleet []*sim.Node) error {
	ears, err := overhear(w, permitTopic, fleet)
	if err != nil {
		return err
	}
	w.strike()
	if err := w.Tell(syscall.SIGKILL); err != nil {
		return err
	}
	errs := make([]error, len(ears))
	var wait sync.WaitGroup
	for i, e := range ears { // at once: one after the other, the last is too old by then
		wait.Go(func() { errs[i] = e.client.PublishNow(e.topic, e.kept[len(e.kept)-1], 0, true, time.Second) })
	}
	wait.Wait()
	w.Node.Drop()
	return errors.Join(errs...)
}

func replayPoses(_ context.Context, w *World, fleet []*sim.Node) error {
	ears, err := overhear(w, poseTopic, fleet)
	for i, e := range ears {
		if err == nil {
			fleet[i].Faults.Silence(true)
			e.again(w, 5*time.Millisecond)
		}
	}
	return err
}

// repeatPoses has every pose said again, late and out of order, for a while, and
// then the poses end. Who is stopped before that is not measured (Row.Late).
func repeatPoses(_ context.Context, w *World, fleet []*sim.Node) error {
	ears, err := overhear(w, poseTopic, fleet)
	if err != nil {
		return err
	}
	for _, e := range ears {
		e.again(w, 2*time.Millisecond)
	}
	time.Sleep(300 * time.Millisecond)
	for _, n := range fleet {
		n.Faults.Silence(true)
	}
	return nil
}

func growBacklog(_ context.Context, w *World, _ []*sim.Node) error {
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

func secondGuardStarts(ctx context.Context, w *World, _ []*sim.Node) error {
	_, err := w.startGuard(ctx, filepath.Join(w.Dir, "second"))
	return err
}
