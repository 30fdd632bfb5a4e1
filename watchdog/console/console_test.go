package console

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/watchdog/link/wire"
)

const token = "a-token-of-the-test-alone"

// asks keeps what was asked.
type asks struct {
	mu  sync.Mutex
	all []string
	at  []time.Time
}

func (a *asks) put(vehicle int, request []byte) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.all, a.at = append(a.all, fmt.Sprintf("%d %s", vehicle, request)), append(a.at, time.Now())
}

func (a *asks) take() []string {
	a.mu.Lock()
	defer a.mu.Unlock()
	out := a.all
	a.all = nil
	return out
}

func testSite() Site {
	return Site{Name: "Test hall", Session: "s1", Vehicles: []Vehicle{
		{Name: "wren", Kind: "multirotor", Judged: []string{"cage"}}, {Name: "mole", Kind: "rover"}}}
}

func serving(t *testing.T, change func(*Options)) (*Server, *asks) {
	t.Helper()
	a, begun := &asks{}, time.Now()
	o := Options{Listen: "127.0.0.1:0", Token: token, Site: testSite(), Now: func() time.Duration { return time.Since(begun) },
		Ask: a.put, Say: func(text string) { t.Log(text) }}
	if change != nil {
		change(&o)
	}
	s, err := Listen(o)
	if err != nil {
		t.Fatal(err)
	}
	s.Serve()
	t.Cleanup(s.Close)
	return s, a
}

// send sends one request, on a connection of its own.
func send(t *testing.T, s *Server, method, path, body string, headers ...string) (int, string, http.Header) {
	t.Helper()
	r, err := http.NewRequest(method, strings.TrimSuffix(s.Address(), "/")+path, strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Close = true
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		if headers[i] == "Host" {
			r.Host = headers[i+1]
			continue
		}
		r.Header.Set(headers[i], headers[i+1])
	}
	res, err := http.DefaultTransport.RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatal(err)
	}
	return res.StatusCode, string(b), res.Header
}

func TestWhatIsRefused(t *testing.T) {
	t.Parallel()
	s, a := serving(t, nil)
	port := s.door.Addr().(*net.TCPAddr).Port
	const stop, start = `{"ask":"stop"}`, `{"ask":"start","vehicle":"mole","nonce":"n"}`
	bearer := "Bearer " + token
	for _, c := range []struct {
		what, method, path, body string
		headers                  []string
		want                     int
	}{
		{"a name that points here", "GET", "/", "", []string{"Host", "example.org"}, 403},
		{"the right name at another port", "GET", "/", "", []string{"Host", "127.0.0.1:1"}, 403},
		{"another address of this machine", "GET", "/", "", []string{"Host", fmt.Sprintf("127.0.0.2:%d", port)}, 403},
		{"localhost", "GET", "/", "", []string{"Host", fmt.Sprintf("localhost:%d", port)}, 200},
		{"a stop from elsewhere", "POST", "/ask", stop, []string{"Origin", "http://example.org"}, 403},
		{"an origin that is none", "POST", "/ask", stop, []string{"Origin", "null"}, 403},
		{"the own origin by another scheme's port", "POST", "/ask", stop, []string{"Origin", "http://127.0.0.1"}, 403},
		{"a stream for elsewhere", "GET", "/live", "", []string{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors"}, 403},
		{"framed elsewhere", "GET", "/", "", []string{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "iframe"}, 403},
		{"a link from elsewhere", "GET", "/", "", []string{"Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "document"}, 200},
		{"a form", "POST", "/ask", "ask=stop", []string{"Content-Type", "application/x-www-form-urlencoded"}, 415},
		{"plain text", "POST", "/ask", stop, []string{"Content-Type", "text/plain"}, 415},
		{"no JSON", "POST", "/ask", "stop", nil, 400},
		{"an unknown key", "POST", "/ask", `{"ask":"stop","now":true}`, nil, 400},
		{"two at once", "POST", "/ask", stop + stop, nil, 400},
		{"an unknown word", "POST", "/ask", `{"ask":"fly"}`, nil, 400},
		{"an unknown vehicle", "POST", "/ask", `{"ask":"stop","vehicle":"crow"}`, nil, 404},
		{"a large body", "POST", "/ask", `{"by":"` + strings.Repeat("x", 4000) + `"}`, nil, 413},
		{"a long nonce", "POST", "/ask", `{"ask":"start","vehicle":"mole","nonce":"` + strings.Repeat("x", 65) + `"}`, []string{"Authorization", bearer}, 400},
		{"asked by GET", "GET", "/ask", "", nil, 405},
		{"a start without token", "POST", "/ask", start, nil, 401},
		{"the token as a cookie", "POST", "/ask", start, []string{"Cookie", "Authorization=" + token}, 401},
		{"the token in another scheme", "POST", "/ask", start, []string{"Authorization", "Basic " + token}, 401},
		{"a wrong token", "POST", "/ask", start, []string{"Authorization", bearer + "x"}, 403},
		{"a start of all", "POST", "/ask", `{"ask":"start"}`, []string{"Authorization", bearer}, 400},
		{"no such page", "GET", "/console.go", "", nil, 404},
		{"its folder", "GET", "/uplot/", "", nil, 404},
		{"the licence, which is not asked for", "GET", "/uplot/LICENSE", "", nil, 404},
		{"no looking back", "GET", "/sessions", "", nil, 404},
	} {
		got, body, h := send(t, s, c.method, c.path, c.body, c.headers...)
		if got != c.want {
			t.Errorf("%s: status %d, want %d: %s", c.what, got, c.want, body)
		}
		if p := h.Get("Content-Security-Policy"); !strings.Contains(p, "default-src 'none'") || strings.Contains(p, "unsafe") {
			t.Errorf("%s: policy %q", c.what, p)
		}
	}
	if got := a.take(); len(got) != 0 {
		t.Errorf("asked for all that: %q", got)
	}
}

// What is asked is the very message of the broker, and a stop needs no token.
func TestWhatIsAsked(t *testing.T) {
	s, a := serving(t, nil)
	for _, c := range []struct {
		body string
		want []string
	}{
		{`{"ask":"stop","nonce":"old"}`, []string{`0 {"ask":"stop","by":"console","nonce":""}`, `1 {"ask":"stop","by":"console","nonce":""}`}},
		{`{"ask":"land","vehicle":"wren","by":"hall lead"}`, []string{`0 {"ask":"land","by":"hall lead at the console","nonce":""}`}},
		{`{"ask":"reset","vehicle":"mole","nonce":"12ab"}`, []string{`1 {"ask":"reset","by":"console","nonce":"12ab"}`}},
		{`{"ask":"start","vehicle":"mole","nonce":"12ab","retrieve":true}`, []string{`1 {"ask":"start","by":"console","nonce":"12ab","retrieve":true}`}},
	} {
		var headers []string
		if !strings.Contains(c.body, "stop") && !strings.Contains(c.body, "land") {
			headers = []string{"Authorization", "Bearer " + token}
		}
		if got, body, _ := send(t, s, "POST", "/ask", c.body, headers...); got != http.StatusAccepted {
			t.Errorf("%s: status %d: %s", c.body, got, body)
		}
		got := a.take()
		if strings.Join(got, "\n") != strings.Join(c.want, "\n") {
			t.Errorf("%s asked\n%q, want\n%q", c.body, got, c.want)
		}
		for _, m := range got {
			if _, err := wire.DecodeRequest([]byte(m[2:])); err != nil {
				t.Errorf("%s: %v", m, err)
			}
		}
	}
}

// Whatever somebody is called, a stop is asked, and the trail says where from.
func TestNoNameKeepsAStopOut(t *testing.T) {
	for _, name := range []string{strings.Repeat("Ж", 30), strings.Repeat("漢", 30), strings.Repeat("x", 300), strings.Repeat("\u202e", 30), strings.Repeat(`"`, 40), "\xff", "\x1b[2J"} {
		s, a := serving(t, nil)
		body, err := json.Marshal(map[string]string{"ask": "stop", "vehicle": "mole", "by": name, "nonce": strings.Repeat("n", 100)})
		if err != nil {
			t.Fatal(err)
		}
		got, said, _ := send(t, s, "POST", "/ask", string(body))
		all := a.take()
		if got != http.StatusAccepted || len(all) != 1 {
			t.Errorf("%.20q: status %d, %s, asked %q", name, got, said, all)
			continue
		}
		r, err := wire.DecodeRequest([]byte(all[0][2:]))
		if err != nil || r.Ask != wire.Stop || !strings.HasSuffix(r.By, " at the console") {
			t.Errorf("%.20q: %+v, %v", name, r, err)
		}
	}
}

func TestGuessingTheTokenIsHeldUp(t *testing.T) {
	t.Parallel()
	s, a := serving(t, nil)
	const start = `{"ask":"start","vehicle":"mole","nonce":"n"}`
	var held atomic.Int64
	var all sync.WaitGroup
	for i := range 3 * guessBurst {
		all.Go(func() {
			if got, _, _ := send(t, s, "POST", "/ask", start, "Authorization", fmt.Sprintf("Bearer guess-number-%d", i)); got == http.StatusTooManyRequests {
				held.Add(1)
			}
		})
	}
	all.Wait()
	if held.Load() < guessBurst {
		t.Errorf("%d of %d guesses were held up", held.Load(), 3*guessBurst)
	}
	s.limit.guesses.of("127.0.0.1:1").SetBurst(0)
	if got, _, _ := send(t, s, "POST", "/ask", start, "Authorization", "Bearer "+token); got != http.StatusTooManyRequests {
		t.Errorf("the right token among the guesses: status %d", got)
	}
	if len(a.take()) != 0 {
		t.Error("a guess started something")
	}
	if got, _, _ := send(t, s, "POST", "/ask", `{"ask":"stop"}`); got != http.StatusAccepted || len(a.take()) != 2 {
		t.Errorf("a stop meanwhile: status %d", got)
	}
}

func TestWithoutTokenNobodyStarts(t *testing.T) {
	t.Parallel()
	s, a := serving(t, func(o *Options) { o.Token = "" })
	for _, word := range []string{"", "x", token} {
		if got, _, _ := send(t, s, "POST", "/ask", `{"ask":"start","vehicle":"mole"}`, "Authorization", "Bearer "+word); got != http.StatusForbidden {
			t.Errorf("with %q: status %d", word, got)
		}
	}
	if len(a.take()) != 0 {
		t.Error("something was started")
	}
	for _, bad := range []string{"short", strings.Repeat("x", 300), "with a space in it, long", "with-a-new\nline-in-it-long", "täglich-eine-neue-losung"} {
		if CheckToken(bad) == nil {
			t.Errorf("%q is taken for a token", bad)
		}
		if _, err := Listen(Options{Listen: "127.0.0.1:0", Token: bad}); err == nil {
			t.Errorf("served with the token %q", bad)
		}
	}
}

// endless is a body without end that counts what is taken of it.
type endless struct{ n atomic.Int64 }

func (e *endless) Read(b []byte) (int, error) {
	if e.n.Load() > 1<<30 {
		return 0, io.EOF
	}
	for i := range b {
		b[i] = ' '
	}
	e.n.Add(int64(len(b)))
	return len(b), nil
}

func TestAGigabyteIsNotRead(t *testing.T) {
	t.Parallel()
	s, _ := serving(t, nil)
	body := &endless{}
	r, err := http.NewRequest("POST", s.Address()+"ask", body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	res, err := http.DefaultTransport.RoundTrip(r)
	if err == nil {
		res.Body.Close()
		if res.StatusCode != http.StatusRequestEntityTooLarge {
			t.Errorf("status %d", res.StatusCode)
		}
	}
	if n := body.n.Load(); n > 64<<20 {
		t.Errorf("%d MB went out before it was refused", n>>20)
	}
}

// raw sends bytes as they are, which no client of Go's would.
func raw(t *testing.T, s *Server, text string) string {
	t.Helper()
	c, err := net.Dial("tcp", s.door.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(10 * time.Second))
	fmt.Fprintf(c, text, s.door.Addr())
	b, _ := io.ReadAll(c)
	return string(b)
}

func TestNoPathLeadsElsewhere(t *testing.T) {
	asked := make(chan string, 20)
	s, _ := serving(t, func(o *Options) {
		o.Sessions = func() ([]Session, error) { return nil, nil }
		o.Report = func(_ context.Context, id string) ([]byte, error) { asked <- id; return nil, errors.New("none") }
	})
	show(s, false)
	for _, path := range []string{"/../server.go", "/uplot/../../server.go", "/..%%2fserver.go", "/%%2e%%2e/server.go", "//etc/passwd",
		"/sessions/../../etc/passwd", "/uplot/..%%2f..%%2fdoc.go", `/..\doc.go`, "/page/index.html", "/sessions/..%%2f..%%2fetc"} {
		got := raw(t, s, "GET "+path+" HTTP/1.1\r\nHost: %s\r\nConnection: close\r\n\r\n")
		if strings.HasPrefix(got, "HTTP/1.1 200") || strings.Contains(got, "package console") || strings.Contains(got, "root:") {
			t.Errorf("%s: %.200s", path, got)
		}
	}
	if got := raw(t, s, "GET / HTTP/1.1\r\nHost: %s\r\nX: "+strings.Repeat("x", 64<<10)+"\r\n\r\n"); !strings.HasPrefix(got, "HTTP/1.1 431") {
		t.Errorf("a header of 64 KB: %.80s", got)
	}
	close(asked)
	for id := range asked {
		if id != "../../etc" { // as it stands; whoever makes reports compares it with what is there
			t.Errorf("a report was asked of %q", id)
		}
	}
}
