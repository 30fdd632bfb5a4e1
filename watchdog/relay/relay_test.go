package relay

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/wire"
)

// seen is an output that remembers what it was set to, and when.
type seen struct {
	mu     sync.Mutex
	v      receiver.Verdict
	since  int64
	clock  func() int64
	closed bool
}

func (s *seen) Set(v receiver.Verdict) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if v.Go != s.v.Go || s.since == 0 {
		s.since = s.clock()
	}
	s.v = v
	return nil
}

func (s *seen) Close() error { s.closed = true; return nil }

func (s *seen) now() (v receiver.Verdict, since int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.v, s.since
}

// guardian stands in for a guard: it says what it is told to.
type guardian struct {
	t       *testing.T
	client  *link.Client
	inbox   *link.Inbox
	topics  wire.TopicSet
	clock   func() int64
	seq     uint64
	newest  int64 // stamp of the newest permit to go
	session string
}

func newGuardian(t *testing.T, url string, clock func() int64) *guardian {
	t.Helper()
	topics, err := wire.Topics(wire.DefaultPrefix, "mole")
	if err != nil {
		t.Fatal(err)
	}
	inbox, err := link.NewInbox()
	if err != nil {
		t.Fatal(err)
	}
	g := &guardian{t: t, inbox: inbox, topics: topics, clock: clock, session: "s1"}
	begun := time.Now()
	g.client, err = link.Dial(link.Options{URL: url, ClientID: "guardian", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topics.Ack, Inbox: inbox}}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = g.client.Close(time.Second) })
	until(t, "the guard's link is up", g.client.Up)
	return g
}

func (g *guardian) send(topic string, payload []byte) {
	g.t.Helper()
	if err := g.client.PublishNow(topic, payload, 0, false, 5*time.Second); err != nil {
		g.t.Fatal(err)
	}
}

func (g *guardian) permit(goes bool) {
	g.seq++
	p := wire.Permit{Guard: "test", Session: g.session, Seq: g.seq, Go: goes, Stamp: g.clock(), Valid: 0.25}
	if goes {
		g.newest = p.Stamp
	}
	g.send(g.topics.Permit, p.Append(nil))
}

// grant gives permits as a guard does until ok holds.
func (g *guardian) grant(what string, ok func() bool) {
	g.t.Helper()
	until(g.t, what, func() bool {
		g.permit(g.seq > 3)
		time.Sleep(40 * time.Millisecond)
		return ok()
	})
}

func until(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("not within 10 s: %s", what)
}

// TestRelay: the output is active while there is a fresh permit, and no longer,
// by the relay's own clock; commands halt it and are acknowledged.
func TestRelay(t *testing.T) {
	b := mosquittotest.Start(t)
	clock, err := Clock("monotonic")
	if err != nil {
		t.Fatal(err)
	}
	out := &seen{clock: clock}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() {
		ended <- Run(ctx, Options{Prefix: wire.DefaultPrefix, Vehicle: "mole", Link: link.Options{URL: b.URL}, Lost: receiver.Land, Output: out, Clock: clock})
	}()
	g := newGuardian(t, b.URL, clock)
	goes := func() bool { v, _ := out.now(); return v.Go }
	halts := func() bool { return !goes() }
	g.grant("go", goes)

	until(t, "it halts when nothing comes", halts)
	v, at := out.now()
	if late := time.Duration(at - g.newest); late < 250*time.Millisecond || v.Action != receiver.Land {
		t.Errorf("halted %v after the newest stamp, to %v", late, v.Action)
	} else {
		t.Logf("halted %v after the newest stamp", late)
	}

	g.grant("go again", goes)
	c := wire.Command{ID: "s1-1", Seq: 1, Action: wire.Stop, Cause: "zone", Valid: 0.25}
	g.send(g.topics.Command, c.Append(nil))
	until(t, "a command halts", halts)
	var m link.Message
	until(t, "the command is acknowledged", func() bool { return g.inbox.Take(&m) })
	if a, err := wire.DecodeAck(m.Payload); err != nil || a.ID != "s1-1" || a.Action != wire.Stop {
		t.Errorf("acknowledged by %s: %v", m.Payload, err)
	}
	g.permit(true)
	time.Sleep(50 * time.Millisecond)
	if goes() {
		t.Error("it goes on after a command without a no from the guard")
	}
	stop()
	if err := <-ended; err != nil || !out.closed {
		t.Errorf("ended with %v, closed %v", err, out.closed)
	}
}

// lines is what a child process wrote so far.
func lines(t *testing.T, path string) string {
	b, err := os.ReadFile(path)
	if err != nil && !os.IsNotExist(err) {
		t.Fatal(err)
	}
	return string(b)
}

func TestFeedRepeatsAndEnds(t *testing.T) {
	path := filepath.Join(t.TempDir(), "heard")
	var said bytes.Buffer
	f, err := NewFeed("cat > "+path+"; echo end >> "+path, &said)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []receiver.Verdict{{Action: receiver.Stop}, {Go: true}, {Action: receiver.Land}} {
		for begun := time.Now(); time.Since(begun) < 3*FeedEvery; time.Sleep(Turn) {
			if err := f.Set(v); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	got := lines(t, path)
	for _, want := range []string{"halt stop\nhalt stop\n", "halt stop\ngo\ngo\n", "go\nhalt land\nhalt land\n"} {
		if !strings.Contains(got, want) {
			t.Errorf("the child heard %q, which lacks %q", got, want)
		}
	}
	if !strings.HasSuffix(got, "end\n") {
		t.Errorf("the child was not told of the end: %q", got)
	}
}

// A child that takes longer over a line than FeedEvery hears of a halt soon all the
// same: no permit waits in the pipe.
func TestFeedQueuesNothing(t *testing.T) {
	path := filepath.Join(t.TempDir(), "heard")
	const slow = 100 * time.Millisecond // over a line
	f, err := NewFeed("while read word how; do sleep 0.1; echo $word >> "+path+"; done", &bytes.Buffer{})
	if err != nil {
		t.Fatal(err)
	}
	for begun := time.Now(); err == nil && time.Since(begun) < 20*slow; time.Sleep(Turn) {
		err = f.Set(receiver.Verdict{Go: true})
	}
	went := strings.Count(lines(t, path), "go")
	until(t, "the halt is heard", func() bool {
		if err == nil {
			err = f.Set(receiver.Verdict{})
		}
		return err != nil || strings.Contains(lines(t, path), "halt")
	})
	if err != nil && !strings.Contains(err.Error(), "unread for") { // on a machine that kept the child from running
		t.Fatal(err)
	}
	if late := strings.Count(lines(t, path), "go") - went; late > 3 {
		t.Errorf("%d permits before the halt, of %d", late, went)
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
}

func TestFeedTellsOfAChildThatEndedOrDoesNotRead(t *testing.T) {
	for _, row := range []struct {
		command, want string
		flip          bool // a line at every turn
	}{
		{"exit 3", "has ended (exit status 3)", false},
		{"exit 0", "has ended (exit status 0)", false},
		{"read word; exec sleep 1", "does not read: it has left what it was told unread for", false},
		{"read word; exec sleep 1", "does not read", true},
	} {
		f, err := NewFeed(row.command, &bytes.Buffer{})
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(row.command, "exit") {
			until(t, "the child ends", func() bool { return len(f.ended) > 0 })
		}
		v := receiver.Verdict{Go: true}
		until(t, row.want, func() bool {
			v.Go = v.Go != row.flip
			err = f.Set(v)
			return err != nil
		})
		if !strings.Contains(err.Error(), row.want) {
			t.Errorf("%s: %v", row.command, err)
		}
		_ = f.Close()
	}
}

// What is said while the child starts is no more than the first line: it begins
// with that, and with what holds then.
func TestFeedWaitsForAChildThatStarts(t *testing.T) {
	path := filepath.Join(t.TempDir(), "heard")
	f, err := NewFeed("sleep 0.6; cat > "+path, &bytes.Buffer{})
	if err != nil {
		t.Fatal(err)
	}
	v := receiver.Verdict{Action: receiver.Stop}
	until(t, "it starts", func() bool {
		if err := f.Set(v); err != nil {
			t.Fatal(err)
		}
		v.Go = !v.Go
		return lines(t, path) != ""
	})
	if err := f.Close(); err != nil {
		t.Error(err)
	}
	if got := lines(t, path); !strings.HasPrefix(got, "halt stop\n") || strings.Count(got, "\n") > 20 {
		t.Errorf("it heard %q", got)
	}
}

func TestCommandRunsOnEveryChange(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "ran")
	c := NewCommand("echo >>"+path, &bytes.Buffer{}, func(s string) { t.Error(s) })
	for _, v := range []receiver.Verdict{{Action: receiver.Stop}, {Go: true}, {Action: receiver.Land}, {Go: true}} {
		want := strings.Count(lines(t, path), "\n") + 1
		for range 3 {
			if err := c.Set(v); err != nil {
				t.Fatal(err)
			}
		}
		until(t, "the command ran", func() bool { return strings.Count(lines(t, path), "\n") == want })
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	if got := lines(t, path); got != "halt stop\ngo\nhalt land\ngo\nhalt stop\n" {
		t.Errorf("ran %q", got)
	}
}

// A halt is run at once, also while a go is stuck, and again where it fails.
func TestCommandHaltsWhateverTheGoDoes(t *testing.T) {
	dir := t.TempDir()
	script := filepath.Join(dir, "drive")
	path := filepath.Join(dir, "ran")
	text := "#!/bin/sh\necho $1 >> " + path + "\n[ $1 = go ] && exec sleep 100\n[ -e " + dir + "/well ] || { touch " + dir + "/well; exit 1; }\n"
	if err := os.WriteFile(script, []byte(text), 0o700); err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var said []string
	c := NewCommand(script, &bytes.Buffer{}, func(s string) { mu.Lock(); said = append(said, s); mu.Unlock() })
	_ = c.Set(receiver.Verdict{Go: true})
	until(t, "go runs", func() bool { return lines(t, path) == "go\n" })
	begun := time.Now()
	_ = c.Set(receiver.Verdict{Action: receiver.Stop})
	until(t, "halt ran twice, since it failed once", func() bool { return lines(t, path) == "go\nhalt\nhalt\n" })
	if time.Since(begun) > commandMost {
		t.Errorf("the halt waited for the go: %v", time.Since(begun))
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	mu.Lock()
	defer mu.Unlock()
	if len(said) != 1 || !strings.Contains(said[0], "failed with halt") {
		t.Errorf("said %q", said)
	}
}

func TestClocks(t *testing.T) {
	for _, name := range []string{"monotonic", "boottime", "realtime"} {
		c, err := Clock(name)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := c(), c(); a <= 0 || b < a {
			t.Errorf("%s: %d, then %d", name, a, b)
		}
	}
	if _, err := Clock("sundial"); err == nil {
		t.Error("a sundial is taken")
	}
}
