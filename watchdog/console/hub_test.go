package console

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"net"
	"net/http"
	"os"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
)

// show puts a judged vehicle on every screen.
func show(s *Server, goes bool) {
	for _, v := range s.hub.screens {
		snap := watchdog.Snapshot{Judged: true, Go: goes, At: s.opt.Now()}
		v.Show(&wire.State{Go: goes, Level: "clear"}, &snap, s.opt.Now())
	}
}

func TestLookingBackWaitsForThePermit(t *testing.T) {
	t.Parallel()
	begun := make(chan bool, 1)
	s, _ := serving(t, func(o *Options) {
		o.Sessions = func() ([]Session, error) { return []Session{{ID: "one"}}, nil }
		o.Report = func(ctx context.Context, id string) ([]byte, error) {
			if id == "one" {
				return []byte("<p>the report"), nil
			}
			begun <- true
			<-ctx.Done()
			return nil, ctx.Err()
		}
	})
	if got, body, _ := send(t, s, "GET", "/sessions", ""); got != http.StatusConflict || !strings.Contains(body, "nothing is known yet") || strings.Contains(body, "a vehicle has a permit") {
		t.Errorf("before anything is known: status %d, %s", got, body)
	}
	show(s, true)
	if got, body, _ := send(t, s, "GET", "/sessions/one", ""); got != http.StatusConflict || !strings.Contains(body, "a vehicle has a permit") {
		t.Errorf("while a vehicle has a permit: status %d, %s", got, body)
	}
	show(s, false)
	if got, body, _ := send(t, s, "GET", "/sessions", ""); got != 200 || !strings.Contains(body, `"id":"one"`) {
		t.Errorf("the list: status %d, %s", got, body)
	}
	got, body, h := send(t, s, "GET", "/sessions/one", "")
	if got != 200 || body != "<p>the report" || !strings.HasPrefix(h.Get("Content-Security-Policy"), "sandbox allow-scripts;") {
		t.Errorf("the report: status %d, %s, %v", got, body, h)
	}
	go func() { <-begun; show(s, true) }()
	if got, body, _ := send(t, s, "GET", "/sessions/long", ""); got != http.StatusConflict || !strings.Contains(body, "given up") {
		t.Errorf("a report when a vehicle gets a permit: status %d, %s", got, body)
	}
}

// stream opens a stream and gives its lines.
func stream(t *testing.T, s *Server) (*http.Response, *bufio.Scanner) {
	t.Helper()
	r, err := http.NewRequest("GET", s.Address()+"live", nil)
	if err != nil {
		t.Fatal(err)
	}
	res, err := (&http.Transport{}).RoundTrip(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { res.Body.Close() })
	sc := bufio.NewScanner(res.Body)
	sc.Buffer(nil, 8<<20)
	return res, sc
}

// next is the data of the next event of a name.
func next(t *testing.T, sc *bufio.Scanner, name string) string {
	t.Helper()
	for sc.Scan() {
		if sc.Text() == "event: "+name && sc.Scan() {
			return strings.TrimPrefix(sc.Text(), "data: ")
		}
	}
	t.Fatalf("no event %s: %v", name, sc.Err())
	return ""
}

func TestManyWatchAndOneMoreIsToldSo(t *testing.T) {
	t.Parallel()
	s, _ := serving(t, nil)
	s.Line(Line{Text: "began"})
	var last *http.Response
	for range MaxViewers {
		res, sc := stream(t, s)
		if res.StatusCode != 200 {
			t.Fatalf("status %d", res.StatusCode)
		}
		if got := next(t, sc, "site"); !strings.Contains(got, `"Test hall"`) || strings.Contains(got, token) {
			t.Fatalf("the site: %s", got)
		}
		if got := next(t, sc, "lines"); !strings.Contains(got, "began") {
			t.Fatalf("the lines: %s", got)
		}
		if got := next(t, sc, "frame"); !strings.Contains(got, `"v":[null,null]`) {
			t.Fatalf("a frame of vehicles that were not shown yet: %s", got)
		}
		last = res
	}
	if res, _ := stream(t, s); res.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("one more than %d: status %d", MaxViewers, res.StatusCode)
	}
	if got, _, _ := send(t, s, "POST", "/ask", `{"ask":"stop"}`); got != http.StatusAccepted {
		t.Errorf("a stop while all watch: status %d", got)
	}
	last.Body.Close()
	for end := time.Now().Add(10 * time.Second); s.hub.watched.Load() == MaxViewers; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("a browser that went away keeps its place")
		}
	}
	if res, _ := stream(t, s); res.StatusCode != 200 {
		t.Errorf("after one went: status %d", res.StatusCode)
	}
}

// A browser that reads nothing is given up, and holds up nobody.
func TestAStuckBrowserIsGivenUp(t *testing.T) {
	t.Parallel()
	s, _ := serving(t, func(o *Options) { o.Site.Safety = strings.Repeat("words ", 1<<18) })
	d := net.Dialer{Control: func(_, _ string, c syscall.RawConn) error {
		return c.Control(func(fd uintptr) { _ = syscall.SetsockoptInt(int(fd), syscall.SOL_SOCKET, syscall.SO_RCVBUF, 4096) })
	}}
	stuck, err := d.Dial("tcp", s.door.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer stuck.Close()
	fmt.Fprintf(stuck, "GET /live HTTP/1.1\r\nHost: %s\r\n\r\n", s.door.Addr())
	for s.hub.watched.Load() == 0 {
		time.Sleep(5 * time.Millisecond)
	}
	_, sc := stream(t, s)
	next(t, sc, "site")
	begun := time.Now()
	for s.hub.watched.Load() > 1 {
		if time.Since(begun) > 20*frameWrite {
			t.Fatal("a browser that reads nothing keeps its place")
		}
		next(t, sc, "frame") // the other one goes on
	}
}

func TestIdleConnectionsKeepNoStopOut(t *testing.T) {
	t.Parallel()
	s, a := serving(t, nil)
	for range maxConns + 20 {
		c, err := net.Dial("tcp", s.door.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
	}
	if got, _, _ := send(t, s, "POST", "/ask", `{"ask":"stop"}`); got != http.StatusAccepted || len(a.take()) != 2 {
		t.Errorf("status %d", got)
	}
	s.door.mu.Lock()
	defer s.door.mu.Unlock()
	all := 0
	for _, n := range s.door.each {
		all += n
	}
	if len(s.door.in) > maxEach || len(s.door.in) != all {
		t.Errorf("%d connections are inside, %d by address; at most %d", len(s.door.in), all, maxEach)
	}
}

// Nor does a crowd of requests whose bodies never come, whatever they ask for.
func TestSlowBodiesKeepNoStopOut(t *testing.T) {
	t.Parallel()
	for _, head := range []string{"POST /ask HTTP/1.1\r\nContent-Type: application/json", "POST /ask HTTP/1.1", "GET /icon.svg HTTP/1.1", "GET / HTTP/1.1\r\nOrigin: http://example.org"} {
		s, a := serving(t, nil)
		for range maxConns {
			c, err := net.Dial("tcp", s.door.Addr().String())
			if err != nil {
				t.Fatal(err)
			}
			defer c.Close()
			fmt.Fprintf(c, "%s\r\nHost: %s\r\nContent-Length: 100\r\n\r\n{", head, s.door.Addr())
		}
		time.Sleep(2 * tarpit) // all of them are waited for
		r, err := http.NewRequest("POST", s.Address()+"ask", strings.NewReader(`{"ask":"stop"}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		res, err := (&http.Transport{DisableKeepAlives: true}).RoundTrip(r)
		if err != nil {
			t.Errorf("%q: a stop beside them: %v", head, err)
			continue
		}
		res.Body.Close()
		if res.StatusCode != http.StatusAccepted || len(a.take()) != 2 {
			t.Errorf("%q: a stop beside them: status %d", head, res.StatusCode)
		}
	}
}

// What is refused costs as much of the rate as what is not.
func TestAFloodOfWhatIsRefusedIsHeldUp(t *testing.T) {
	t.Parallel()
	for what, headers := range map[string][]string{
		"from elsewhere": {"Origin", "http://example.org"},
		"plain text":     {"Content-Type", "text/plain"},
		"no JSON":        {"Content-Type", "application/json"},
	} {
		s, _ := serving(t, nil)
		s.limit.ordinary.SetLimit(0)
		s.limit.ordinary.SetBurst(0)
		begun := time.Now()
		if got, _, _ := send(t, s, "POST", "/ask", "no", headers...); got < 400 || got >= 500 || time.Since(begun) < tarpit {
			t.Errorf("%s: status %d after %v, while too much is asked", what, got, time.Since(begun))
		}
	}
}

// However many stops are asked, each comes to one that is judged after it was
// asked, and the judgement gets no more than one in haltEvery.
func TestAFloodOfStopsReachesTheJudgementBounded(t *testing.T) {
	a := &asks{}
	h := newHalter(1, a.put)
	begun := time.Now()
	var last time.Time
	n := 0
	for ; time.Since(begun) < 5*haltEvery; n++ {
		last = time.Now()
		h.ask([]byte("stop"))
	}
	time.Sleep(3 * haltEvery)
	a.mu.Lock()
	defer a.mu.Unlock()
	took := a.at[len(a.at)-1].Sub(begun)
	if most := int(took/haltEvery) + 2; len(a.at) < 2 || len(a.at) > most {
		t.Errorf("%d stops were asked in %v, %d reached the judgement, at most %d may", n, took, len(a.at), most)
	}
	if a.at[0].Sub(begun) > haltEvery/2 && n > 1000 {
		t.Errorf("the first waited for %v", a.at[0].Sub(begun))
	}
	if a.at[len(a.at)-1].Before(last) {
		t.Error("the last stop that was asked is not followed by one that is judged")
	}
}

func TestAFloodOfRequestsIsHeldUp(t *testing.T) {
	t.Parallel()
	s, a := serving(t, nil)
	var wg sync.WaitGroup
	var mu sync.Mutex
	got := map[int]int{}
	c := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 20}}
	defer c.CloseIdleConnections()
	for range 20 {
		wg.Go(func() {
			for range 40 {
				res, err := c.Get(s.Address() + "icon.svg")
				if err != nil {
					continue
				}
				_, _ = io.Copy(io.Discard, res.Body) // so that the connection is used again
				res.Body.Close()
				mu.Lock()
				got[res.StatusCode]++
				mu.Unlock()
			}
		})
	}
	for range 5 {
		if status, _, _ := send(t, s, "POST", "/ask", `{"ask":"stop"}`); status != http.StatusAccepted {
			t.Errorf("a stop in the flood: status %d", status)
		}
	}
	wg.Wait()
	if got[429] == 0 || got[200] == 0 || len(got) != 2 {
		t.Errorf("statuses %v", got)
	}
	if len(a.take()) < 2 {
		t.Error("no stop came through")
	}
}

// Who comes too often is turned away at the door, and nobody else.
func TestComingTooOftenIsTurnedAway(t *testing.T) {
	t.Parallel()
	s, _ := serving(t, nil)
	away := 0
	for range 2 * comeBurst {
		c, err := net.Dial("tcp", s.door.Addr().String())
		if err != nil {
			away++
			continue
		}
		_ = c.SetReadDeadline(time.Now().Add(2 * time.Millisecond))
		if _, err := c.Read(make([]byte, 1)); err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
			away++
		}
		c.Close()
	}
	if away < 10 {
		t.Errorf("%d of %d were turned away", away, 2*comeBurst)
	}
	if !s.door.comes.of("192.0.2.1:1").Allow() {
		t.Error("another address is turned away too")
	}
	p := newPerAddress(1, 1)
	for i := range addresses + 50 {
		p.of(fmt.Sprintf("198.51.%d.%d:1", i/256, i%256)).Allow()
	}
	if len(p.all) > addresses+1 || p.of("203.0.113.1:1") != p.all["others"] {
		t.Errorf("%d addresses are told apart", len(p.all))
	}
}

// A frame holds the state as on the broker, and nothing that is not a number.
func TestFrame(t *testing.T) {
	site := testSite()
	h := newHub(site, func() time.Duration { return time.Second })
	inf := math.Inf(-1)
	nan := math.NaN()
	snap := watchdog.Snapshot{Judged: true, At: time.Second, Trust: pose.Stale, Near: []watchdog.Cause{{Text: "0.2 m left"}}}
	snap.Pose.Position = pose.Vec{X: 1.23456, Y: nan, Z: 2}
	snap.Reach.Sweep.Grow = math.Inf(1)
	snap.Nearest.Clearance, snap.Nearest.Zone = inf, 0
	state := wire.State{Vehicle: "wren", Level: "stop", Clearance: &inf, Latched: []wire.Cause{{Text: "said", Value: nan}}}
	h.screens[0].Show(&state, &snap, time.Second)
	b, err := encode(time.Second, h.screens, &site)
	if err != nil {
		t.Fatal(err)
	}
	var f frame
	if err := json.Unmarshal(b, &f); err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	v := f.Vehicles[0]
	if f.Vehicles[1] != nil || v == nil || !bytes.Equal(v.State, state.Append(nil)) {
		t.Fatalf("%s", b)
	}
	if v.Trust == "" || v.Near[0] != "0.2 m left" || v.Place.Zone != "cage" || *v.Place.At[0] != 1.2346 || v.Place.At[1] != nil || v.Place.Reach[5] != nil {
		t.Errorf("%s", b)
	}
	snap.Void = true
	h.screens[0].Show(&state, &snap, time.Second)
	b, _ = encode(time.Second, h.screens, &site)
	if err := json.Unmarshal(b, &f); err != nil || f.Vehicles[0].Place != nil {
		t.Errorf("a vehicle that is not tied to the room has a place: %v, %s", err, b)
	}
}

// A loop is asked for no more than is looked at.
func TestScreenIsDueOnlyWhileWatched(t *testing.T) {
	var none *Screen
	if none.Due(time.Hour) {
		t.Error("no console, and yet due")
	}
	none.Show(nil, nil, 0)
	h := newHub(testSite(), nil)
	s := h.screens[0]
	if s.Due(time.Hour) {
		t.Error("due although nobody watches")
	}
	v := h.join()
	s.Show(&wire.State{}, &watchdog.Snapshot{}, time.Second)
	if s.Due(time.Second+FrameEvery-1) || !s.Due(time.Second+FrameEvery) {
		t.Error("not due once every FrameEvery")
	}
	h.leave(v)
	if s.Due(time.Hour) {
		t.Error("due although nobody watches any more")
	}
}

func TestLinesAreBoundedAndNumbered(t *testing.T) {
	h := newHub(testSite(), nil)
	v := h.join()
	for i := range maxLines + 50 {
		h.say(Line{Text: fmt.Sprint(i)})
	}
	_, _, lines, err := h.news(v)
	var got []Line
	if err != nil || json.Unmarshal(lines, &got) != nil || len(got) != maxLines || got[0].No != 51 || got[maxLines-1].Text != fmt.Sprint(maxLines+49) {
		t.Errorf("%d lines, %v", len(got), err)
	}
	h.say(Line{Text: "one more"})
	if _, _, lines, _ = h.news(v); json.Unmarshal(lines, &got) != nil || len(got) != 1 || got[0].No != maxLines+51 {
		t.Errorf("then %s", lines)
	}
	if _, _, lines, _ = h.news(v); lines != nil {
		t.Errorf("and again %s", lines)
	}
}

func TestCloseEndsEveryStream(t *testing.T) {
	s, _ := serving(t, nil)
	_, sc := stream(t, s)
	next(t, sc, "frame")
	s.Close()
	for sc.Scan() {
	}
	s.Close() // again is nothing
	var none *Server
	none.Close()
	none.Line(Line{})
	none.SetSite(Site{})
	if none.Screen(0) != nil {
		t.Error("a screen without a console")
	}
}
