package console

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// from dials the console from an address of this machine's own.
func from(s *Server, source string) (net.Conn, error) {
	d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.ParseIP(source)}, Timeout: 10 * time.Second}
	return d.Dial("tcp", s.door.Addr().String())
}

// stopFrom asks one stop on a connection of its own, once.
func stopFrom(s *Server, source string) (status int, err error) {
	c, err := from(s, source)
	if err != nil {
		return 0, err
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(20 * time.Second))
	const body = `{"ask":"stop"}`
	fmt.Fprintf(c, "POST /ask HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n%s", s.door.Addr(), len(body), body)
	res, err := http.ReadResponse(bufio.NewReader(c), nil)
	if err != nil {
		return 0, err
	}
	defer res.Body.Close()
	return res.StatusCode, nil
}

// pipelines keeps a connection from source at work without a pause, and comes again
// when it is shown out, until stop is closed.
func pipelines(s *Server, source string, stop <-chan struct{}) {
	for {
		select {
		case <-stop:
			return
		default:
		}
		c, err := from(s, source)
		if err != nil {
			continue
		}
		many := strings.Repeat(fmt.Sprintf("GET /icon.svg HTTP/1.1\r\nHost: %s\r\n\r\n", s.door.Addr()), 40)
		go func() { <-stop; _ = c.Close() }()
		go func() { _, _ = io.Copy(io.Discard, c) }()
		for err == nil {
			_, err = io.WriteString(c, many)
		}
		_ = c.Close()
		time.Sleep(200 * time.Millisecond)
	}
}

// One address, or three together, that keep as many connections at work as there are
// places keep no stop of another address out: each comes through at its first try.
func TestAFloodKeepsNoOthersStopOut(t *testing.T) {
	t.Parallel()
	for what, sources := range map[string][]string{
		"one address":     {"127.0.0.2"},
		"three addresses": {"127.0.0.2", "127.0.0.3", "127.0.0.4"},
	} {
		s, _ := serving(t, nil)
		stop := make(chan struct{})
		var all sync.WaitGroup
		for i := range maxConns + 8 {
			all.Go(func() { pipelines(s, sources[i%len(sources)], stop) })
		}
		full := min(maxConns, maxEach*len(sources))
		for end := time.Now().Add(20 * time.Second); busyIn(s) < full && time.Now().Before(end); {
			time.Sleep(5 * time.Millisecond)
		}
		inside, through := busyIn(s), atomic.Int64{}
		var tries sync.WaitGroup
		for range 25 {
			tries.Go(func() {
				for range 4 {
					if got, err := stopFrom(s, "127.0.0.1"); err != nil || got != http.StatusAccepted {
						t.Errorf("%s: a stop beside it: status %d, %v", what, got, err)
					} else {
						through.Add(1)
					}
				}
			})
		}
		tries.Wait()
		t.Logf("%s: %d of 100 stops at their first try, beside %d connections at work", what, through.Load(), inside)
		if inside < full*9/10 {
			t.Errorf("%s: only %d connections were at work", what, inside)
		}
		close(stop)
		all.Wait()
	}
}

// busyIn is how many connections are at work.
func busyIn(s *Server) int {
	s.door.mu.Lock()
	defer s.door.mu.Unlock()
	return len(s.door.in) - len(s.door.idle)
}
