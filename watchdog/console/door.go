package console

import (
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
	idle  []net.Conn // new or between two requests, the longest waiting first
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

// state is http.Server.ConnState.
func (d *door) state(c net.Conn, s http.ConnState) {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch s {
	case http.StateActive:
		d.busy(c)
	case http.StateIdle:
		if d.in[c] {
			d.idle = append(d.idle, c)
		}
	case http.StateClosed, http.StateHijacked:
		d.leave(c)
	}
}
