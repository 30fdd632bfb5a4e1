package console

import (
	"context"
	"crypto/tls"
	"embed"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"sync"
	"time"
)

// Options of a console.
type Options struct {
	Listen string      // address and port
	Token  string      // what start and reset need; empty: nobody can
	TLS    *tls.Config // what it is encrypted with; nil: it is not
	Site   Site
	Now    func() time.Duration // session instant; the screens are shown by it
	// Ask takes an operator's request, as it stands on the broker, to the loop of a
	// vehicle. It must return at once.
	Ask func(vehicle int, request []byte)
	Say func(text string) // tells a person; must return at once
	// Sessions lists past sessions, Report gives the page of one; nil: there is no
	// looking back here.
	Sessions func() ([]Session, error)
	Report   func(ctx context.Context, id string) ([]byte, error)
}

// Server is a console that listens.
type Server struct {
	opt   Options
	hub   *hub
	door  *door
	http  http.Server
	limit limits
	halts []*halter // two a vehicle: stop, land
	busy  chan struct{}
	stop  chan struct{}
	all   sync.WaitGroup
	once  sync.Once
	base  context.Context
	end   context.CancelFunc
}

//go:embed page
var page embed.FS

// CheckToken says why a word cannot be the token.
func CheckToken(word string) error {
	if len(word) < minToken || len(word) > maxToken {
		return fmt.Errorf("the token has %d bytes, and must have %d to %d; make one with: openssl rand -hex 16", len(word), minToken, maxToken)
	}
	for i := range len(word) {
		if word[i] <= ' ' || word[i] > '~' {
			return errors.New("the token holds a space or something that is no plain letter, digit or sign; make one with: openssl rand -hex 16")
		}
	}
	return nil
}

// Listen takes the address; nobody is answered before Serve.
func Listen(o Options) (*Server, error) {
	if o.Token != "" {
		if err := CheckToken(o.Token); err != nil {
			return nil, err
		}
	}
	inner, err := net.Listen("tcp", o.Listen)
	if err != nil {
		return nil, fmt.Errorf("the console cannot listen: %w; name another listen in [console], or end what has it", err)
	}
	o.Site.MayMove, o.Site.Reports = o.Token != "", o.Sessions != nil && o.Report != nil
	s := &Server{opt: o, hub: newHub(o.Site, o.Now), door: newDoor(inner), limit: newLimits(),
		busy: make(chan struct{}, 1), stop: make(chan struct{})}
	for i := range o.Site.Vehicles {
		s.halts = append(s.halts, newHalter(i, o.Ask), newHalter(i, o.Ask))
	}
	s.base, s.end = context.WithCancel(context.Background())
	s.http = http.Server{
		Handler: s.handler(), ConnState: s.door.state, MaxHeaderBytes: maxHeader,
		ReadHeaderTimeout: readIn, ReadTimeout: readIn, WriteTimeout: answerIn, IdleTimeout: idleFor,
		ConnContext: withConn,
		BaseContext: func(net.Listener) context.Context { return s.base },
		// One request after the other on a connection, which the door counts.
		TLSNextProto: map[string]func(*http.Server, *tls.Conn, http.Handler){},
		ErrorLog:     log.New(io.Discard, "", 0), // whoever is at the other end must not fill the log
	}
	return s, nil
}

// Address is where the page is, as a browser takes it.
func (s *Server) Address() string {
	scheme := "http://"
	if s.opt.TLS != nil {
		scheme = "https://"
	}
	return scheme + s.door.Addr().String() + "/"
}

// Screen is what vehicle i's loop shows itself on; nil of a nil Server.
func (s *Server) Screen(i int) *Screen {
	if s == nil {
		return nil
	}
	return s.hub.screens[i]
}

// Line shows a line among the events. It does not wait for a browser.
func (s *Server) Line(l Line) {
	if s != nil {
		s.hub.say(l)
	}
}

// SetSite takes a site that came into force while running; its vehicles are the
// same.
func (s *Server) SetSite(site Site) {
	if s == nil || len(site.Vehicles) != len(s.opt.Site.Vehicles) {
		return
	}
	site.MayMove, site.Reports = s.opt.Site.MayMove, s.opt.Site.Reports
	s.hub.setSite(site)
}

// Serve begins to answer, in goroutines of its own.
func (s *Server) Serve() {
	if s == nil {
		return
	}
	s.all.Go(func() { s.hub.run(s.stop, s.opt.Say) })
	s.all.Go(func() {
		var at net.Listener = s.door // which sees connections as they come, encrypted or not
		if s.opt.TLS != nil {
			at = tls.NewListener(s.door, s.opt.TLS)
		}
		if err := s.http.Serve(at); !errors.Is(err, http.ErrServerClosed) {
			s.opt.Say("the console answers nobody any more: " + err.Error())
		}
	})
}

// Close ends the console at once; every page turns grey.
func (s *Server) Close() {
	if s == nil {
		return
	}
	s.once.Do(func() {
		close(s.stop)
		s.end()
		_ = s.http.Close() // what was being sent is of no use any more
		_ = s.door.Close() // where it never served
		for _, h := range s.halts {
			h.close()
		}
	})
	s.all.Wait()
}
