package console

import (
	"context"
	"crypto/tls"
	"net"
	"net/http"
	"slices"
	"sync"
)

// door is a listener that lets in at most maxConns at once, of one address maxEach,
// and no more than comeRate a second. Where there are as many, one that has been
// doing nothing is shown out, of the address that has the most before any other and
// the longest waiting first, so that no crowd keeps a stop out; and where all are at
// work, one of an address that has more than the one that comes. Who watches stays.
type door struct {
	net.Listener
	mu    sync.Mutex
	idle  []net.Conn // new, between two requests or within one that is not whole yet, the longest waiting first
	in    map[net.Conn]*guest
	each  map[string]int // connections of an address
	comes *perAddress
}

// guest is one connection that is inside.
type guest struct {
	host  string
	stays bool // it watches
}

func newDoor(inner net.Listener) *door {
	return &door{Listener: inner, in: map[net.Conn]*guest{}, each: map[string]int{}, comes: newPerAddress(comeRate, comeBurst)}
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
	host, _, _ := net.SplitHostPort(c.RemoteAddr().String())
	d.mu.Lock()
	out, ok := d.room(host)
	if out != nil {
		d.leave(out)
	}
	if ok {
		d.in[c] = &guest{host: host}
		d.each[host]++
		d.idle = append(d.idle, c)
	}
	d.mu.Unlock()
	if out != nil {
		_ = out.Close()
	}
	return ok
}

// room says whether one more of host may come in, and who goes out for it; d.mu is
// held.
func (d *door) room(host string) (out net.Conn, ok bool) {
	if d.each[host] >= maxEach {
		out = d.idlest(host)
		return out, out != nil
	}
	if len(d.in) < maxConns {
		return nil, true
	}
	most := host
	for h, n := range d.each {
		if n > d.each[most] {
			most = h
		}
	}
	if out = d.idlest(most); out == nil {
		if i := slices.IndexFunc(d.idle, func(c net.Conn) bool { return d.each[d.in[c].host] > d.each[host] }); i >= 0 {
			out = d.idle[i]
		}
	}
	if out == nil && d.each[most] > d.each[host]+1 {
		out = d.working(most)
	}
	if out == nil { // nobody goes for one of an address that has more
		out = d.idlest(host)
	}
	return out, out != nil
}

// working is one of host that is at work and does not watch; d.mu is held.
func (d *door) working(host string) net.Conn {
	for c, g := range d.in {
		if g.host == host && !g.stays {
			return c
		}
	}
	return nil
}

// idlest is who of host has been doing nothing for the longest; d.mu is held.
func (d *door) idlest(host string) net.Conn {
	for _, c := range d.idle {
		if d.in[c].host == host {
			return c
		}
	}
	return nil
}

// leave forgets c; d.mu is held.
func (d *door) leave(c net.Conn) {
	g := d.in[c]
	if g == nil {
		return
	}
	if d.each[g.host]--; d.each[g.host] == 0 {
		delete(d.each, g.host)
	}
	d.busy(c)
	delete(d.in, c)
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
	if d.in[c] != nil {
		d.idle = append(d.idle, c)
	}
}

// state is http.Server.ConnState. A request whose header has come is not yet one
// that is worked at: works and waits say which is.
func (d *door) state(c net.Conn, s http.ConnState) {
	c = bare(c)
	d.mu.Lock()
	defer d.mu.Unlock()
	switch s {
	case http.StateIdle:
		d.wait(c)
	case http.StateClosed, http.StateHijacked:
		d.leave(c)
	}
}

// bare is the connection as the door let it in.
func bare(c net.Conn) net.Conn {
	if t, ok := c.(*tls.Conn); ok {
		return t.NetConn()
	}
	return c
}

// connKey is the key of a request's connection in its context.
type connKey struct{}

// withConn is http.Server.ConnContext.
func withConn(ctx context.Context, c net.Conn) context.Context {
	return context.WithValue(ctx, connKey{}, bare(c))
}

// works takes the connection of r off the idle: its request is being answered.
func (d *door) works(r *http.Request) { d.of(r, d.busy) }

// waits puts it among them again: more of its request is waited for.
func (d *door) waits(r *http.Request) { d.of(r, d.wait) }

// stays keeps it, which watches, until it goes by itself.
func (d *door) stays(r *http.Request) {
	d.of(r, func(c net.Conn) {
		if g := d.in[c]; g != nil {
			g.stays = true
		}
	})
}

// of does something with the connection of r, d.mu held.
func (d *door) of(r *http.Request, do func(net.Conn)) {
	if c, ok := r.Context().Value(connKey{}).(net.Conn); ok {
		d.mu.Lock()
		defer d.mu.Unlock()
		do(c)
	}
}
