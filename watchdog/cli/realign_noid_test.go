package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
)

// mute is a tracker that tells no id, on a vehicle that stands still at stands.
type mute struct {
	frame atomic.Pointer[pose.Alignment] // of its newest start; Since is when, ns by the wall clock
	off   atomic.Bool
	wall  bool // its stamps are the time of day, and go on when it restarts
}

var stands = pose.Vec{X: 2, Y: 1.5, Z: 0.15}

func (m *mute) begin(yaw float64, origin pose.Vec) {
	a := pose.YawAlignment(yaw, origin, 0)
	a.Since = time.Now().UnixNano()
	m.frame.Store(&a)
}

func (m *mute) run(l *listener, stop <-chan struct{}) {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-stop:
			return
		case <-tick.C:
		}
		if m.off.Load() {
			continue
		}
		a := m.frame.Load()
		inv, now := a.Rotation.Conj(), time.Now().UnixNano()
		wobble := pose.Vec{X: float64(n%7) * 1e-5} // a real one is never bit-identical
		s := pose.Sample{Stamp: now - a.Since, Orientation: inv, Position: inv.Rotate(stands.Add(wobble).Sub(a.Translation))}
		if m.wall {
			s.Stamp = now
		}
		if err := l.client.PublishNow(l.topics.Pose, recording.Payload(nil, &s), 0, false, publishWait); err != nil {
			l.t.Errorf("the tracker cannot publish: %v", err)
			return
		}
	}
}

// A tracker that tells no id is switched off and started again elsewhere: the
// permit is withdrawn and the alignment void, until it is aligned anew.
func TestRealignOfATrackerWithoutAnID(t *testing.T) {
	for name, wall := range map[string]bool{"stamps from its start": false, "stamps of the day": true} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			restartedWithoutAnID(t, &mute{wall: wall})
		})
	}
}

func restartedWithoutAnID(t *testing.T, cam *mute) {
	b := mosquittotest.Start(t)
	site := tempFile(t, t.TempDir(), "site.toml", fmt.Sprintf(yardSite, b.URL))
	file, dir := filepath.Join(filepath.Dir(site), "cart.align.json"), t.TempDir()
	l := listen(t, b.URL, "cart")
	cam.begin(2.1, pose.Vec{X: 4, Y: -3, Z: 0.5})
	stop, ended := make(chan struct{}), make(chan struct{})
	go func() { cam.run(l, stop); close(ended) }()
	t.Cleanup(func() { close(stop); <-ended })
	does := func(want int, says string, args ...string) {
		t.Helper()
		p := start(t, append(args, "--site", site)...)
		if code := p.wait(20 * time.Second); code != want || !strings.Contains(flat(p.text()), says) {
			t.Fatalf("%q: exit status %d, want %d and %q: %s", args, code, want, says, p.text())
		}
	}
	ready := func() {
		t.Helper()
		within(t, 20*time.Second, "nothing is in the way", func() bool { s := l.last(); return s.PoseAge != nil && len(s.Blocked) == 0 })
	}
	align := []string{"align", "--pad", "--file", file, "--hold", "500ms", "--at", fmt.Sprintf("%g,%g,%g", stands.X, stands.Y, stands.Z), "--heading", "0"}
	does(exitFine, "written to", append(align, "--no-send")...)
	old, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	guard := start(t, "run", "--site", site, "--trail", dir)
	guard.waitFor("watching")
	ready()
	does(exitFine, "", "ask", "start", "--by", "test")
	within(t, 5*time.Second, "permits flow", func() bool { return l.last().Go })

	cam.off.Store(true)
	within(t, 5*time.Second, "silence withdraws the permit", func() bool { return !l.last().Go })
	time.Sleep(300 * time.Millisecond)
	cam.begin(-0.4, stands) // its origin is where it stands now
	cam.off.Store(false)
	within(t, 10*time.Second, "the alignment is void", func() bool { return strings.Contains(fmt.Sprintf("%+v", l.last().Causes), "tracker-restarted") })
	had := l.granted()
	if cam.wall { // the rest is as with the other, and who was not there has nothing to tell it by
		return
	}
	before := tempFile(t, t.TempDir(), "before.json", string(old))
	does(exitFound, "restarted since", "align", "--close", "--file", before, "--hold", "500ms")
	does(exitFound, "align again", "ask", "start", "--by", "test")
	if n := l.granted(); n != had {
		t.Errorf("%d permits while the alignment was void", n-had)
	}
	does(exitFine, "has taken it", align...)
	ready()
	does(exitFine, "", "ask", "reset", "--by", "test")
	ready()
	does(exitFine, "", "ask", "start", "--by", "test")
	within(t, 5*time.Second, "permits flow again", func() bool { return l.last().Go && l.granted() > had })
	if code := guard.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("run: exit status %d", code)
	}
	folder := sessionIn(t, dir)
	proven(t, folder)
	if _, said := runMain("review", folder); inOrder(flat(said), "alignment at the start: a tracker without an id, yaw 120.", "aligned anew at ", "sent by ", "yaw -22.9") != "" {
		t.Errorf("review does not tell the alignments: %s", said)
	}
}
