package link

import (
	"fmt"
	"sync"
	"testing"
	"time"

	"pinfold/sim/broker"
	"pinfold/watchdog/link/mosquittotest"
)

// faulty is a broker that can be killed and brought back.
type faulty struct {
	url     string
	kill    func()
	restart func()
}

// brokers runs a test against the embedded broker, and against mosquitto where
// it is installed.
func brokers(t *testing.T, test func(t *testing.T, b faulty)) {
	t.Run("embedded", func(t *testing.T) { test(t, embedded(t)) })
	t.Run("mosquitto", func(t *testing.T) {
		b := mosquittotest.Start(t)
		test(t, faulty{b.URL, b.Kill, b.Restart})
	})
}

func embedded(tb testing.TB) faulty {
	tb.Helper()
	b, err := broker.Start("127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = b.Close() })
	return faulty{b.URL(), b.Kill, func() {
		if err := b.Restart(); err != nil {
			tb.Fatal(err)
		}
	}}
}

var started = time.Now()

func sinceStart() time.Duration { return time.Since(started) }

// soon is a notAfter far enough off for any test.
func soon() time.Duration { return sinceStart() + time.Minute }

// party is a client with an inbox and its link's story.
type party struct {
	*Client
	in *Inbox

	mu    sync.Mutex
	story []string
}

// join makes a party that hears topics. It is closed with the test.
func join(tb testing.TB, url string, spoil func(*Options), topics ...string) *party {
	tb.Helper()
	p := &party{in: mustInbox(tb)}
	o := Options{URL: url, ClientID: "party", Now: sinceStart, OnLink: func(up bool, why string) {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.story = append(p.story, fmt.Sprintf("%v: %s", up, why))
	}}
	for _, topic := range topics {
		o.Subs = append(o.Subs, Sub{Topic: topic, Inbox: p.in})
	}
	if spoil != nil {
		spoil(&o)
	}
	c, err := Dial(o)
	if err != nil {
		tb.Fatal(err)
	}
	p.Client = c
	tb.Cleanup(func() { _ = c.Close(time.Second) })
	return p
}

func joined(tb testing.TB, url string, spoil func(*Options), topics ...string) *party {
	tb.Helper()
	p := join(tb, url, spoil, topics...)
	p.waitUp(tb)
	return p
}

func (p *party) waitUp(tb testing.TB) {
	tb.Helper()
	eventually(tb, "the link to come up", p.Up)
}

func (p *party) tale() []string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]string(nil), p.story...)
}

// next is the next message, or fails the test.
func (p *party) next(tb testing.TB) Message {
	tb.Helper()
	var m Message
	eventually(tb, "a message", func() bool { return p.in.Take(&m) })
	return m
}

// quiet fails the test where a message comes within d.
func (p *party) quiet(tb testing.TB, d time.Duration) {
	tb.Helper()
	p.quietBut(tb, d, "")
}

// quietBut is quiet, but for copies of one message.
func (p *party) quietBut(tb testing.TB, d time.Duration, known string) {
	tb.Helper()
	var m Message
	time.Sleep(d)
	for p.in.Take(&m) {
		if known != "" && string(m.Payload) == known {
			continue
		}
		tb.Fatalf("a message came: %s %.80q, retained %v", m.Topic, m.Payload, m.Retained)
	}
}

func (p *party) slot(tb testing.TB, topic string, qos byte, retain bool) *Slot {
	tb.Helper()
	s, err := p.Slot(topic, qos, retain)
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

func eventually(tb testing.TB, what string, ok func() bool) {
	tb.Helper()
	for end := time.Now().Add(15 * time.Second); !ok(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			tb.Fatalf("waited 15 s for %s", what)
		}
	}
}
