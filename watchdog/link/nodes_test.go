package link

import (
	"net"
	"testing"
	"time"
)

// A client that is given several nodes is on one that is alive: past a dead one at
// its start, over to the next when its own dies, and back when that is all there is.
func TestClientMovesToANodeThatIsAlive(t *testing.T) {
	t.Parallel()
	first, second := embedded(t), embedded(t)
	first.kill()
	in := mustInbox(t)
	c, err := Dial(Options{URL: first.url, More: []string{second.url}, ClientID: "mover", Now: sinceStart,
		Subs: []Sub{{Topic: "where/#", Inbox: in}}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close(time.Second) })
	heardFrom := func(b faulty, word string) {
		t.Helper()
		eventually(t, "the link is up", c.Up)
		says := join(t, b.url, nil)
		says.waitUp(t)
		var m Message
		eventually(t, "what is said on the "+word+" node", func() bool {
			says.slotPut(t, "where/"+word)
			return in.Take(&m) && m.Topic == "where/"+word
		})
	}
	heardFrom(second, "second")
	first.restart()
	second.kill()
	heardFrom(first, "first")
	first.kill()
	eventually(t, "the link is down", func() bool { return !c.Up() })
	second.restart()
	heardFrom(second, "second")
}

func (p *party) slotPut(t *testing.T, topic string) {
	t.Helper()
	if err := p.PublishNow(topic, []byte("here"), 0, false, time.Second); err != nil {
		t.Logf("%v; again", err)
	}
	time.Sleep(5 * time.Millisecond)
}

// A node that takes connections and says nothing on them, and one that is not
// there, hold up no way to the third.
func TestClientPassesASilentNode(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close() //nolint:errcheck // nothing is to arrive any more
	alive, begun := embedded(t), time.Now()
	c, err := Dial(Options{URL: "mqtt://" + l.Addr().String(), More: []string{"mqtt://127.0.0.1:1", alive.url}, ClientID: "patient", Now: sinceStart})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close(time.Second) })
	eventually(t, "the link is up", c.Up)
	t.Logf("up after %v", time.Since(begun).Round(time.Millisecond))
}
