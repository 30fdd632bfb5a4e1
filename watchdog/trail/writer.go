package trail

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Writer writes one session. Its methods may be called from any goroutine, and
// but for Close none of them waits for the disk.
type Writer struct {
	o      Options
	folder string
	key    ed25519.PrivateKey
	wake   chan struct{} // something waits for the keeper
	ended  chan struct{} // the keeper has returned

	mu      sync.Mutex // held for copies only, never across a file call
	in      *intakeBuf
	queue   []queued
	queued  int          // bytes in queue
	refused []func(bool) // durable records there was no room for
	lost    loss         // not yet said in the chain
	allLost uint64       // ever
	noItems bool         // the bound is reached: no more intake
	noLines bool         // nor events
	closing bool         // nothing more is taken
	abandon bool         // Close has given up
	status  Status
	sealed  Sealed
}

// queued is a record on its way into the chain.
type queued struct {
	vehicle, kind string
	at            time.Duration
	body          []byte
	sign          bool
	done          func(failed bool)
	deadline      time.Time // where done is set
}

// Intake records an item. It copies the item and returns; where there is no
// room the item is lost, counted, said in the chain, and the trail is not
// healthy until that is durable.
func (w *Writer) Intake(it *Item) {
	w.mu.Lock()
	if w.closing || w.noItems || len(it.Payload) > MaxPayload || !w.in.put(it) {
		w.lose(1, 0, it.At)
	}
	early := len(w.in.raw) > MaxIntake/2
	w.mu.Unlock()
	if early {
		w.nudge()
	}
}

// Event records a line. The body is encoded before Event returns.
func (w *Writer) Event(vehicle, kind string, at time.Duration, body any) {
	w.take(queued{vehicle: cutName(vehicle), kind: appKind(kind), at: at, body: encodeBody(body)})
}

// Durable records a line at once, and the intake before it. done is called from
// the writer's goroutine, once: with false when the line is on disk for
// certain, with true when it is not so within Options.DurableWithin.
func (w *Writer) Durable(vehicle, kind string, at time.Duration, body any, done func(failed bool)) {
	if done == nil {
		done = func(bool) {}
	}
	w.take(queued{vehicle: cutName(vehicle), kind: appKind(kind), at: at, body: encodeBody(body),
		done: done, deadline: time.Now().Add(w.o.DurableWithin)})
}

func (w *Writer) take(q queued) {
	w.mu.Lock()
	switch {
	case !w.closing && !w.noLines && len(w.queue) < MaxQueue && w.queued+len(q.body) <= MaxQueued:
		w.queue = append(w.queue, q)
		w.queued += len(q.body)
	default:
		w.lose(0, 1, q.at)
		if q.done != nil {
			w.refuse(q.done)
		}
	}
	w.mu.Unlock()
	w.nudge()
}

// refuse answers a durable record that cannot be taken: by the keeper, or where
// that has ended by a goroutine of its own. mu is held.
func (w *Writer) refuse(done func(bool)) {
	select {
	case <-w.ended:
		go done(true)
	default:
		w.refused = append(w.refused, done)
	}
}

// lose counts what is lost; mu is held.
func (w *Writer) lose(items, events uint64, at time.Duration) {
	w.lost.add(items, events, at)
	w.allLost += items + events
	w.status.Lost, w.status.OK = w.allLost, false
	if w.status.Err == "" {
		w.status.Err = "records were lost"
	}
}

func (w *Writer) nudge() {
	select {
	case w.wake <- struct{}{}:
	default:
	}
}

// Head is the hex SHA-256 of the newest durable line.
func (w *Writer) Head() string { return w.Status().Head }

// Status is the trail's health now.
func (w *Writer) Status() Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.status
}

// Close takes nothing more, writes what was taken, seals the session and closes
// its files. Where that cannot be done within timeout, the session stays
// unsealed and the error says so; what is durable stays whole. Closing twice
// gives the first answer again.
func (w *Writer) Close(timeout time.Duration) (Sealed, error) {
	w.mu.Lock()
	w.closing = true
	w.mu.Unlock()
	w.nudge()
	t := time.NewTimer(timeout)
	defer t.Stop()
	select {
	case <-w.ended:
	case <-t.C:
		w.mu.Lock()
		w.abandon = true
		w.mu.Unlock()
		w.nudge()
		<-w.ended // the keeper never waits for the disk
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.sealed.Head == "" {
		return Sealed{}, fmt.Errorf("trail %s: not sealed within %v: %w; run verify on it", w.folder, timeout, w.why())
	}
	return w.sealed, nil
}

// why is the health's text as an error; mu is held.
func (w *Writer) why() error {
	if w.status.Err == "" {
		return errors.New("the disk did not answer")
	}
	return errors.New(w.status.Err)
}
