package link

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/eclipse/paho.mqtt.golang/packets"
	"pgregory.net/rapid"
)

// What is written past the library is what the library would have written.
func TestAtOnceWritesWhatTheLibraryWould(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		topic := rapid.StringN(1, 40, MaxTopic).Draw(t, "topic")
		payload := bytes.Repeat([]byte{'x'}, rapid.OneOf(rapid.IntRange(0, 200), rapid.SampledFrom([]int{16380, MaxPayload})).Draw(t, "size"))
		p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
		p.TopicName, p.Payload = topic, payload
		var want bytes.Buffer
		_ = p.Write(&want) // a buffer takes everything
		if got := appendPublish(nil, topic, payload); !bytes.Equal(got, want.Bytes()) {
			t.Fatalf("%.60x, the library writes %.60x", got, want.Bytes())
		}
	})
}

// watched counts what its socket did not take whole.
type watched struct {
	writer
	part atomic.Int64
}

func (w *watched) writeNow(p []byte) int {
	n := w.writer.writeNow(p)
	if n > 0 && n < len(p) {
		w.part.Add(1)
	}
	return n
}

// narrowConn is a conn whose socket soon takes no more, and its far end.
func narrowConn(t *testing.T) (*conn, *watched, *net.TCPConn) {
	t.Helper()
	raw, far := plainPair(t, 1000)
	_ = raw.SetWriteBuffer(4 << 10)
	_ = far.SetReadBuffer(4 << 10)
	near := newQuiet(raw)
	q, ok := near.(writer)
	if !ok {
		t.Skip("sockets are written without waiting on Linux only")
	}
	w := &watched{writer: q}
	return &conn{Conn: near, now: atOnce{to: w}}, w, far
}

// However often the socket takes a part only or nothing, and whoever else writes,
// every packet comes out whole, and each one's in its order.
func TestAtOnceLeavesPacketsWhole(t *testing.T) {
	c, w, far := narrowConn(t)
	const most = 3000
	var wait sync.WaitGroup
	sent := [2]int{}
	wait.Go(func() {
		for n := 0; n < most || w.part.Load() < 3 && n < 100*most; n++ {
			if c.sendNow("now", fmt.Appendf(nil, "%d %s", sent[0], strings.Repeat("x", 17*n%3001))) {
				sent[0]++
			}
			time.Sleep(10 * time.Microsecond)
		}
	})
	wait.Go(func() {
		for n := range most / 10 {
			if _, err := c.Write(appendPublish(nil, "other", fmt.Appendf(nil, "%d %s", n, strings.Repeat("y", 29*n%4001)))); err != nil {
				t.Errorf("an ordinary write: %v", err)
			}
			sent[1]++
		}
	})
	go func() { wait.Wait(); time.Sleep(2 * writeTimeout); c.now.Lock(); _ = c.Close() }()
	in, got := bufio.NewReaderSize(far, 512), [2]int{}
	for {
		p, err := packets.ReadPacket(in)
		if err != nil {
			break
		}
		pub := p.(*packets.PublishPacket)
		i, fill := 0, byte('x')
		if pub.TopicName == "other" {
			i, fill = 1, 'y'
		}
		number, rest, ok := bytes.Cut(pub.Payload, []byte(" "))
		if !ok || string(number) != fmt.Sprint(got[i]) || len(bytes.Trim(rest, string(fill))) > 0 {
			t.Fatalf("packet %d of %s: %.40q", got[i], pub.TopicName, pub.Payload)
		}
		got[i]++
	}
	wait.Wait()
	if got != sent || got[1] == 0 {
		t.Errorf("%d of %d packets came", got, sent)
	}
	if w.part.Load() < 3 {
		t.Errorf("%d packets were taken in part: nothing was shown", w.part.Load())
	}
}

// Nobody reads: the socket is full at some time, nothing waits for it, and what was
// begun and cannot be ended ends the connection.
func TestAtOnceToNobody(t *testing.T) {
	c, w, far := narrowConn(t)
	payload := make([]byte, 1500)
	for n := 0; w.part.Load() == 0; n++ {
		if n > 100_000 {
			t.Fatal("no packet was taken in part")
		}
		if !c.sendNow("p", payload) { // full at the border of two packets: let some room come about
			_, _ = io.ReadFull(far, make([]byte, 700+n%700))
		}
	}
	if c.now.TryLock() {
		t.Error("another packet could begin before the last has ended")
		c.now.Unlock()
	}
	_ = c.SetReadDeadline(time.Now().Add(15 * time.Second))
	if _, err := c.Conn.Read(make([]byte, 1)); !errors.Is(err, net.ErrClosed) {
		t.Errorf("the connection goes on: %v", err)
	}
}

// What a slot holds goes past the library or through it, as it falls out; the order
// is that in which it was given.
func TestAtOnceKeepsTheOrder(t *testing.T) {
	t.Parallel()
	brokers(t, func(t *testing.T, b faulty) {
		hears := joined(t, b.url, nil, "p/permit")
		says := joined(t, b.url, nil)
		permit, state := says.slot(t, "p/permit", 0, false), says.slot(t, "p/state", 1, true)
		for n := range 300 {
			say := fmt.Sprint(n)
			if n%7 == 3 {
				if err := says.PublishNow("p/permit", []byte(say), 0, false, time.Second); err != nil {
					t.Fatal(err)
				}
			} else {
				if n%5 == 0 {
					state.Put([]byte(say), soon()) // has the library busy
				}
				permit.Put([]byte(say), soon())
			}
			if m := hears.next(t); string(m.Payload) != say {
				t.Fatalf("%q came, want %s", m.Payload, say)
			}
		}
	})
}

// What the library was given and has not yet written is not overtaken.
func TestAtOnceOvertakesNothing(t *testing.T) {
	t.Parallel()
	b := embedded(t)
	hears := joined(t, b.url, nil, "p/permit")
	says := joined(t, b.url, nil)
	permit := says.slot(t, "p/permit", 0, false)
	conn := says.session.conn.Load()
	for n := range 40 {
		conn.now.Lock() // the library has to wait
		before := says.Stats().Sent
		if n%2 == 0 {
			permit.Put([]byte("first"), soon())
		} else {
			go says.PublishNow("p/permit", []byte("first"), 0, false, time.Minute)
		}
		eventually(t, "the library to be given it", func() bool { return says.Stats().Sent > before })
		conn.now.Unlock()
		permit.Put([]byte("second"), soon())
		for _, want := range []string{"first", "second"} {
			if m := hears.next(t); string(m.Payload) != want {
				t.Fatalf("try %d: %q came, want %q", n, m.Payload, want)
			}
		}
	}
	before := says.Stats()
	permit.Put([]byte("late"), sinceStart()-time.Nanosecond)
	eventually(t, "what is late to be dropped", func() bool { return says.Stats().Late == before.Late+1 })
	if s := says.Stats(); s.Sent != before.Sent {
		t.Errorf("it was sent: %+v", s)
	}
}

// A link on which much is sent, past the library, is no idle one to it: nobody pings.
// Keep alive: MQTT 3.1.1 §3.1.2.10.
func TestAtOnceIsNotIdle(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	var pings, strange, came atomic.Int64
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		defer c.Close()
		_, _ = packets.ReadPacket(c)          // CONNECT
		_, _ = c.Write([]byte{0x20, 2, 0, 0}) // CONNACK, §3.2
		done := make(chan struct{})
		defer close(done)
		go func() {
			for tick := time.NewTicker(keepAlive / 8); ; {
				select {
				case <-tick.C:
					_, _ = c.Write(publishPacket("x", nil, 0))
				case <-done:
					return
				}
			}
		}()
		for {
			p, err := packets.ReadPacket(c)
			if err != nil {
				return
			}
			switch p := p.(type) {
			case *packets.PingreqPacket:
				pings.Add(1)
			case *packets.PublishPacket:
				came.Add(1)
				if p.TopicName != "p" {
					strange.Add(1)
				}
			}
		}
	}()
	p := joined(t, "mqtt://"+l.Addr().String(), nil)
	s := p.slot(t, "p", 0, false)
	for end := time.Now().Add(keepAlive * 3 / 2); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		s.Put([]byte("x"), soon())
	}
	if pings.Load() > 0 || strange.Load() > 0 || came.Load() < 100 {
		t.Errorf("%d pings, %d messages, %d of them on no topic of ours", pings.Load(), came.Load(), strange.Load())
	}
}
