package cli

import (
	"bytes"
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
	"pinfold/watchdog/pose/trial"
)

// camera is a tracker on a vehicle that stands at (1.5, 1.2, 0.8), looking
// along x: its frame is wherever its last start put it.
type camera struct {
	start atomic.Pointer[pose.Alignment]
}

func (c *camera) restart(id string, yaw float64, at pose.Vec) {
	a := pose.YawAlignment(yaw, at, 0)
	a.Tracker, a.Since = id, time.Now().UnixNano()
	c.start.Store(&a)
}

func (c *camera) run(l *listener, stop <-chan struct{}) {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-stop:
			return
		case <-tick.C:
		}
		a := c.start.Load()
		inv := a.Rotation.Conj()
		wobble := float64(n%7) * 1e-5 // a real tracker is never bit-identical
		s := pose.Sample{Stamp: time.Now().UnixNano() - a.Since, Tracker: a.Tracker, Orientation: inv,
			Position: inv.Rotate(pose.Vec{X: 1.5 + wobble, Y: 1.2, Z: 0.8}.Sub(a.Translation))}
		if err := l.client.PublishNow(l.topics.Pose, recording.Payload(nil, &s), 0, false, publishWait); err != nil {
			l.t.Errorf("the tracker cannot publish: %v", err)
			return
		}
	}
}

func alignPad(t *testing.T, site, file string) {
	t.Helper()
	var out, errw bytes.Buffer
	args := []string{"align", "--pad", "--site", site, "--at", "1.5,1.2,0.8", "--heading", "0", "--file", file, "--wait", "20s"}
	if code := Main(args, nil, &out, &errw); code != exitFine {
		t.Fatalf("align: exit status %d: %s", code, errw.String())
	}
}

// askStart asks until it is granted: on a busy machine a pose may come late
// between the look at what is in the way and the asking.
func askStart(t *testing.T, site string) {
	t.Helper()
	var out, errw bytes.Buffer
	code := exitFound
	for end := time.Now().Add(20 * time.Second); code == exitFound && time.Now().Before(end); {
		errw.Reset()
		code = Main([]string{"ask", "start", "--site", site, "--by", "test"}, nil, &out, &errw)
	}
	if code != exitFine {
		t.Fatalf("ask start: exit status %d: %s", code, errw.String())
	}
}

// From a tracker that started anywhere to a permit, and from a tracker that
// restarts elsewhere to none, until it is aligned again.
func TestAlignedOnThePadUntilTheTrackerRestarts(t *testing.T) {
	b := mosquittotest.Start(t)
	site := writeSite(t, "", b.URL, 2.8)
	file := filepath.Join(filepath.Dir(site), "wren.align.json")
	text, err := os.ReadFile(site)
	if err != nil {
		t.Fatal(err)
	}
	tied := strings.Replace(string(text), "[vehicle.limits]", "[vehicle.pose.align]\nfile = \"wren.align.json\"\n[vehicle.limits]", 1)
	if err := os.WriteFile(site, []byte(tied), 0o600); err != nil {
		t.Fatal(err)
	}
	l := listen(t, b.URL, "wren")
	cam := &camera{}
	cam.restart("cam-1", 2.1, pose.Vec{X: 4, Y: -3, Z: 0.5})
	stop, ended := make(chan struct{}), make(chan struct{})
	go func() { cam.run(l, stop); close(ended) }()
	defer func() { close(stop); <-ended }()
	alignPad(t, site, file)

	guard := start(t, "run", "--site", site, "--trail", t.TempDir())
	guard.waitFor("watching")
	within(t, 10*time.Second, "the guard is ready to start", func() bool { s := l.last(); return s.PoseAge != nil && len(s.Blocked) == 0 })
	askStart(t, site)
	within(t, 5*time.Second, "permits flow", func() bool { return l.last().Go })

	cam.restart("cam-2", -0.4, pose.Vec{X: 1, Y: 1})
	within(t, 5*time.Second, "the permit is withdrawn", func() bool {
		s := l.last()
		return !s.Go && strings.Contains(fmt.Sprintf("%+v", s), "tracker-restarted")
	})
	had := l.granted()
	time.Sleep(300 * time.Millisecond)
	if n := l.granted(); n != had {
		t.Errorf("%d permits after the tracker restarted", n-had)
	}
	var out, errw bytes.Buffer
	if code := Main([]string{"align", "--close", "--site", site, "--file", file, "--wait", "20s"}, nil, &out, &errw); code != exitFound || !strings.Contains(errw.String(), "restarted since") {
		t.Errorf("close: exit status %d: %s", code, errw.String())
	}
	if code := guard.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("run: exit status %d", code)
	}

	alignPad(t, site, file)
	again := start(t, "run", "--site", site, "--trail", t.TempDir())
	again.waitFor("watching")
	within(t, 10*time.Second, "the guard is ready again", func() bool { s := l.last(); return s.PoseAge != nil && len(s.Blocked) == 0 && s.Level == "waiting" })
	askStart(t, site)
	within(t, 5*time.Second, "permits flow again", func() bool { return l.last().Go })
	out.Reset()
	if code := Main([]string{"align", "--close", "--json", "--site", site, "--file", file, "--wait", "20s"}, nil, &out, &errw); code != exitFine || !strings.Contains(out.String(), `"covered": true`) {
		t.Errorf("close: exit status %d: %s%s", code, out.String(), errw.String())
	}
	if code := again.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("run: exit status %d", code)
	}
}

// The table finds nothing wrong with the published recordings, and says so
// where something is.
func TestTrustTable(t *testing.T) {
	path := filepath.Join(sharedData, "drone_spiral.csv")
	if _, err := os.Stat(path); err != nil {
		t.Skipf("needs the published recording: %v", err)
	}
	var out, errw bytes.Buffer
	if code := Main([]string{"trust", "--draws", "5", path}, nil, &out, &errw); code != exitFine {
		t.Fatalf("exit status %d: %s", code, errw.String())
	}
	if n := strings.Count(out.String(), " 5/5 "); n != int(trial.Faults) {
		t.Errorf("%d faults detected:\n%s", n, out.String())
	}
	if code := Main([]string{"trust", "--draws", "0", path}, nil, &out, &errw); code != exitError {
		t.Errorf("no draws: exit status %d", code)
	}
}
