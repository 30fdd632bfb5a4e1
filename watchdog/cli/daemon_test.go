package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// playSpeed is how much faster than recorded the recordings are played. In CI the
// short one is played as recorded, see .ci/run; the other would take two minutes and
// a half, which PINFOLD_PLAY_ALL=1 takes.
func playSpeed(name string) string {
	if name != "handheld_room" && os.Getenv("PINFOLD_PLAY_ALL") == "" {
		return "6"
	}
	if s := os.Getenv("PINFOLD_PLAY_SPEED"); s != "" {
		return s
	}
	return "6"
}

func TestPlayedOverMosquittoComesToTheOutsideAnswers(t *testing.T) {
	for _, c := range recordings(t) {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := mosquittotest.Start(t)
			site, dir := c.site(t, b.URL), t.TempDir()
			guard := start(t, "run", "--site", site, "--trail", dir)
			guard.waitFor("watching")
			play := start(t, "play", "--site", site, "--vehicle", "probe", "--speed", playSpeed(c.name),
				filepath.Join(sharedData, c.name+".csv"))
			if code := play.wait(10 * time.Minute); code != exitFine {
				t.Fatalf("play: exit status %d", code)
			}
			time.Sleep(300 * time.Millisecond) // for the last message to be judged
			if code := guard.end(syscall.SIGTERM); code != exitFine {
				t.Fatalf("run: exit status %d", code)
			}
			folder := sessionIn(t, dir)
			got := episodesOf(t, folder)
			c.match(t, got, "zone", "zone", 0.001)
			c.match(t, got, "tilt", "tilt", 0.01)
			if playSpeed(c.name) == "1" {
				c.stale(t, got, 0.03)
			}
			proven(t, folder)
			c.replaySession(t, site, folder)
			pageAgrees(t, folder, c.name)
		})
	}
}

// replaySession judges the session's own intake as a recording: by the same
// rules it comes to the same answers.
func (c recordingCase) replaySession(t *testing.T, site, folder string) {
	t.Helper()
	var out, errw bytes.Buffer
	if code := Main([]string{"replay", "--json", "--poses", "--site", site, folder}, nil, &out, &errw); code != exitFound {
		t.Fatalf("replay of the session: exit status %d: %s", code, errw.String())
	}
	var res review.Result
	if err := json.Unmarshal(out.Bytes(), &res); err != nil {
		t.Fatal(err)
	}
	c.check(t, res.Episodes)
}

// proven holds a finished session against verify and replay.
func proven(t *testing.T, folder string) {
	t.Helper()
	rep, err := trail.Verify(folder, "")
	if err != nil || !rep.OK() || !rep.Sealed || rep.Lost > 0 {
		t.Errorf("the trail does not hold: %v %+v", err, rep)
	}
	again, err := review.Reproduce(folder)
	if err != nil || !again.Same {
		t.Errorf("the core does not come to the same decisions again: %v %+v", err, again)
	}
}

// openSite is a pen for tests that need no recording.
const openSite = `
[site]
name = "Test hall"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = %q
[[zone]]
name = "cage"
kind = "keep-in"
floor = 0.0
ceiling = 3.2
polygon = [[0,0],[7,0],[7,5],[0,5]]
[[vehicle]]
name = "wren"
kind = "multirotor"
radius = 0.22
height = 0.12
[vehicle.pose]
axes = "z-up"
max_age = "100ms"
[vehicle.limits]
height = %g
speed = 1.5
climb = 1.0
descent = 0.8
tilt = 25
[vehicle.stopping]
reaction = "150ms"
deceleration = 3.0
margin = 0.10
`

func writeSite(t *testing.T, path, url string, height float64) string {
	t.Helper()
	if path == "" {
		path = filepath.Join(t.TempDir(), "site.toml")
	}
	// Renamed into place, as an editor does: a guard that reads it meanwhile
	// sees the old one or the new one.
	if err := os.WriteFile(path+".new", fmt.Appendf(nil, openSite, url, height), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
	return path
}

// hover publishes a still pose at 200 Hz until stop is closed.
func (l *listener) hover(stop <-chan struct{}, x, y, z float64) {
	l.follow(stop, func() (float64, float64, float64) { return x, y, z })
}

// follow publishes where a thing is at 200 Hz until stop is closed.
func (l *listener) follow(stop <-chan struct{}, where func() (x, y, z float64)) {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	var seq uint64
	for {
		select {
		case <-stop:
			return
		case <-tick.C:
			seq++
			x, y, z := where()
			noise := float64(seq%7) * 1e-5 // a real tracker is never bit-identical
			l.keepSending(stop, poseMessage(time.Now().UnixNano(), seq, x+noise, y, z))
		}
	}
}

func poseMessage(stamp int64, seq uint64, x, y, z float64) []byte {
	return fmt.Appendf(nil, `{"stamp":%d.%09d,"seq":%d,"position":{"x":%g,"y":%g,"z":%g},"orientation":{"w":1,"x":0,"y":0,"z":0}}`,
		stamp/1e9, stamp%1e9, seq, x, y, z)
}

func TestBadMessagesAreCountedSaidOnceAndNeverAPermit(t *testing.T) {
	b := mosquittotest.Start(t)
	dir := t.TempDir()
	site := writeSite(t, "", b.URL, 2.8)
	planted := listen(t, b.URL, "wren")
	now := time.Now().UnixNano()
	planted.send(planted.topics.Pose, poseMessage(now, 1, 1, 1, 1), true) // retained before the guard is there
	guard := start(t, "run", "--site", site, "--trail", dir)
	guard.waitFor("watching")
	good := string(poseMessage(now+1e9, 10, 1, 1, 1))
	bad := map[string]string{
		"not-json":     "what?",
		"missing":      `{"stamp":1}`,
		"wrong-type":   strings.Replace(good, `"x":1,`, `"x":"1",`, 1),
		"not-finite":   strings.Replace(good, `"x":1,`, `"x":1e309,`, 1),
		"not-unit":     strings.Replace(good, `"w":1`, `"w":1.5`, 1),
		"duplicate":    strings.Replace(good, `"seq":10`, `"seq":10,"seq":10`, 1),
		"too-large":    strings.Repeat("x", 60<<10),
		"out-of-range": strings.Replace(good, `"x":1,`, `"x":1e9,`, 1),
	}
	for range 3 {
		for _, payload := range bad {
			planted.send(planted.topics.Pose, []byte(payload), false)
		}
		planted.send(planted.topics.Pose, []byte(good[:len(good)/2]), false)                             // truncated
		planted.send(planted.topics.Pose, []byte(strings.Replace(good, `"x":1,`, `"x":NaN,`, 1)), false) // not JSON
		planted.send(planted.topics.Ack, []byte("{"), false)
		planted.send(planted.topics.Request, []byte(`{"ask":"dance","by":"x","nonce":""}`), false)
	}
	publishHuge(t, b.URL, planted.topics.Pose)
	planted.send(planted.topics.Pose, []byte(good), false)
	planted.send(planted.topics.Pose, poseMessage(now, 11, 1, 1, 1), false) // older than the last
	time.Sleep(500 * time.Millisecond)
	if n := planted.granted(); n != 0 {
		t.Errorf("%d permits were granted", n)
	}
	if code := guard.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("exit status %d", code)
	}
	folder := sessionIn(t, dir)
	faultsOnce(t, folder, append(keys(bad), "stamp-back", "retained"))
	proven(t, folder)
}

// publishHuge sends 10 MB, which the project's own client refuses to.
func publishHuge(t *testing.T, url, topic string) {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).SetClientID("huge")
	c := mqtt.NewClient(o)
	for _, token := range []func() mqtt.Token{c.Connect, func() mqtt.Token { return c.Publish(topic, 0, false, make([]byte, 10<<20)) }} {
		if tok := token(); !tok.WaitTimeout(10*time.Second) || tok.Error() != nil {
			t.Fatalf("10 MB could not be sent: %v", tok.Error())
		}
	}
	c.Disconnect(1000)
	time.Sleep(300 * time.Millisecond)
}

// faultsOnce looks for exactly one record of each kind of fault.
func faultsOnce(t *testing.T, folder string, want []string) {
	t.Helper()
	r, err := trail.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	if err := r.Events(func(l trail.Line) error {
		var b struct{ Kind string }
		if l.Kind == "fault" {
			if err := json.Unmarshal(l.Body, &b); err != nil {
				return err
			}
			seen[b.Kind]++
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	for _, k := range want {
		if seen[k] != 1 {
			t.Errorf("fault %q is said %d times, want once; seen %v", k, seen[k], seen)
		}
	}
	if seen["unreadable"] != 2 {
		t.Errorf("an unreadable ack and request are said %d times, want once each", seen["unreadable"])
	}
}

func keys(m map[string]string) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func TestStartPermitsStopAndShutdown(t *testing.T) {
	b := mosquittotest.Start(t)
	dir := t.TempDir()
	site := writeSite(t, "", b.URL, 2.8)
	guard := start(t, "run", "--site", site, "--trail", dir)
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	stop := make(chan struct{})
	defer close(stop)
	go l.hover(stop, 3, 2, 1.5)
	within(t, 10*time.Second, "the guard is ready to start", func() bool { s := l.last(); return s.PoseAge != nil && len(s.Blocked) == 0 })
	if n := l.granted(); n != 0 {
		t.Fatalf("%d permits before the start", n)
	}
	var out, errw bytes.Buffer
	if code := Main([]string{"ask", "start", "--site", site, "--by", "test"}, nil, &out, &errw); code != exitFine {
		t.Fatalf("ask start: exit status %d: %s", code, errw.String())
	}
	within(t, 5*time.Second, "permits flow", func() bool { return l.granted() > 10 })
	reloadTighterOnly(t, guard, l, site, b.URL)
	stopFirst(t, guard, l)
	proven(t, sessionIn(t, dir))
}

// reloadTighterOnly sends a looser and then a tighter site file.
func reloadTighterOnly(t *testing.T, guard *process, l *listener, site, url string) {
	t.Helper()
	writeSite(t, site, url, 3.0)
	hangup(t, guard)
	guard.waitFor("not taken")
	within(t, 5*time.Second, "the state says that the new site is refused", func() bool {
		return strings.HasPrefix(l.last().SiteSaid, "not taken, the old one stays in force: ")
	})
	writeSite(t, site, url, 2.5)
	hangup(t, guard)
	guard.waitFor("is in force: ")
	within(t, 5*time.Second, "the state says that it is taken", func() bool { return strings.HasPrefix(l.last().SiteSaid, "taken: ") })
	if s := l.last(); !s.Go {
		t.Errorf("a tighter site that the vehicle keeps took the permit away: %+v", s)
	}
	writeSite(t, site, url, 1.4) // lower than it flies
	hangup(t, guard)
	within(t, 5*time.Second, "a limit below the vehicle stops it", func() bool { return l.last().Level == "stop" })
}

func hangup(t *testing.T, p *process) {
	t.Helper()
	if err := p.cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
}

// stopFirst ends the guard and looks at what it said last.
func stopFirst(t *testing.T, guard *process, l *listener) {
	t.Helper()
	if code := guard.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("exit status %d", code)
	}
	time.Sleep(200 * time.Millisecond)
	l.mu.Lock()
	defer l.mu.Unlock()
	if len(l.commands) == 0 || l.commands[len(l.commands)-1].Action == "" {
		t.Error("no command was heard")
	}
	if p := l.permits[len(l.permits)-1]; p.Go {
		t.Errorf("the last permit lets the vehicle go: %+v", p)
	}
}
