package link

import (
	"fmt"
	"sync"
	"time"
)

// Message is one message that arrived. Payload belongs to whoever holds the
// Message; Take fills it anew.
type Message struct {
	Sub      int           // Sub.ID of the subscription it came by
	Topic    string        // the topic it was published on
	Payload  []byte        // at most Queue.Max bytes
	Arrived  time.Duration // by Options.Now, when the client got it
	Retained bool          // the broker kept it: it is of any age
	TooLarge bool          // Payload is the beginning of something longer
}

// Queue bounds one kind of message in an Inbox.
type Queue struct {
	Depth int // messages kept, 0 for DefaultDepth; one more pushes the oldest out
	Max   int // bytes kept of a payload, 0 for DefaultMax; more is cut off
}

// Inbox holds what arrived until the caller's loop takes it. Each kind of
// message has a queue of its own, so that many poses never push out an
// acknowledgement. One goroutine takes; any number may fill.
type Inbox struct {
	ready chan struct{}

	mu      sync.Mutex
	queues  []ring
	arrived uint64 // messages put so far: their order over all queues
	dropped uint64
}

// ring is one queue; its buffers are used again and again.
type ring struct {
	slots   []entry
	first   int // index of the oldest
	n       int
	max     int
	dropped uint64
}

type entry struct {
	order uint64
	m     Message
}

// NewInbox makes an inbox with these queues; Sub.ID is an index into them. With
// none it has one of default bounds.
func NewInbox(queues ...Queue) (*Inbox, error) {
	if len(queues) == 0 {
		queues = []Queue{{}}
	}
	if len(queues) > MaxQueues {
		return nil, fmt.Errorf("link: %d inbox queues, at most %d; let kinds share a queue", len(queues), MaxQueues)
	}
	in := &Inbox{ready: make(chan struct{}, 1), queues: make([]ring, len(queues))}
	for i, q := range queues {
		if q.Depth < 0 || q.Depth > MaxDepth {
			return nil, fmt.Errorf("link: inbox queue %d: depth %d is out of range; give 1 to %d, or 0 for %d", i, q.Depth, MaxDepth, DefaultDepth)
		}
		if q.Max < 0 || q.Max > MaxMax {
			return nil, fmt.Errorf("link: inbox queue %d: %d bytes is out of range; give 1 to %d, or 0 for %d", i, q.Max, MaxMax, DefaultMax)
		}
		if q.Depth == 0 {
			q.Depth = DefaultDepth
		}
		if q.Max == 0 {
			q.Max = DefaultMax
		}
		in.queues[i] = ring{slots: make([]entry, q.Depth), max: q.Max}
	}
	return in, nil
}

// Ready gets a value after something arrived; then call Take until it is false.
func (in *Inbox) Ready() <-chan struct{} { return in.ready }

// Take moves the message that arrived first into m, whose Payload buffer it
// uses again; false means there is none, and m is as it was.
func (in *Inbox) Take(m *Message) bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	var oldest *ring
	for i := range in.queues {
		q := &in.queues[i]
		if q.n > 0 && (oldest == nil || q.slots[q.first].order < oldest.slots[oldest.first].order) {
			oldest = q
		}
	}
	if oldest == nil {
		return false
	}
	from := &oldest.slots[oldest.first].m
	buf := m.Payload
	*m = *from
	from.Payload = buf[:0] // the two swap buffers, so nothing is copied or made
	oldest.first = (oldest.first + 1) % len(oldest.slots)
	oldest.n--
	return true
}

// Dropped counts the messages that were pushed out before they were taken.
func (in *Inbox) Dropped() uint64 {
	in.mu.Lock()
	defer in.mu.Unlock()
	return in.dropped
}

// DroppedFrom counts the same for one queue; 0 for one that is not there.
func (in *Inbox) DroppedFrom(id int) uint64 {
	in.mu.Lock()
	defer in.mu.Unlock()
	if id < 0 || id >= len(in.queues) {
		return 0
	}
	return in.queues[id].dropped
}

// Put copies a message in as if it had arrived now by subscription id, and never
// waits. It is for what an operator asks of the process itself, so that it goes
// the way of what is asked over the broker. An id without a queue is ignored.
func (in *Inbox) Put(id int, topic string, payload []byte, arrived time.Duration) {
	if id >= 0 && id < len(in.queues) {
		in.put(id, topic, payload, false, arrived)
	}
}

// put copies a message in and never waits.
func (in *Inbox) put(id int, topic string, payload []byte, retained bool, arrived time.Duration) {
	in.mu.Lock()
	q := &in.queues[id]
	if q.n == len(q.slots) {
		q.first = (q.first + 1) % len(q.slots)
		q.n--
		q.dropped++
		in.dropped++
	}
	e := &q.slots[(q.first+q.n)%len(q.slots)]
	q.n++
	in.arrived++
	e.order = in.arrived
	kept := payload[:min(len(payload), q.max)]
	e.m = Message{Sub: id, Topic: topic, Payload: append(e.m.Payload[:0], kept...),
		Arrived: arrived, Retained: retained, TooLarge: len(kept) < len(payload)}
	in.mu.Unlock()
	select {
	case in.ready <- struct{}{}:
	default:
	}
}
