package link

import (
	"bytes"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"
)

func TestMessagesGoThrough(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		hears := joined(t, b.url, nil, "pinfold/+/permit", "pinfold/wren/ack")
		says := joined(t, b.url, nil)
		permit, ack := says.slot(t, "pinfold/wren/permit", 0, false), says.slot(t, "pinfold/wren/ack", 1, false)
		payload := []byte("one")
		before := sinceStart()
		permit.Put(payload, soon())
		copy(payload, "XXX") // Put has copied
		m := hears.next(t)
		if m.Topic != "pinfold/wren/permit" || string(m.Payload) != "one" || m.Retained || m.TooLarge || m.Arrived < before || m.Arrived > sinceStart() {
			t.Fatalf("got %+v", m)
		}
		ack.Put([]byte("two"), soon())
		if m := hears.next(t); m.Topic != "pinfold/wren/ack" || string(m.Payload) != "two" {
			t.Fatalf("got %+v", m)
		}
		eventually(t, "both to be counted", func() bool { return says.Stats() == Stats{Sent: 2} })
	})
}

// Who asks is told of what was written to the connection, and of nothing else.
func TestLeftIsTold(t *testing.T) {
	t.Parallel()
	brokers(t, func(t *testing.T, b faulty) {
		hears := joined(t, b.url, nil, "p/command")
		says := joined(t, b.url, nil)
		command := says.slot(t, "p/command", 0, false)
		type left struct {
			what string
			at   time.Duration
		}
		told := make(chan left, 100)
		command.OnLeft(func(payload []byte, at time.Duration) { told <- left{string(payload), at} })
		before := sinceStart()
		command.Put([]byte("one"), soon())
		arrived := hears.next(t).Arrived
		if l := <-told; l.what != "one" || l.at < before || l.at > sinceStart() {
			t.Errorf("told %+v; put at %v, heard at %v", l, before, arrived)
		}
		b.kill()
		eventually(t, "the link is down", func() bool { return !says.Up() })
		command.Put([]byte("two"), soon())
		b.restart()
		says.waitUp(t)
		command.Put([]byte("three"), soon())
		if l := <-told; l.what != "three" {
			t.Errorf("told of %q, which never left", l.what)
		}
	})
}

func TestDialReturnsAtOnceAndKeepsTrying(t *testing.T) {
	t.Parallel()
	brokers(t, func(t *testing.T, b faulty) {
		b.kill()
		before := time.Now()
		p := join(t, b.url, nil, "x")
		if d := time.Since(before); d > 100*time.Millisecond {
			t.Errorf("Dial took %v", d)
		}
		// A broker that is only just dead may still reset a connection.
		refused := func() bool {
			s := p.tale()
			return len(s) > 0 && len(s) < 3 && strings.HasPrefix(s[len(s)-1], "false: dial: ") && strings.Contains(s[len(s)-1], "refused")
		}
		eventually(t, "a reason", refused)
		time.Sleep(300 * time.Millisecond)
		if !refused() || p.Up() {
			t.Errorf("story without a broker: %q; want it to end with one line that says refused", p.tale())
		}
		b.restart()
		p.waitUp(t)
		if s := p.tale(); s[len(s)-1] != "true: connected" {
			t.Errorf("story: %q", s)
		}
	})
}

// What was put while the link was down, or just before it went, is not
// delivered later; a retained slot says its newest again.
func TestNothingOldIsDeliveredAfterAnOutage(t *testing.T) {
	t.Parallel()
	brokers(t, func(t *testing.T, b faulty) {
		hears := joined(t, b.url, nil, "#")
		says := joined(t, b.url, nil)
		permit, command := says.slot(t, "p/permit", 0, false), says.slot(t, "p/command", 1, false)
		state := says.slot(t, "p/state", 1, true)
		state.Put([]byte("state 1"), 0)
		if m := hears.next(t); string(m.Payload) != "state 1" {
			t.Fatalf("got %q", m.Payload)
		}
		b.kill()
		eventually(t, "both to notice", func() bool { return !says.Up() && !hears.Up() })
		for i := range 50 {
			permit.Put(fmt.Appendf(nil, "old %d", i), soon())
			command.Put(fmt.Appendf(nil, "old %d", i), soon())
		}
		state.Put([]byte("state 2"), 0)
		state.Put([]byte("state 3"), 0)
		if s := says.Stats(); s.WhileDown != 100 {
			t.Errorf("counted %+v, want 100 put while down", s)
		}
		b.restart()
		hears.waitUp(t)
		says.waitUp(t)
		if m := hears.next(t); string(m.Payload) != "state 3" {
			t.Fatalf("first after the outage: %q, want only the newest state", m.Payload)
		}
		// A broker may hand the same message to a new subscription twice: as it
		// comes, and as the one it keeps.
		hears.quietBut(t, 300*time.Millisecond, "state 3")
		permit.Put([]byte("new"), soon())
		if m := hears.next(t); string(m.Payload) != "new" {
			t.Fatalf("got %q", m.Payload)
		}
	})
}

func TestStateIsSaidAgainOnEveryConnection(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		says := joined(t, b.url, nil)
		says.slot(t, "p/state", 1, true).Put([]byte("newest"), 0)
		eventually(t, "it to be sent", func() bool { return says.Stats().Sent == 1 })
		for range 3 {
			b.kill() // and with it all that it retained
			eventually(t, "the loss", func() bool { return !says.Up() })
			b.restart()
			says.waitUp(t)
			late := joined(t, b.url, nil, "p/state")
			if m := late.next(t); string(m.Payload) != "newest" {
				t.Fatalf("got %q", m.Payload)
			}
			_ = late.Close(time.Second)
		}
	})
}

func TestNewestWinsAndLateIsDropped(t *testing.T) {
	b := embedded(t)
	hears, says := joined(t, b.url, nil, "#"), joined(t, b.url, nil)
	s := says.slot(t, "a", 0, false)
	says.sending.Lock() // the network takes its time
	for i := range 10 {
		s.Put([]byte{byte(i)}, soon())
	}
	other := says.slot(t, "b", 0, false)
	other.Put([]byte("too late"), sinceStart()-1)
	says.sending.Unlock()
	if m := hears.next(t); len(m.Payload) != 1 || m.Payload[0] != 9 {
		t.Fatalf("got %v, want the newest, 9", m.Payload)
	}
	hears.quiet(t, 100*time.Millisecond)
	if got, want := says.Stats(), (Stats{Sent: 1, Replaced: 9, Late: 1}); got != want {
		t.Errorf("counted %+v, want %+v", got, want)
	}
	if _, err := says.Slot("a", 0, false); err == nil {
		t.Error("a second slot for one topic: no error")
	}
	for _, bad := range []string{"", "a/+", "a/#", "a\x00b"} {
		if _, err := says.Slot(bad, 0, false); err == nil {
			t.Errorf("slot for %q: no error", bad)
		}
	}
	s.Put(make([]byte, MaxPayload+1), soon())
	if says.Stats().Failed != 1 {
		t.Errorf("an oversize payload was not counted as failed")
	}
}

func TestHugeMessageDoesNotBreakTheConnection(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		hears := joined(t, b.url, nil, "pinfold/wren/pose")
		huge := joined(t, b.url, nil)
		// Past the client's own bound: straight through the library under it.
		token := huge.session.client.Publish("pinfold/wren/pose", 1, false, bytes.Repeat([]byte{'x'}, 10<<20))
		m := hears.next(t)
		if !m.TooLarge || len(m.Payload) != DefaultMax {
			t.Errorf("10 MB arrived as %d bytes, too large %v", len(m.Payload), m.TooLarge)
		}
		if !token.WaitTimeout(10 * time.Second) {
			t.Error("10 MB were never confirmed")
		}
		says := joined(t, b.url, nil)
		says.slot(t, "pinfold/wren/pose", 0, false).Put([]byte("small"), soon())
		if m := hears.next(t); string(m.Payload) != "small" || m.TooLarge {
			t.Errorf("after it: %q, too large %v", m.Payload, m.TooLarge)
		}
		if s := hears.tale(); len(s) != 1 {
			t.Errorf("story: %q, want one connection", s)
		}
	})
}

func TestRetainedIsFlagged(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		// A broker may confirm a message before it has handed it on: who
		// subscribes in between gets it both as kept and as new. So somebody
		// who was there before has to have heard it first.
		plants, witness := joined(t, b.url, nil), joined(t, b.url, nil, "pinfold/#")
		for _, topic := range []string{"pinfold/wren/permit", "pinfold/wren/pose"} {
			if err := plants.PublishNow(topic, []byte("planted"), 1, true, 5*time.Second); err != nil {
				t.Fatal(err)
			}
			if m := witness.next(t); m.Topic != topic || m.Retained {
				t.Fatalf("%s came to one who was there before as %+v", topic, m)
			}
		}
		p := joined(t, b.url, nil, "pinfold/wren/permit", "pinfold/wren/pose")
		for range 2 {
			if m := p.next(t); !m.Retained {
				t.Errorf("%s: a planted message is not flagged", m.Topic)
			}
		}
		p.quiet(t, 50*time.Millisecond)
	})
}

func TestTwoClientsOfOneNameLiveSideBySide(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		first, second := joined(t, b.url, nil, "x"), joined(t, b.url, nil, "x")
		says := joined(t, b.url, nil)
		s := says.slot(t, "x", 0, false)
		for i := range 20 {
			s.Put([]byte{byte(i)}, soon())
			for _, p := range []*party{first, second} {
				if m := p.next(t); m.Payload[0] != byte(i) {
					t.Fatalf("message %d: got %v", i, m.Payload)
				}
			}
		}
		if a, b := first.tale(), second.tale(); len(a) != 1 || len(b) != 1 {
			t.Errorf("stories %q and %q, want one connection each", a, b)
		}
	})
}

func TestRenewMakesANewConnection(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		watches := joined(t, b.url, nil, "will")
		p := joined(t, b.url, func(o *Options) { o.Will = Will{"will", []byte("gone")} }, "x")
		says := joined(t, b.url, nil)
		s := says.slot(t, "x", 0, false)
		for i := range 5 {
			p.Renew("no pose for 1 s")
			eventually(t, "a new connection", func() bool { return len(p.tale()) == 3+2*i && p.Up() })
			s.Put([]byte{byte(i)}, soon())
			if m := p.next(t); m.Payload[0] != byte(i) {
				t.Fatalf("got %v", m.Payload)
			}
		}
		if s := p.tale(); s[1] != "false: no pose for 1 s" || s[2] != "true: connected" {
			t.Errorf("story: %q", s)
		}
		watches.quiet(t, 50*time.Millisecond) // it took its leave each time
	})
}

func TestWillOnlyWithoutGoodbye(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		watches := joined(t, b.url, nil, "all/command")
		will := func(o *Options) { o.Will = Will{"all/command", []byte("guard lost")} }
		leaves := joined(t, b.url, will)
		if err := leaves.Close(5 * time.Second); err != nil {
			t.Error(err)
		}
		watches.quiet(t, 100*time.Millisecond)
		dies := joined(t, b.url, will)
		_ = dies.session.conn.Load().Close()
		if m := watches.next(t); string(m.Payload) != "guard lost" || m.Retained {
			t.Errorf("got %+v", m)
		}
	})
}

func TestCloseSendsWhatWaits(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		hears := joined(t, b.url, nil, "#")
		for i := range 10 {
			says := joined(t, b.url, nil)
			stop, state := says.slot(t, "stop", 0, false), says.slot(t, "state", 1, false)
			stop.Put([]byte{byte(i)}, soon())
			state.Put([]byte{byte(i)}, soon())
			if err := says.Close(5 * time.Second); err != nil {
				t.Fatal(err)
			}
			stop.Put([]byte("after the end"), soon())
			if err := says.Close(time.Second); err != nil {
				t.Errorf("second Close: %v", err)
			}
			for range 2 {
				if m := hears.next(t); m.Payload[0] != byte(i) {
					t.Fatalf("round %d: got %q", i, m.Payload)
				}
			}
		}
		hears.quiet(t, 50*time.Millisecond)
	})
}

func TestPublishNowTakesThePlaceOfTheSlot(t *testing.T) {
	brokers(t, func(t *testing.T, b faulty) {
		hears, says := joined(t, b.url, nil, "#"), joined(t, b.url, nil)
		s := says.slot(t, "permit", 0, false)
		says.sending.Lock()
		s.Put([]byte("go"), soon())
		done := make(chan error, 1)
		go func() { done <- says.PublishNow("permit", []byte("halt"), 1, false, 5*time.Second) }()
		time.Sleep(20 * time.Millisecond)
		says.sending.Unlock()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		last := ""
		eventually(t, "the halt", func() bool {
			var m Message
			for hears.in.Take(&m) {
				last = string(m.Payload)
			}
			return last == "halt"
		})
		hears.quiet(t, 100*time.Millisecond)
	})
}

func TestPublishNowWithoutALinkSaysSo(t *testing.T) {
	b := embedded(t)
	p := joined(t, b.url, nil)
	b.kill()
	eventually(t, "the loss", func() bool { return !p.Up() })
	if err := p.PublishNow("t", nil, 0, false, time.Second); err == nil || !strings.Contains(err.Error(), "down") {
		t.Errorf("got %v", err)
	}
	if err := p.PublishNow("t/#", nil, 0, false, time.Second); err == nil {
		t.Error("published on a wildcard")
	}
	if err := p.Close(time.Second); err == nil {
		t.Error("Close without a link: no error")
	}
}

// A listener that accepts and never answers: Dial, Put and Close do not wait.
func TestSilentBroker(t *testing.T) {
	t.Parallel()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close()
	p := join(t, "mqtt://"+ln.Addr().String(), nil, "x")
	eventually(t, "a reason", func() bool { return len(p.tale()) > 0 })
	if p.Up() || !strings.Contains(p.tale()[0], "timeout") {
		t.Errorf("up %v, story %q; want a timeout", p.Up(), p.tale())
	}
	before := time.Now()
	_ = p.Close(50 * time.Millisecond)
	if d := time.Since(before); d > time.Second {
		t.Errorf("Close took %v", d)
	}
}
