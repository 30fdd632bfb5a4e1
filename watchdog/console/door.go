package console

import (
	"context"
	"net"
	"net/http"
	"sync"
)

// door is a listener that lets in at most maxConns at once, and of one address no
// more than comeRate a second. Where there are as
// many, the one that has been doing nothing for the longest is shown out, so
// that no crowd of idle connections keeps a stop out.
type door struct {
	net.Listener
	mu    sync.Mutex
	idle  []net.Conn // new, between two requests or within one that is not whole yet, the longest waiting first
	total int
	in    map[net.Conn]bool
	comes *perAddress
}

func newDoor(inner net.Listener) *door {
	return &door{Listener: inner, in: map[net.Conn]bool{}, comes: newPerAddress(comeRate, comeBurst)}
}

// Accept lets the next one in.
func (d *door) Accept() (net.Conn, error) {
	for {
		c, err := d.Listener.Accept()
		if err != nil {
			return nil, err
		}
		t, tcp := c.(*net.TCPConn)
		if d.comes.of(c.RemoteAddr().String()).Allow() && d.enter(c) {
			if tcp {
				_ = t.SetWriteBuffer(outbox) // without it old frames only last longer
			}
			return c, nil
		}
		if tcp {
			_ = t.SetLinger(0) // nothing of it is kept
		}
		_ = c.Close() // one too many, or everybody inside is busy
	}
}

func (d *door) enter(c net.Conn) bool {
	var out net.Conn
	d.mu.Lock()
	if d.total >= maxConns {
		if len(d.idle) == 0 {
			d.mu.Unlock()
			return false
		}
		out = d.idle[0]
		d.leave(out)
	}
	d.in[c] = true
	d.total++
	d.idle = append(d.idle, c)
	d.mu.Unlock()
	if out != nil {
		_ = out.Close()
	}
	return true
}

// leave forgets c; d.mu is held.
func (d *door) leave(c net.Conn) {
	if !d.in[c] {
		return
	}
	delete(d.in, c)
	d.total--
	d.busy(c)
}

// busy takes c off the idle; d.mu is held.
func (d *door) busy(c net.Conn) {
	for i, o := range d.idle {
		if o == c {
			d.idle = append(d.idle[:i], d.idle[i+1:]...)
			return
		}
	}
}

// wait puts c at the end of the idle; d.mu is held.
func (d *door) wait(c net.Conn) {
	d.busy(c)
	if d.in[c] {
		d.idle = append(d.idle, c)
	}
}

// state is http.Server.ConnState. A request whose header has come is not yet one
// that is worked at: works and waits say which is.
func (d *door) state(c net.Conn, s http.ConnState) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch s {
	case http.StateIdle:
		d.wait(c)
	case http.StateClosed, http.StateHijacked:
		d.leave(c)
	}
}

// connKey is the key of a request's connection in its context.
type connKey struct{}

// withConn is http.Server.ConnContext.
func withConn(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, connKey{}, c)
}

// works takes the connection of r off the idle: its request is being answered.
func (d *door) works(r *http.Request) {
	if c, ok := r.Context().Value(connKey{}).(net.Conn); ok {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.busy(c)
	}
}

// waits puts it among them again: more of its request is waited for.
func (d *door) waits(r *http.Request) {
	if c, ok := r.Context().Value(connKey{}).(net.Conn); ok {
		d.mu.Lock()
		defer d.mu.Unlock()
		d.wait(c)
	}
}
