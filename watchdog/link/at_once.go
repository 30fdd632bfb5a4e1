package link

import (
	"encoding/binary"
	"slices"
	"sync"
	"time"
)

// writer is a socket that takes bytes without waiting.
type writer interface{ writeNow(p []byte) int }

// atOnce writes messages of QoS 0 to the socket from the goroutine that puts them
// into their slot, past the client library, which hands each through three others:
// that is time before a stop leaves, and on a small board costs more than judging a
// pose. Nothing is lost by it: at QoS 0 the library keeps nothing and waits for no
// answer (MQTT 3.1.1 §4.3.1). It never waits: where somebody else writes, or the
// socket is full, the message goes the library's way. Its lock is held by whoever
// writes a packet.
type atOnce struct {
	sync.Mutex
	to    writer // nil: there is none (TLS, other systems)
	buf   []byte
	noted time.Time // when the library was last to hear that something is sent
}

// sendNow writes one message of QoS 0, or nothing.
func (c *conn) sendNow(topic string, payload []byte) (sent bool) {
	if c.now.to == nil || !c.now.TryLock() {
		return false
	}
	c.now.buf = appendPublish(c.now.buf[:0], topic, payload)
	n := c.now.to.writeNow(c.now.buf)
	if n > 0 && n < len(c.now.buf) {
		go c.finish(slices.Clone(c.now.buf[n:])) // unlocks: nothing may come between
		return true
	}
	c.now.Unlock()
	return n > 0
}

// finish writes the rest of a packet. Where that fails the connection ends, since
// what follows would be read as part of it.
func (c *conn) finish(rest []byte) {
	defer c.now.Unlock()
	if _, err := c.write(rest); err != nil {
		_ = c.Close()
	}
}

// unheard says, every noteEvery, that the library is to be given a note to send:
// else it would take a link on which much is sent for an idle one, and ping. The
// note goes no further than to Write.
func (c *conn) unheard(now time.Time) bool {
	if now.Sub(c.now.noted) < noteEvery {
		return false
	}
	c.now.noted = now
	return true
}

// appendPublish appends a PUBLISH of QoS 0 (MQTT 3.1.1 §3.3), neither retained nor
// a duplicate.
func appendPublish(b []byte, topic string, payload []byte) []byte {
	b = appendLength(append(b, typePublish<<4), 2+len(topic)+len(payload))
	b = binary.BigEndian.AppendUint16(b, uint16(len(topic))) // MaxTopic
	return append(append(b, topic...), payload...)
}
