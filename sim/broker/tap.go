package broker

import (
	"log/slog"
	"net"
	"sync"

	"github.com/mochi-mqtt/server/v2/listeners"
)

// tap is the broker's listener. It keeps every accepted connection in hand, so
// that all of them can be cut in one stroke before the server hears of it.
type tap struct {
	ln    net.Listener
	mu    sync.Mutex
	conns map[net.Conn]struct{}
	dead  bool
}

func newTap(ln net.Listener) *tap {
	return &tap{ln: ln, conns: map[net.Conn]struct{}{}}
}

func (t *tap) ID() string                { return "loopback" }
func (t *tap) Address() string           { return t.ln.Addr().String() }
func (t *tap) Protocol() string          { return "tcp" }
func (t *tap) Init(*slog.Logger) error   { return nil }
func (t *tap) Close(f listeners.CloseFn) { t.cut(); f(t.ID()) }

// Serve accepts until the listener is cut.
func (t *tap) Serve(establish listeners.EstablishFn) {
	for {
		c, err := t.ln.Accept()
		if err != nil {
			return
		}
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

// cut closes the listener and every connection.
func (t *tap) cut() {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.dead = true
	_ = t.ln.Close()
	for c := range t.conns {
		_ = c.Close()
	}
}

func (t *tap) keep(c net.Conn) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.dead {
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
