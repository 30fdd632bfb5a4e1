package cli

import (
	"bytes"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
)

// ask runs ask with args and gives its exit status and what it printed.
func ask(args ...string) (int, string) {
	var out, errw bytes.Buffer
	code := Main(append([]string{"ask"}, args...), nil, &out, &errw)
	return code, out.String() + errw.String()
}

func TestAskRefusesWhatCannotBeAsked(t *testing.T) {
	for _, c := range []struct {
		want string
		args []string
	}{
		{"--wait -1s: must be more than 0", []string{"start", "--wait=-1s"}},
		{"--wait 0s: must be more than 0", []string{"start", "--wait=0s"}},
		{"--wait 2h0m0s: must be", []string{"stop", "--wait=2h"}},
		{"--retrieve goes with start alone, and not with reset", []string{"reset", "--retrieve"}},
		{"--by is 65 bytes long", []string{"start", "--by", strings.Repeat("x", 65)}},
		{`--by a\u001b[2J: holds a control character`, []string{"start", "--by", "a\x1b[2J"}},
	} {
		code, text := ask(append(c.args, "--site", "nowhere.toml")...)
		if code != exitError || !strings.Contains(text, c.want) || strings.ContainsRune(text, 0x1b) {
			t.Errorf("ask %q: exit status %d, %q; want %d, %q", c.args, code, text, exitError, c.want)
		}
	}
}

// Without a broker a stop cannot even be sent, and that is said first of all.
func TestAskStopWithoutABroker(t *testing.T) {
	t.Parallel()
	site := writeSite(t, "", "mqtt://127.0.0.1:9", 2.8)
	code, text := ask("stop", "--site", site)
	if code != exitError || !strings.Contains(text, "no link to the broker") || !strings.Contains(text, "The stop was NOT sent: use the emergency stop") {
		t.Errorf("exit status %d, %q", code, text)
	}
}

// A state that the broker kept is no sign of life, however it reads.
func TestAskToldOfADeadGuard(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	site := writeSite(t, "", b.URL, 2.8)
	if code, text := ask("start", "--site", site, "--wait", "300ms"); code != exitError || !strings.Contains(text, "no guard shows a state") {
		t.Errorf("nobody was ever there: exit status %d, %q", code, text)
	}
	guard := start(t, "run", "--site", site, "--trail", t.TempDir())
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	within(t, 5*time.Second, "a state is shown", func() bool { return l.last().Session != "" })
	guard.end(syscall.SIGKILL)
	kept := l.last()
	for _, act := range []string{"start", "reset", "stop", "land"} {
		code, text := ask(act, "--site", site, "--wait", "400ms")
		if code != exitError || !strings.Contains(text, "no guard is at work") ||
			!strings.Contains(text, "retained is from "+kept.Wall) || !strings.Contains(text, kept.Session) {
			t.Errorf("ask %s: exit status %d, %q", act, code, text)
		}
		if halts := act == "stop" || act == "land"; halts != strings.Contains(text, "emergency stop") {
			t.Errorf("ask %s: %q", act, text)
		}
	}
}

// A vehicle that rests outside its pen: start is refused, start --retrieve
// grants it the way back, and the way back ends in a stop that a reset lowers.
func TestAskStartRetrieve(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	site := patientSite(t, b.URL)
	guard := start(t, "run", "--site", site, "--trail", t.TempDir())
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	var x atomic.Int64 // mm
	x.Store(7600)      // the cage ends at 7 m
	stop := make(chan struct{})
	defer close(stop)
	go l.drive(stop, &x)
	within(t, 10*time.Second, "the vehicle is trusted and outside", func() bool {
		s := l.last()
		return s.PoseAge != nil && len(s.Blocked) == 1 && strings.Contains(s.Blocked[0], "is outside")
	})
	if code, text := ask("start", "--site", site, "--by", "test"); code != exitFound || !strings.Contains(text, "start is not granted: is outside") {
		t.Errorf("a plain start: exit status %d, %q", code, text)
	}
	if code, text := ask("start", "--retrieve", "--site", site, "--by", "test"); code != exitFine || !strings.Contains(text, "wren: ") {
		t.Fatalf("start --retrieve: exit status %d, %q", code, text)
	}
	within(t, 5*time.Second, "permits flow outside", func() bool { return l.last().Go })
	for x.Load() > 5000 && l.last().Go { // 0.6 m/s
		x.Add(-6)
		time.Sleep(10 * time.Millisecond)
	}
	within(t, 10*time.Second, "it is stopped back inside", func() bool {
		s := l.last()
		return !s.Go && len(s.Latched) == 1 && strings.Contains(s.Latched[0].Text, "is back inside")
	})
	within(t, 10*time.Second, "nothing forbids a reset", func() bool { return len(l.last().Blocked) == 0 })
	if code, text := ask("start", "--retrieve", "--site", site, "--by", "test"); code != exitFound || !strings.Contains(text, "nowhere to bring it back from") {
		t.Errorf("a retrieval of what is inside: exit status %d, %q", code, text)
	}
	if code, text := ask("reset", "--site", site, "--by", "test"); code != exitFine {
		t.Errorf("reset: exit status %d, %q", code, text)
	}
	if code := guard.end(syscall.SIGTERM); code != exitFine {
		t.Errorf("exit status %d", code)
	}
}

// drive publishes a pose at x millimetres at 200 Hz, moving smoothly between
// the values it is given.
func (l *listener) drive(stop <-chan struct{}, x *atomic.Int64) {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	at, seq := float64(x.Load())/1000, uint64(0)
	for {
		select {
		case <-stop:
			return
		case <-tick.C:
			seq++
			at += min(max(float64(x.Load())/1000-at, -0.003), 0.003) // 0.6 m/s
			l.keepSending(stop, poseMessage(time.Now().UnixNano(), seq, at+float64(seq%7)*1e-5, 2.5, 1.5))
		}
	}
}
