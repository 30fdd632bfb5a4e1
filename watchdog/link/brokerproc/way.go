package brokerproc

import (
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"time"
)

// Way is a TCP way to a broker that can be made slow or narrow, or be cut without either
// end being told: the bytes wait then, as they do where a cable is pulled, and
// come in one burst when it is plugged in again.
type Way struct {
	URL string // mqtt://127.0.0.1:port, in place of the broker's

	there, back direction
	broker      string
	ln          net.Listener
	gone        chan struct{}
	once        sync.Once
	mu          sync.Mutex
	conns       []net.Conn
	greetings   [][]byte
}

// maxGreetings is how many are kept.
const maxGreetings = 64

// direction is one of the two ways.
type direction struct {
	delay atomic.Int64 // ns
	rate  atomic.Int64 // bytes a second; 0: all
	cut   atomic.Bool
}

// NewWay makes a way to the broker at url, until Close.
func NewWay(url string) (*Way, error) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, err
	}
	w := &Way{URL: "mqtt://" + ln.Addr().String(), broker: strings.TrimPrefix(url, "mqtt://"), ln: ln, gone: make(chan struct{})}
	go w.accept()
	return w, nil
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

// Narrow lets at most so many bytes a second through from now on, each way; 0:
// all. What comes faster waits.
func (w *Way) Narrow(there, back int) {
	w.there.rate.Store(int64(there))
	w.back.rate.Store(int64(back))
}

// Greetings are the first things that connections sent to the broker, the newest
// last: MQTT clients' CONNECT.
func (w *Way) Greetings() [][]byte {
	w.mu.Lock()
	defer w.mu.Unlock()
	return append([][]byte(nil), w.greetings...)
}

// Close ends the way and every connection on it.
func (w *Way) Close() {
	w.once.Do(func() {
		close(w.gone)
		_ = w.ln.Close()
		w.Drop()
	})
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
			if rate := d.rate.Load(); rate > 0 {
				time.Sleep(time.Duration(float64(len(p.bytes)) / float64(rate) * float64(time.Second)))
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
	for first := d == &w.there; ; {
		n, err := from.Read(buf)
		if n > 0 && first {
			first = false
			w.mu.Lock()
			if w.greetings = append(w.greetings, append([]byte(nil), buf[:n]...)); len(w.greetings) > maxGreetings {
				w.greetings = w.greetings[1:]
			}
			w.mu.Unlock()
		}
		if n > 0 {
			queue <- piece{append([]byte(nil), buf[:n]...), time.Now().Add(time.Duration(d.delay.Load()))}
		}
		if err != nil {
			return
		}
	}
}
