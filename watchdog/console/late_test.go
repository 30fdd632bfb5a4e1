package console

import (
	"fmt"
	"io"
	"log"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/watchdog/console/browsertest"
)

// lateBody gives what a body holds by so much later; like a way that keeps what it
// carries, it loses nothing and keeps the order.
type lateBody struct {
	io.Reader
	inner io.Closer
}

func (l lateBody) Close() error { return l.inner.Close() }

func late(body io.ReadCloser, by *atomic.Int64) io.ReadCloser {
	type part struct {
		due  time.Time
		data []byte
	}
	parts := make(chan part, 1<<12)
	r, w := io.Pipe()
	go func() {
		defer close(parts)
		for {
			b := make([]byte, 32<<10)
			n, err := body.Read(b)
			if n > 0 {
				parts <- part{time.Now().Add(time.Duration(by.Load())), b[:n]}
			}
			if err != nil {
				return
			}
		}
	}()
	go func() {
		for p := range parts {
			time.Sleep(time.Until(p.due))
			_, _ = w.Write(p.data) // where nobody reads any more the body has been closed, and ends
		}
		_ = w.Close()
	}()
	return lateBody{r, body}
}

// timed says which requests are held up; the page's files are not, so that it opens
// soon.
func timed(r *http.Request) bool { return r.URL.Path == "/live" || r.URL.Path == "/now" }

// lateProxy stands between a browser and s: what is asked is held up by there, what is
// answered by back, ns.
func lateProxy(t *testing.T, s *Server) (at string, there, back *atomic.Int64) {
	t.Helper()
	there, back = new(atomic.Int64), new(atomic.Int64)
	to, err := url.Parse(s.Address())
	if err != nil {
		t.Fatal(err)
	}
	p := &httputil.ReverseProxy{FlushInterval: -1, Rewrite: func(r *httputil.ProxyRequest) {
		if timed(r.In) {
			time.Sleep(time.Duration(there.Load()))
		}
		r.SetURL(to)
		r.Out.Host = to.Host
		r.Out.Header.Del("Origin")
	}, ModifyResponse: func(r *http.Response) error {
		if timed(r.Request) {
			r.Body = late(r.Body, back)
		}
		return nil
	}}
	p.ErrorLog = log.New(io.Discard, "", 0) // a page that gives up a question
	h := httptest.NewServer(p)
	t.Cleanup(func() { h.CloseClientConnections(); h.Close() })
	return h.URL, there, back
}

// keepShowing has vehicles that are fine as long as the test runs.
func keepShowing(t *testing.T, s *Server) {
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go func() {
		tick := time.NewTicker(FrameEvery)
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
				show(s, true)
			}
		}
	}()
}

// A page that gets everything late, evenly and from its first frame on, is never green:
// neither where the answers wait, nor where what is asked does, and it says so. Where
// the way is quick again it comes to life by itself, and where it grows slow it greys.
func TestLateFromTheFirstFrameIsNeverLive(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser some 15 s")
	}
	t.Parallel()
	s, _ := serving(t, nil)
	keepShowing(t, s)
	at, there, back := lateProxy(t, s)
	back.Store(int64(1500 * time.Millisecond))
	p := browsertest.Open(t, at, 1000, 700)
	const live, come = `document.body.dataset.word === "live"`, `document.getElementById("link").textContent.includes("may be too old")`
	const watched = `(() => { window.green = 0; new MutationObserver(() => { if (document.body.dataset.word === "live") window.green++; }).observe(document.body, { attributes: true }); return document.body.dataset.word !== "live"; })()`
	never := func(what string) {
		t.Helper()
		if !browsertest.Eval[bool](p, watched) {
			t.Errorf("%s: live at once", what)
		}
		p.Wait(what+": frames come", come, 20*time.Second)
		time.Sleep(2500 * time.Millisecond) // a question of its own is answered
		if n := browsertest.Eval[float64](p, "window.green"); n != 0 || browsertest.Eval[bool](p, live) {
			t.Errorf("%s: the page was green %v times", what, n)
		}
	}
	never("answers wait")
	agesAreBounded(t, p)
	back.Store(0)
	there.Store(int64(1500 * time.Millisecond))
	p.Again()
	never("questions wait")
	there.Store(0)
	p.Wait("live once the way is quick", live, 20*time.Second)
	back.Store(int64(1500 * time.Millisecond))
	p.Wait("grey once it is slow", `document.body.dataset.word === "lost" && document.getElementById("lost").textContent.startsWith("No word from the guard since ")`, 20*time.Second)
	time.Sleep(time.Second)
	if browsertest.Eval[bool](p, live) {
		t.Error("slow all along, and green again")
	}
	back.Store(0)
	p.Wait("live again", live, 20*time.Second)
	p.Quiet()
}

// agesAreBounded holds the bound of a frame's age, whatever the clocks do: it is told
// by the page's own script, with instants in ms, the guard's clock 5 s ahead.
func agesAreBounded(t *testing.T, p *browsertest.Page) {
	t.Helper()
	for _, c := range []struct {
		what, tells string
		made        float64 // s of the guard's
		now, wall   float64
		least, most float64 // of the bound, ms
	}{
		{"nothing told", ``, 6, 1000, 1000, 1e300, 0},
		{"a quick way", `a.tell("s", 6, 1000, 1000, 1010, 1010)`, 6.5, 1600, 1600, 100, 101},
		{"a slow question", `a.tell("s", 6.9, 1000, 1000, 1900, 1900)`, 6.9, 1900, 1900, 900, 901},
		{"a slow answer", `a.tell("s", 6, 1000, 1000, 1900, 1900)`, 6.9, 1900, 1900, 0, 1},
		{"the better of two", `a.tell("s", 6.9, 1000, 1000, 1900, 1900); a.tell("s", 7, 2000, 2000, 2010, 2010)`, 7.1, 2200, 2200, 100, 101},
		{"long ago", `a.tell("s", 6, 1000, 1000, 1010, 1010)`, 36.5, 31600, 31600, 1e300, 0},
		{"the clocks drift apart", `a.tell("s", 6, 1000, 1000, 1010, 1010)`, 25.9, 21000, 21000, 110, 120},
		{"another session", `a.tell("t", 6, 1000, 1000, 1010, 1010)`, 6.5, 1600, 1600, 1e300, 0},
		{"a new session", `a.tell("s", 6, 1000, 1000, 1010, 1010); a.begin("t")`, 6.5, 1600, 1600, 1e300, 0},
		{"the page slept", `a.tell("s", 6, 1000, 1000, 1010, 1010)`, 6.5, 1600, 11600, 1e300, 0},
		{"it slept while it asked", `a.tell("s", 16, 1000, 1000, 1010, 11010)`, 16.1, 1100, 11100, 1e300, 0},
		{"the guard's host slept", `a.tell("s", 6, 1000, 1000, 1010, 1010); a.tell("s", 6.5, 11500, 11500, 11510, 11510)`, 6.9, 12000, 12000, 100, 101},
		{"no number", `a.tell("s", null, 1000, 1000, 1010, 1010)`, 0.1, 1600, 1600, 1e300, 0},
	} {
		js := fmt.Sprintf(`import("./age.js").then(({ Ages }) => { const a = new Ages(); a.begin("s"); %s; const m = a.most(%g, %g, %g); return m === Infinity ? "none" : String(m); })`, c.tells, c.made, c.now, c.wall)
		said, got := browsertest.Eval[string](p, js), 0.0
		if c.least > c.most {
			if said != "none" {
				t.Errorf("%s: bounded by %s ms", c.what, said)
			}
			continue
		}
		if _, err := fmt.Sscan(strings.TrimSpace(said), &got); err != nil || got < c.least-1e-6 || got > c.most {
			t.Errorf("%s: bounded by %s ms, want %v to %v", c.what, said, c.least, c.most)
		}
	}
}
