package link

import (
	"bufio"
	"encoding/binary"
	"io"
	"strings"
	"time"
)

// direct puts a message of QoS 0 into its inbox from where it is read off the
// socket, past the client library. That hands each message through four goroutines,
// which on a small board costs more than everything the guard does with a pose, and
// time before it is judged. Nothing is lost by it: at QoS 0 the library owes no
// answer (MQTT 3.1.1 §4.3.1).
type direct struct {
	subs  map[string]*Sub // by the topic as it is written in the packet
	now   func() time.Duration
	noted time.Duration // when the library last heard that something arrives
}

// newDirect takes those subscriptions whose messages can only come at QoS 0 and by
// one filter. Where there is a wildcard, nothing goes past the library, which finds
// all the filters that a topic fits.
func newDirect(subs []Sub, now func() time.Duration) *direct {
	d := &direct{subs: make(map[string]*Sub, len(subs)), now: now, noted: now()}
	for i := range subs {
		s := &subs[i]
		if strings.HasPrefix(s.Topic, "$") || strings.ContainsAny(s.Topic, "+#") {
			return nil
		}
		if s.QoS == 0 {
			d.subs[s.Topic] = s
		}
	}
	return d
}

// note is what the library gets to see of all that goes past it, every noteEvery: a
// PUBLISH on a topic that no filter can name (it holds U+0000), without payload.
// Else it would take a link on which much arrives for a silent one, and ping. It is
// a quarter of what it takes for silence.
var note = [...]byte{typePublish << 4, 3, 0, 1, 0}

const (
	noteEvery = keepAlive / 4
	noteTopic = "\x00"
)

// take puts the packet that in stands before into its inbox, where it is a message
// for one: first is the packet's first byte, length what remains after its fixed
// header. Where it is not, nothing is read.
func (d *direct) take(first byte, length int, in *bufio.Reader) (taken bool, err error) {
	if d == nil || first>>4 != typePublish || first&0x06 != 0 || length < 2 {
		return false, nil
	}
	whole := length <= in.Size()
	seen, err := in.Peek(min(length, in.Size()))
	if err != nil {
		return false, err
	}
	n := 2 + int(binary.BigEndian.Uint16(seen))
	if n > len(seen) {
		return false, nil
	}
	sub := d.subs[string(seen[2:n])]
	if sub == nil {
		return false, nil
	}
	if !whole {
		seen = make([]byte, length) // rare: no message of the contract is as long
		if _, err := io.ReadFull(in, seen); err != nil {
			return false, err
		}
	}
	sub.Inbox.put(sub.ID, sub.Topic, seen[n:], first&1 != 0, d.now())
	if whole {
		_, err = in.Discard(length)
	}
	return true, err
}

// due says whether the library is to get a note.
func (d *direct) due() bool {
	now := d.now()
	if now-d.noted < noteEvery {
		return false
	}
	d.noted = now
	return true
}
