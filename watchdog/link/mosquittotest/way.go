package mosquittotest

import (
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// Way is a TCP way to a broker that can be made slow, or be cut without either
// end being told: the bytes wait then, as they do where a cable is pulled, and
// come in one burst when it is plugged in again.
type Way struct {
	URL string // mqtt://127.0.0.1:port, in place of the broker's

	there, back direction
	broker      string
	ln          net.Listener
	gone        chan struct{}
	mu          sync.Mutex
	conns       []net.Conn
}

// direction is one of the two ways.
type direction struct {
	delay atomic.Int64 // ns
	cut   atomic.Bool
}

// NewWay makes a way to the broker at url until the test ends.
func NewWay(tb testing.TB, url string) *Way {
	tb.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		tb.Fatal(err)
	}
	w := &Way{URL: "mqtt://" + ln.Addr().String(), broker: strings.TrimPrefix(url, "mqtt://"), ln: ln, gone: make(chan struct{})}
	go w.accept()
	tb.Cleanup(w.close)
	return w
}

// Slow delays what is sent from now on, each way.
func (w *Way) Slow(there, back time.Duration) {
	w.there.delay.Store(int64(there))
	w.back.delay.Store(int64(back))
}

// Cut holds up what goes there, to the broker, and back, until it is called
// again.
func (w *Way) Cut(there, back bool) {
	w.there.cut.Store(there)
	w.back.cut.Store(back)
}

func (w *Way) close() {
	close(w.gone)
	_ = w.ln.Close()
	w.Drop()
}

// Drop closes every connection that is open now; new ones are let through.
func (w *Way) Drop() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, c := range w.conns {
		_ = c.Close()
	}
	w.conns = w.conns[:0]
}

func (w *Way) accept() {
	for {
		near, err := w.ln.Accept()
		if err != nil {
			return // closed
		}
		far, err := net.Dial("tcp", w.broker)
		if err != nil {
			_ = near.Close() // as a dead broker would
			continue
		}
		w.mu.Lock()
		w.conns = append(w.conns, near, far)
		w.mu.Unlock()
		go w.carry(&w.there, near, far)
		go w.carry(&w.back, far, near)
	}
}

// piece is what was read at once, and when it is to go on.
type piece struct {
	bytes []byte
	due   time.Time
}

// carry takes bytes from one end to the other until one of them closes.
func (w *Way) carry(d *direction, from, to net.Conn) {
	queue := make(chan piece, 4096)
	go func() {
		defer to.Close()
		for p := range queue {
			time.Sleep(time.Until(p.due))
			for d.cut.Load() {
				select {
				case <-w.gone:
					return
				case <-time.After(time.Millisecond):
				}
			}
			if _, err := to.Write(p.bytes); err != nil {
				_ = from.Close()
				for range queue { // until the reader ends
				}
				return
			}
		}
	}()
	defer close(queue)
	buf := make([]byte, 16<<10)
	for {
		n, err := from.Read(buf)
		if n > 0 {
			queue <- piece{append([]byte(nil), buf[:n]...), time.Now().Add(time.Duration(d.delay.Load()))}
		}
		if err != nil {
			return
		}
	}
}
