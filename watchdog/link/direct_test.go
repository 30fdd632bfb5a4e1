package link

import (
	"bytes"
	"io"
	"testing"
	"testing/iotest"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"pgregory.net/rapid"
)

// past is a conn as open makes it, whose clock is at the returned instant.
func past(t interface{ Fatal(...any) }, r io.Reader, subs ...Sub) (*conn, *Inbox, *time.Duration) {
	in, err := NewInbox(Queue{Depth: 64}, Queue{Depth: 64})
	if err != nil {
		t.Fatal(err)
	}
	for i := range subs {
		subs[i].Inbox = in
	}
	var now time.Duration
	c := reader(r)
	c.past = newDirect(subs, func() time.Duration { return now })
	return c, in, &now
}

// What is a message of QoS 0 on a topic subscribed to by its name is in its inbox,
// in order; all else comes out as it went in, however the reads fall. The bytes are
// made by the client library.
func TestDirectTakesItsOwnAndNothingElse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var stream, rest []byte
		var want []string
		for range rapid.IntRange(1, 8).Draw(t, "packets") {
			topic := rapid.SampledFrom([]string{"p/wren/pose", "p/wren/request", "p/wren/other"}).Draw(t, "topic")
			qos := rapid.SampledFrom([]byte{0, 1}).Draw(t, "qos")
			payload := bytes.Repeat([]byte{'x'}, rapid.OneOf(rapid.IntRange(0, 200), rapid.Just(9000)).Draw(t, "size"))
			b := publishPacket(topic, payload, qos)
			stream = append(stream, b...)
			if topic == "p/wren/pose" && qos == 0 {
				want = append(want, string(payload))
			} else {
				rest = append(rest, b...)
			}
			if rapid.Bool().Draw(t, "ping") {
				stream, rest = append(stream, 0xd0, 0), append(rest, 0xd0, 0)
			}
		}
		c, in, _ := past(t, iotest.HalfReader(bytes.NewReader(stream)), Sub{Topic: "p/wren/pose", ID: 1}, Sub{Topic: "p/wren/request", QoS: 1})
		got, err := io.ReadAll(struct{ io.Reader }{c})
		if err != nil || !bytes.Equal(got, rest) {
			t.Fatalf("%d bytes came out, want %d, or others: %v", len(got), len(rest), err)
		}
		var m Message
		for i := range want {
			if !in.Take(&m) || string(m.Payload) != want[i] || m.Sub != 1 || m.Topic != "p/wren/pose" || !m.Retained || m.TooLarge {
				t.Fatalf("message %d of %d: %+v", i, len(want), m)
			}
		}
		if in.Take(&m) {
			t.Fatal("one more message than was sent")
		}
	})
}

// Where a wildcard or a shared subscription is among them, the library is asked.
func TestDirectLeavesWildcardsToTheLibrary(t *testing.T) {
	for _, filter := range []string{"p/#", "p/+/ack", "$share/g/p/x"} {
		if newDirect([]Sub{{Topic: "p/wren/pose"}, {Topic: filter}}, func() time.Duration { return 0 }) != nil {
			t.Errorf("beside %s messages go past the library", filter)
		}
	}
}

// A payload longer than a queue keeps is cut and marked, one longer than any queue
// keeps leaves the next packet whole, and a topic said to be longer than its packet
// is left to the library, which refuses it.
func TestDirectBounds(t *testing.T) {
	long := publishPacket("a/b", bytes.Repeat([]byte{'x'}, 10<<20), 0)
	c, in, _ := past(t, bytes.NewReader(append(append(long, publishPacket("a/b", []byte("whole"), 0)...), 0x30, 4, 0, 9, 'a', 'b')), Sub{Topic: "a/b"})
	_, err := packets.ReadPacket(c)
	if err == nil {
		t.Error("a topic longer than its packet was read")
	}
	var m Message
	if !in.Take(&m) || !m.TooLarge || len(m.Payload) != DefaultMax {
		t.Errorf("long one: %d bytes, too large %v", len(m.Payload), m.TooLarge)
	}
	if !in.Take(&m) || m.TooLarge || string(m.Payload) != "whole" {
		t.Errorf("next one: %q, too large %v", m.Payload, m.TooLarge)
	}
}

// However much goes past the library, it is told every noteEvery that something
// does, by a packet it can read and that fits no filter.
func TestDirectTellsTheLibrary(t *testing.T) {
	const n, apart = 1000, 5 * time.Millisecond
	from := &ticking{packet: publishPacket("p/pose", []byte("{}"), 0), left: n, apart: apart}
	c, in, now := past(t, from, Sub{Topic: "p/pose"})
	from.now = now
	notes := 0
	for {
		p, err := packets.ReadPacket(c)
		if err != nil {
			break
		}
		pub, ok := p.(*packets.PublishPacket)
		if !ok || filterOK(pub.TopicName) || pub.Qos != 0 || len(pub.Payload) != 0 {
			t.Fatalf("the library got %v", p)
		}
		notes++
	}
	if want := int(n * apart / noteEvery); notes < want-1 || notes > want {
		t.Errorf("%d notes in %v, want %d", notes, n*apart, want)
	}
	if in.Dropped() != n-64 {
		t.Errorf("%d of %d messages came, and 64 are kept", in.Dropped(), n)
	}
}

// ticking gives a packet with each read, and has the clock go on before it.
type ticking struct {
	packet []byte
	left   int
	apart  time.Duration
	now    *time.Duration
}

func (r *ticking) Read(p []byte) (int, error) {
	if r.left == 0 {
		return 0, io.EOF
	}
	r.left--
	*r.now += r.apart
	return copy(p, r.packet), nil
}
