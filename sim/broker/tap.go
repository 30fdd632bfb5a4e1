package broker

import (
	"log/slog"
	"net"
	"sync"
	"sync/atomic"

	"github.com/mochi-mqtt/server/v2/listeners"
)

// tap is the broker's listener. It keeps every accepted connection in hand, so
// that all of them can be cut in one stroke before the server hears of it.
type tap struct {
	ln    net.Listener
	dead  atomic.Bool
	mu    sync.Mutex
	conns map[net.Conn]struct{}
}

// line is a connection that says nothing any more once its tap is cut: without
// that, the first sockets to close would make the server publish wills on those
// that are still open.
type line struct {
	net.Conn
	dead *atomic.Bool
}

func (w line) Write(b []byte) (int, error) {
	if w.dead.Load() {
		return 0, net.ErrClosed
	}
	return w.Conn.Write(b)
}

func newTap(ln net.Listener) *tap {
	return &tap{ln: ln, conns: map[net.Conn]struct{}{}}
}

func (t *tap) ID() string              { return "loopback" }
func (t *tap) Address() string         { return t.ln.Addr().String() }
func (t *tap) Protocol() string        { return "tcp" }
func (t *tap) Init(*slog.Logger) error { return nil }

// Close cuts every connection, upon which the server's goroutines end. The
// server's own way of ending them is passed over: it locks its list of clients
// for reading twice, which waits for ever where a client leaves in between.
func (t *tap) Close(listeners.CloseFn) { t.cut() }

// Serve accepts until the listener is cut.
func (t *tap) Serve(establish listeners.EstablishFn) {
	for {
		socket, err := t.ln.Accept()
		if err != nil {
			return
		}
		c := line{socket, &t.dead}
		if !t.keep(c) {
			_ = c.Close()
			return
		}
		go func() {
			defer t.drop(c)
			_ = establish(t.ID(), c) // how a client leaves is the client's business
		}()
	}
}

// cut silences every connection, then closes the listener and all of them.
func (t *tap) cut() {
	t.dead.Store(true)
	t.mu.Lock()
	defer t.mu.Unlock()
	_ = t.ln.Close()
	for c := range t.conns {
		_ = c.Close()
	}
}

func (t *tap) keep(c net.Conn) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.dead.Load() {
		return false
	}
	t.conns[c] = struct{}{}
	return true
}

func (t *tap) drop(c net.Conn) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.conns, c)
	_ = c.Close()
}
