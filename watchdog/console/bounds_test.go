package console

import (
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"strings"
	"testing"
	"time"
)

// The headers that a browser adds are held to what they say, and the machine's own
// name is taken whole.
func TestWhoIsFromElsewhere(t *testing.T) {
	t.Parallel()
	s, a := serving(t, nil)
	own, err := os.Hostname()
	if err != nil || own == "" {
		t.Fatalf("this machine has no name: %v", err)
	}
	addr := s.door.Addr().(*net.TCPAddr)
	navigates := []string{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "document"}
	for _, c := range []struct {
		what, method, path string
		headers            []string
		want               int
	}{
		{"an origin of another scheme", "POST", "/ask", []string{"Origin", "ftp://" + addr.String()}, 403},
		{"the own origin", "POST", "/ask", []string{"Origin", "http://" + addr.String()}, 202},
		{"another port of this machine", "POST", "/ask", []string{"Sec-Fetch-Site", "same-site"}, 403},
		{"a form of elsewhere that navigates", "POST", "/ask", navigates, 403},
		{"the own name", "GET", "/", []string{"Host", fmt.Sprintf("%s:%d", own, addr.Port)}, 200},
		{"the own name in the room", "GET", "/", []string{"Host", fmt.Sprintf("%s.local:%d", strings.ToUpper(own), addr.Port)}, 200},
		{"a name that begins with it", "GET", "/", []string{"Host", fmt.Sprintf("%s.example.org:%d", own, addr.Port)}, 403},
		{"the own name at another port", "GET", "/", []string{"Host", own + ":1"}, 403},
	} {
		body := ""
		if c.method == http.MethodPost {
			body = `{"ask":"stop"}`
		}
		got, said, _ := send(t, s, c.method, c.path, body, c.headers...)
		if asked := len(a.take()); got != c.want || (asked > 0) != (c.want == http.StatusAccepted) {
			t.Errorf("%s: status %d, want %d, asked %d: %s", c.what, got, c.want, asked, said)
		}
		time.Sleep(haltEvery)
	}
}

// Starts are bounded although the token is right, and each names its vehicle, also
// where there is but one.
func TestStartsAreBounded(t *testing.T) {
	t.Parallel()
	s, a := serving(t, func(o *Options) { o.Site.Vehicles = o.Site.Vehicles[:1] })
	bearer := []string{"Authorization", "Bearer " + token}
	if got, _, _ := send(t, s, "POST", "/ask", `{"ask":"start","nonce":"n"}`, bearer...); got != http.StatusBadRequest || len(a.take()) != 0 {
		t.Errorf("a start of nobody: status %d", got)
	}
	s.limit.motion.SetLimit(0) // nothing comes back while this runs
	for i := range motionBurst + 2 {
		want := http.StatusAccepted
		if i >= motionBurst {
			want = http.StatusTooManyRequests
		}
		if got, _, _ := send(t, s, "POST", "/ask", `{"ask":"start","vehicle":"wren","nonce":"n"}`, bearer...); got != want {
			t.Errorf("start %d: status %d, want %d", i, got, want)
		}
	}
	if n := len(a.take()); n != motionBurst {
		t.Errorf("%d starts were asked, want %d", n, motionBurst)
	}
	if got, _, _ := send(t, s, "POST", "/ask", `{"ask":"stop","retrieve":true}`); got != http.StatusAccepted {
		t.Errorf("a stop after them: status %d", got)
	}
	if all := a.take(); len(all) != 1 || strings.Contains(all[0], "retrieve") {
		t.Errorf("the stop is %q", all)
	}
}

// Whoever watches is not shown out for a crowd that does nothing.
func TestACrowdTakesNoViewersPlace(t *testing.T) {
	t.Parallel()
	s, _ := serving(t, nil)
	_, sc := stream(t, s)
	next(t, sc, "frame")
	for range maxConns + 20 {
		c, err := net.Dial("tcp", s.door.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
	}
	for range 10 {
		next(t, sc, "frame")
	}
}

// A request that does not come whole is given up.
func TestHalfARequestIsGivenUp(t *testing.T) {
	t.Parallel()
	s, _ := serving(t, nil)
	halves := []string{"GET / HTTP/1.1\r\nHost: ", "POST /ask HTTP/1.1\r\nHost: " + s.door.Addr().String() + "\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n{"}
	var all []net.Conn // both wait at once
	for _, half := range halves {
		c, err := net.Dial("tcp", s.door.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
		fmt.Fprint(c, half)
		all = append(all, c)
	}
	for i, c := range all {
		_ = c.SetReadDeadline(time.Now().Add(idleFor))
		if _, err := io.Copy(io.Discard, c); errors.Is(err, os.ErrDeadlineExceeded) {
			t.Errorf("%.10q keeps its place for %v", halves[i], idleFor)
		}
	}
}

// A site with other vehicles than the screens is not shown.
func TestASiteOfOthersIsNotTaken(t *testing.T) {
	s, _ := serving(t, nil)
	s.SetSite(Site{Name: "Elsewhere"})
	_, sc := stream(t, s)
	if got := next(t, sc, "site"); !strings.Contains(got, `"Test hall"`) {
		t.Errorf("the site: %s", got)
	}
	next(t, sc, "frame")
}
