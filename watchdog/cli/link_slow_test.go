package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
)

// A broker that becomes slow stops the vehicle once the budget is exceeded, and
// no reset helps while the minute lasts. The budget is what no busy machine
// comes near.
func TestSlowLinkStopsAndIsNamed(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	way := mosquittotest.NewWay(t, b.URL)
	site, dir := patientSite(t, way.URL), t.TempDir()
	text, err := os.ReadFile(site)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte("[broker]\n"), []byte("[broker]\nbudget = \"400ms\"\n"), 1)
	if err := os.WriteFile(site, text, 0o600); err != nil {
		t.Fatal(err)
	}
	guard := start(t, "run", "--site", site, "--trail", dir)
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	stop := make(chan struct{})
	defer close(stop)
	go l.hover(stop, 3, 2, 1.5)
	within(t, 30*time.Second, "a start is granted", func() bool { code, _ := ask("start", "--site", site); return code == exitFine })
	within(t, 10*time.Second, "the trip is shown", func() bool { return l.last().TripWorst != nil })
	if w := *l.last().TripWorst; !(w > 0 && w < 0.4) {
		t.Errorf("a trip of %v s on loopback", w)
	}
	way.Slow(0, 600*time.Millisecond)
	within(t, 10*time.Second, "link-slow is shown", func() bool {
		s := l.last()
		return !s.Go && len(s.Latched) > 0 && strings.Contains(strings.Join(words(s.Latched), " "), "link-slow")
	})
	way.Slow(0, 0)
	code, said := ask("reset", "--site", site)
	if code == exitFine || !strings.Contains(said, "over the budget of 400 ms") {
		t.Errorf("a reset within the minute: status %d: %s", code, said)
	}
	if code := guard.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("exit status %d", code)
	}
	folder := sessionIn(t, dir)
	proven(t, folder)
	text, err = os.ReadFile(filepath.Join(folder, "events.jsonl"))
	if err != nil || !bytes.Contains(text, []byte("over the budget of 400 ms")) {
		t.Errorf("the trail does not name it: %v", err)
	}
}

func words(list []wire.Cause) (out []string) {
	for i := range list {
		out = append(out, list[i].Cause)
	}
	return out
}

// A guard that was stopped and goes on does not take that time for the link's,
// although a probe was out meanwhile, as it is here for most of the time.
func TestStoppedGuardIsNoSlowLink(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	way := mosquittotest.NewWay(t, b.URL)
	guard := start(t, "run", "--site", writeSite(t, "", way.URL, 2.8), "--trail", t.TempDir())
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	way.Slow(0, 600*time.Millisecond)
	worst := func() float64 {
		if w := l.last().TripWorst; w != nil {
			return *w
		}
		return 0
	}
	within(t, 20*time.Second, "the slow trip is shown", func() bool { return worst() >= 0.6 })
	for range 2 {
		for _, s := range []syscall.Signal{syscall.SIGSTOP, syscall.SIGCONT} {
			if err := guard.cmd.Process.Signal(s); err != nil {
				t.Fatal(err)
			}
			time.Sleep(1900 * time.Millisecond)
		}
	}
	if w := worst(); w > 1.7 {
		t.Errorf("stopped for 1.9 s, and now a trip takes %.2f s", w)
	}
}
