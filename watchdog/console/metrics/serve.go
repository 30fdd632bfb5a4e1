package metrics

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"strings"
	"time"

	"golang.org/x/net/netutil"
)

const (
	// aliveWithin is how long ago a loop may have judged last to count as
	// alive: it judges ten times as often even where no pose comes.
	aliveWithin = time.Second
	// readers is how many may read at once; more are sent away.
	readers = 4
	// connections is how many may be open at once; more wait to be taken. Each costs
	// a file, and with none left there is no way back to the broker.
	connections = 16
	// patience bounds what one reader may take.
	patience = 5 * time.Second
)

// Handler answers /metrics, /healthz and /readyz.
func (m *Set) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", http.TimeoutHandler(m.few(), patience, "the metrics were not read in time\n"))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { answer(w, m.dead()) })
	mux.HandleFunc("GET /readyz", func(w http.ResponseWriter, _ *http.Request) { answer(w, append(m.dead(), m.missing()...)) })
	return mux
}

// few answers no more than so many readers at once.
func (m *Set) few() http.HandlerFunc {
	places := make(chan struct{}, readers)
	return func(w http.ResponseWriter, _ *http.Request) {
		select {
		case places <- struct{}{}:
			defer func() { <-places }()
		default:
			http.Error(w, "too many read at once; try again later", http.StatusServiceUnavailable)
			return
		}
		w.Header().Set("Content-Type", contentType)
		_, _ = w.Write(m.text()) // a reader that is gone
	}
}

func answer(w http.ResponseWriter, wrong []string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if len(wrong) == 0 {
		fmt.Fprintln(w, "ok")
		return
	}
	w.WriteHeader(http.StatusServiceUnavailable)
	fmt.Fprintln(w, strings.Join(wrong, "\n"))
}

// dead names the vehicles whose loop has not judged lately.
func (m *Set) dead() (wrong []string) {
	for i := range m.vehicles {
		v := &m.vehicles[i]
		switch at := v.beat.Load(); {
		case at == 0:
			wrong = append(wrong, v.name+": its loop has not judged yet")
		case m.now()-time.Duration(at) > aliveWithin:
			wrong = append(wrong, fmt.Sprintf("%s: its loop has not judged for %.1f s", v.name, (m.now()-time.Duration(at)).Seconds()))
		}
	}
	return wrong
}

// missing names what keeps the guard from permitting anything.
func (m *Set) missing() (wrong []string) {
	for i := range m.vehicles {
		v := &m.vehicles[i]
		if !v.link.Load() {
			wrong = append(wrong, v.name+": no link to the broker")
		}
	}
	if !m.trail().OK {
		wrong = append(wrong, "the trail cannot be written")
	}
	return wrong
}

// Serve answers on addr until the returned function is called. What cannot be
// answered there is an error at once.
func (m *Set) Serve(addr string) (at string, stop func(), err error) {
	l, err := net.Listen("tcp", addr)
	if err != nil {
		return "", nil, fmt.Errorf("metrics: cannot listen on %s: %w; give another address as listen in [metrics], or end what listens there", addr, err)
	}
	l = netutil.LimitListener(l, connections)
	s := &http.Server{Handler: m.Handler(), ReadTimeout: patience, WriteTimeout: 2 * patience, IdleTimeout: time.Minute, MaxHeaderBytes: 8 << 10}
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := s.Serve(l); err != nil && !errors.Is(err, http.ErrServerClosed) {
			_ = l.Close() // readers see it closed; the guard does not hang on it
		}
	}()
	return l.Addr().String(), func() {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		if s.Shutdown(ctx) != nil {
			_ = s.Close() // a reader held on; it is cut off
		}
		<-done
	}, nil
}
