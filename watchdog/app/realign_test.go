package app

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// tiedSite is the site with an alignment file that holds data; nil: there is none.
func tiedSite(t *testing.T, url string, data []byte) *config.Site {
	t.Helper()
	text := strings.Replace(fmt.Sprintf(site, url), "[vehicle.limits]", "[vehicle.pose.align]\nfile = \"mole.align.json\"\n[vehicle.limits]", 1)
	s, err := config.Parse("site.toml", []byte(text), func(name string) ([]byte, error) {
		if data == nil || name != "mole.align.json" {
			return nil, os.ErrNotExist
		}
		return data, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// alignment is a file made on minute m by a tracker whose stamps began at epoch.
func alignment(t *testing.T, m int, residual float64, epoch time.Time) []byte {
	t.Helper()
	f := pose.AlignmentFile{Vehicle: "mole", Method: pose.MethodPad, Samples: 9, Pad: &pose.PadSpot{}, Epoch: epoch,
		Made: time.Date(2031, 1, 1, 0, m, 0, 0, time.UTC), Alignment: pose.YawAlignment(1, pose.Vec{X: 2}, residual)}
	f.Alignment.Since = int64(time.Second)
	data, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// seen is what a running guard said, from any goroutine.
type seen struct {
	mu    sync.Mutex
	lines []string
	snap  watchdog.Snapshot
}

func (s *seen) say(l Line) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.lines = append(s.lines, l.Text)
}

func (s *seen) watch(_ int, n *watchdog.Snapshot) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.snap = *n
}

func (s *seen) last() watchdog.Snapshot {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.snap
}

// wait waits until a line holds text, n times.
func (s *seen) wait(t *testing.T, text string, n int) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		s.mu.Lock()
		got := strings.Count(strings.Join(s.lines, "\n"), text)
		s.mu.Unlock()
		if got >= n {
			return
		}
	}
	t.Fatalf("not said %d times: %q; said: %q", n, text, s.lines)
}

// guarding runs a guard until the answer is called, which gives its session's
// folder.
func guarding(t *testing.T, o Options) func() string {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	t.Cleanup(cancel)
	done := make(chan Result, 1)
	go func() {
		res, err := Run(ctx, o)
		if err != nil {
			t.Error(err)
		}
		done <- res
	}()
	return func() string {
		cancel()
		return (<-done).Session.Folder
	}
}

// alignsOf are the outcomes of the alignments in a trail, which must be judged
// to the same again.
func alignsOf(t *testing.T, folder string) (out []string) {
	t.Helper()
	rep, err := review.Reproduce(folder)
	if err != nil || !rep.Same {
		t.Errorf("judged again: %v %+v", err, rep)
	}
	r, err := trail.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if err := r.Events(func(l trail.Line) error {
		var b watchdog.AlignHeard
		if l.Kind != string(watchdog.RecAlign) {
			return nil
		}
		if err := json.Unmarshal(l.Body, &b); err != nil {
			return err
		}
		out = append(out, b.Outcome)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return out
}

// A reload takes the site's alignment file where it changed, and goes on with
// the site whatever became of it.
func TestReloadTakesTheAlignmentFile(t *testing.T) {
	b := start(t)
	first, better, loose := alignment(t, 1, 0.1, time.Time{}), alignment(t, 2, 0.05, time.Time{}), alignment(t, 3, 0.9, time.Time{})
	files := []*config.Site{tiedSite(t, b.URL(), first), tiedSite(t, b.URL(), better), tiedSite(t, b.URL(), first),
		tiedSite(t, b.URL(), loose), tiedSite(t, b.URL(), nil), tiedSite(t, b.URL(), first)}
	reload, n, s := make(chan struct{}), 0, &seen{}
	end := guarding(t, Options{Site: tiedSite(t, b.URL(), first), TrailDir: t.TempDir(), Say: s.say, Watch: s.watch, Reload: reload,
		Load: func() (*config.Site, error) { n++; return files[n-1], nil }})
	s.wait(t, "watching", 1)
	for i, said := range []string{"", "aligned anew (read from the site's file)", "not after the one in force", "cannot be used", "cannot be used", ""} {
		reload <- struct{}{}
		s.wait(t, "is in force: ", i+1)
		if said != "" {
			s.wait(t, said, 1+i/4)
		}
		if got := s.last().Tie.Hash; i > 1 && got != hashOf(better) {
			t.Errorf("reload %d: %s is in force, want %s", i, got, hashOf(better))
		}
	}
	if got := alignsOf(t, end()); !slices.Equal(got, []string{"accepted", "effective", "refused", "refused"}) {
		t.Errorf("the trail has %v; a file that was refused is asked for again", got)
	}
}

// sender publishes as anybody could.
func sender(t *testing.T, url string) *link.Client {
	t.Helper()
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: url, ClientID: "sender", Now: func() time.Duration { return time.Since(begun) }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close(time.Second) })
	for !c.Up() {
		time.Sleep(time.Millisecond)
	}
	return c
}

// A guard that is started in mid-session with the alignment of a tracker that
// tells no id, and restarted since: by its stamps alone it would fit.
func TestOldAlignmentOfATrackerWithoutId(t *testing.T) {
	for what, began := range map[string]time.Duration{"it is the same session": 500 * time.Second, "the tracker restarted since": 300 * time.Second} {
		b := start(t)
		s := &seen{}
		now := time.Now()
		end := guarding(t, Options{Site: tiedSite(t, b.URL(), alignment(t, 1, 0.1, now.Add(-500*time.Second))), TrailDir: t.TempDir(), Say: s.say, Watch: s.watch})
		s.wait(t, "watching", 1)
		c := sender(t, b.URL())
		for i := range 100 {
			stamp := began + time.Since(now)
			p := fmt.Appendf(nil, `{"stamp":%.9f,"position":{"x":%g,"y":1,"z":0.2},"orientation":{"w":1,"x":0,"y":0,"z":0}}`, stamp.Seconds(), 1+float64(i%7)*1e-5)
			if err := c.PublishNow("pinfold/mole/pose", p, 0, false, time.Second); err != nil {
				t.Fatal(err)
			}
			time.Sleep(5 * time.Millisecond)
		}
		if got := s.last(); !got.Judged || got.Void != (began < 500*time.Second) || got.Void != strings.Contains(strings.Join(got.Blocked, ";"), "align again") {
			t.Errorf("%s: judged %v, void %v, blocked by %q", what, got.Judged, got.Void, got.Blocked)
		}
		if rep, err := review.Reproduce(end()); err != nil || !rep.Same {
			t.Errorf("%s: judged again: %v %+v", what, err, rep)
		}
	}
}

// By message: the nonce that is shown, once; a retained or unreadable one never.
func TestAlignmentByMessage(t *testing.T) {
	b := start(t)
	s := &seen{}
	end := guarding(t, Options{Site: tiedSite(t, b.URL(), nil), TrailDir: t.TempDir(), Say: s.say, Watch: s.watch})
	s.wait(t, "watching", 1)
	c := sender(t, b.URL())
	for s.last().Nonce == "" {
		time.Sleep(5 * time.Millisecond)
	}
	m := wire.Align{By: "hall lead", Nonce: s.last().Nonce, File: string(alignment(t, 1, 0.1, time.Time{}))}
	send := func(payload []byte) {
		t.Helper()
		if err := c.PublishNow("pinfold/mole/align", payload, 1, false, time.Second); err != nil {
			t.Fatal(err)
		}
	}
	send([]byte("{"))
	s.wait(t, "unreadable align: not JSON", 1)
	send(m.Append(nil))
	s.wait(t, "aligned anew (sent by hall lead)", 1)
	send(m.Append(nil))
	s.wait(t, "alignment sent by hall lead: refused: the nonce", 1)
	if got := s.last(); got.Tie.Hash != hashOf([]byte(m.File)) || got.Go || got.Level != watchdog.Waiting {
		t.Errorf("tie %+v, go %v, level %v", got.Tie, got.Go, got.Level)
	}
	if got := alignsOf(t, end()); !slices.Equal(got, []string{"accepted", "effective", "refused"}) {
		t.Errorf("the trail has %v", got)
	}
	if errors.Is(errRefused, errClosed) {
		t.Error("a refused alignment would end the loop")
	}
}
