package app

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/trail"
)

func permitOf(session string, seq uint64) *link.Message {
	p := wire.Permit{Guard: "pinfold", Session: session, Seq: seq, Valid: 0.25}
	return &link.Message{Payload: p.Append(nil)}
}

// listening is a keeper that only hears permits.
func listening(fellows ...string) *keeper {
	k := &keeper{fellows: newFellows(fellows), opt: &Options{}, now: func() time.Duration { return 0 }}
	k.cfg.Session, k.permitNo = "own", 1
	return k
}

func TestSecondGuardIsHeardByItsPermits(t *testing.T) {
	k := listening()
	for i, c := range []struct {
		m    *link.Message
		want bool
		why  string
	}{
		{permitOf("other", 1), false, "a single one may be the last word of a guard that ends"},
		{permitOf("other", 2), true, "a second of the same session"},
		{permitOf("third", wire.MaxSeq), false, "the last word of a session"},
		{permitOf("third", wire.MaxSeq), false, "the same, twice"},
		{permitOf("fourth", 1), false, "a single one"},
		{permitOf("fifth", 1), false, "a single one, in turns with another"},
		{permitOf("fourth", 3), true, "a second of the same session"},
		{permitOf("fifth", 2), true, "a second of the same session, in turns with another"},
	} {
		p, err := wire.DecodePermit(c.m.Payload)
		if err != nil {
			t.Fatal(err)
		}
		if s := k.rival.hear(&p, time.Duration(i)); (s != nil) != c.want {
			t.Errorf("message %d, %s: %v", i, c.why, s)
		}
	}
}

// More others than are told apart, in turns, so that each is forgotten before its
// second permit, are found out all the same, and told of one at a time; single ones
// far apart are not.
func TestManyStrangeGuardsInTurn(t *testing.T) {
	for n := secondsKept + 1; n < 40; n++ {
		var s secondGuard
		found, told := 0, 0
		for i := range 10 * n {
			at := time.Duration(i) * 50 * time.Millisecond / time.Duration(n) // 50 ms each
			p := wire.Permit{Session: fmt.Sprint("stranger-", i%n), Seq: uint64(1 + i/n)}
			if r := s.hear(&p, at); r != nil {
				found++
				if s.news(r, at) {
					told++
				}
			}
		}
		if found < 8*n || told != 1 {
			t.Errorf("%d strange guards: %d of %d permits counted, %d told", n, found, 10*n, told)
		}
	}
	var s secondGuard
	for i := range 2 * secondsKept {
		s.hear(&wire.Permit{Session: fmt.Sprint("known-", i/2), Seq: uint64(i)}, 0)
	}
	if s.hear(&wire.Permit{Session: "single", Seq: 1}, 0) != nil {
		t.Error("a single permit counts where those before it were told apart")
	}
	s = secondGuard{}
	for i := range 100 {
		p := wire.Permit{Session: fmt.Sprint("stranger-", i), Seq: 1}
		if r := s.hear(&p, time.Duration(i)*secondsWindow); r != nil {
			t.Errorf("a single permit each %v counts", secondsWindow)
		}
	}
}

// Whoever says permits under the guard's own session, with numbers that it has not
// come to, would have the vehicle refuse the guard's.
func TestPermitsForgedUnderOwnSession(t *testing.T) {
	b := start(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var o told
	ready, done := make(chan Session, 1), make(chan Result, 1)
	go func() {
		res, err := Run(ctx, Options{Site: parse(t, b.URL()), TrailDir: t.TempDir(), Say: o.say, Ready: func(s Session) { ready <- s }})
		if err != nil {
			t.Error(err)
		}
		done <- res
	}()
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: b.URL(), ClientID: "stranger", Now: func() time.Duration { return time.Since(begun) }})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(time.Second) //nolint:errcheck // nothing is to arrive any more
	eventually(t, "a link", c.Up)
	p := wire.Permit{Guard: "pinfold", Session: (<-ready).ID, Seq: wire.MaxSeq, Go: true, Valid: 0.25}
	for range 3 {
		if err := c.PublishNow("pinfold/mole/permit", p.Append(nil), 0, false, time.Second); err != nil {
			t.Fatal(err)
		}
	}
	eventually(t, "the guard says so", func() bool { return o.has("under this guard's own session") })
	cancel()
	if seen := kinds(t, (<-done).Session.Folder, "second-guard"); len(seen) != 1 || !strings.Contains(seen[0], p.Session) {
		t.Errorf("its trail says %q", seen)
	}
}

// What cannot show another guard at work is passed over.
func TestPermitsThatShowNoSecondGuard(t *testing.T) {
	k := listening("fellow")
	fellow := wire.Permit{Guard: "fellow", Session: "theirs", Seq: 1, Valid: 0.25}
	for _, m := range []*link.Message{permitOf("own", 1), {Payload: permitOf("other", 2).Payload, Retained: true},
		{Payload: []byte("{")}, {Payload: permitOf("other", 2).Payload, TooLarge: true}, {Payload: fellow.Append(nil)}} {
		k.heardPermit(m)
		k.heardPermit(m)
	}
	if k.rival.next != 0 {
		t.Errorf("another guard was seen: %+v", k.rival)
	}
	if f := k.fellows.of("fellow"); f.session != "theirs" {
		t.Errorf("the fellow is %+v", f)
	}
}

// told gathers lines.
type told struct {
	mu    sync.Mutex
	lines []Line
}

func (o *told) say(l Line) {
	o.mu.Lock()
	defer o.mu.Unlock()
	o.lines = append(o.lines, l)
}

func (o *told) has(text string) bool {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, l := range o.lines {
		if strings.Contains(l.Text, text) {
			return true
		}
	}
	return false
}

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(8 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("never: %s", what)
}

// kinds counts the records of a kind in a session.
func kinds(t *testing.T, folder, kind string) (bodies []string) {
	t.Helper()
	r, err := trail.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if err := r.Events(func(l trail.Line) error {
		if l.Kind == kind {
			bodies = append(bodies, string(l.Body))
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return bodies
}

// Two guards of one site stop the vehicle, and each says why: in its log, its
// state and its trail.
func TestTwoGuardsOfOneVehicleStopAndSayWhy(t *testing.T) {
	b := start(t)
	type one struct {
		told
		res     Result
		latched string
	}
	guards := []*one{{}, {}}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var wg sync.WaitGroup
	for _, g := range guards {
		dir := t.TempDir()
		wg.Go(func() {
			var err error
			g.res, err = Run(ctx, Options{Site: parse(t, b.URL()), TrailDir: dir, Say: g.say, Watch: func(_ int, s *watchdog.Snapshot) {
				if len(s.Latched) > 0 && s.Level == watchdog.Stop {
					g.mu.Lock()
					g.latched = s.Latched[0].Text
					g.mu.Unlock()
				}
			}})
			if err != nil {
				t.Error(err)
			}
		})
	}
	for _, g := range guards {
		eventually(t, "a guard says that it is not alone", func() bool { return g.has("another guard is at work for this vehicle") })
	}
	cancel()
	wg.Wait()
	for i, g := range guards {
		if want := "second guard at work, session " + guards[1-i].res.Session.ID; !strings.Contains(g.latched, want) {
			t.Errorf("guard %d: latched %q, want %q", i, g.latched, want)
		}
		if seen := kinds(t, g.res.Session.Folder, "second-guard"); len(seen) != 1 || !strings.Contains(seen[0], guards[1-i].res.Session.ID) {
			t.Errorf("guard %d: its trail says %q", i, seen)
		}
	}
}

// One guard after the other is no second guard.
func TestTheNextGuardIsNoSecondGuard(t *testing.T) {
	b := start(t)
	for range 2 {
		ctx, cancel := context.WithCancel(context.Background())
		var o told
		res, err := Run(ctx, Options{Site: parse(t, b.URL()), TrailDir: t.TempDir(), Say: o.say,
			Ready: func(Session) { time.AfterFunc(300*time.Millisecond, cancel) }})
		cancel()
		if err != nil {
			t.Fatal(err)
		}
		if n := len(kinds(t, res.Session.Folder, "second-guard")); n != 0 || o.has("another guard") {
			t.Errorf("a second guard was seen")
		}
	}
}
