package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/trail"
	"pinfold/watchdog/walk"
)

// walkSite is a pen small enough to be walked in a few seconds.
const walkSite = `[site]
name = "Walk test"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = %q
[[zone]]
name = "pen"
kind = "keep-in"
floor = -0.5
ceiling = 3.0
polygon = [[0,0],[2.6,0],[2.6,2.0],[0,2.0]]
[[vehicle]]
name = "wren"
kind = "multirotor"
radius = 0.10
height = 0.10
[vehicle.pose]
axes = "z-up"
max_age = "250ms"
[vehicle.limits]
speed = 1.81
tilt = 25
height = 2.8
[vehicle.stopping]
reaction = "150ms"
deceleration = 9.0
margin = 0.05
`

// person carries a vehicle and does what is printed.
type person struct {
	t     *testing.T
	hands *sim.Carried
	node  *sim.Node
	home  sim.Vec
	pace  float64
	route map[int][]sim.Vec // by item, the way round what stands in between
	back  []sim.Vec
	mu    sync.Mutex
	text  bytes.Buffer
	read  int // of text
	item  int // that was asked for last
	// astray, where not nil, may do something else when item n is asked for.
	astray func(n int) bool
}

// Write takes what is printed.
func (p *person) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.text.Write(b)
	p.obey()
	return len(b), nil
}

func (p *person) printed() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}

func (p *person) goHome() {
	p.hands.Lean(0)
	p.hands.Walk(p.pace, append(slices.Clone(p.back), p.home)...)
}

// obey looks at what was printed since it last looked, once it is whole.
func (p *person) obey() {
	rule := strings.Repeat("=", columns-2)
	for {
		left := p.text.String()[p.read:]
		stop := strings.Index(left, "STOP.")
		other := strings.Index(left, "That stop was")
		from := strings.Index(left, rule+"\n")
		switch {
		case from >= 0 && strings.Count(left, rule) >= 2 && (stop < 0 || from < stop):
			body := left[from+len(rule):]
			to := strings.Index(body, rule)
			p.read += from + len(rule) + to + len(rule)
			prompt := strings.Join(strings.Fields(body[:to]), " ")
			p.item, _ = strconv.Atoi(strings.Fields(prompt)[0])
			if p.astray == nil || !p.astray(p.item) {
				p.follow(prompt)
			}
		case stop >= 0 && (from < 0 || stop < from) || other >= 0 && from < 0:
			p.read += max(stop, other) + 5
			p.goHome()
		default:
			return
		}
	}
}

// follow does what a prompt says, as it is printed.
func (p *person) follow(prompt string) {
	at := regexp.MustCompile(`at about \((-?[\d.]+), (-?[\d.]+)\)`).FindStringSubmatch(prompt)
	up := func(dz, speed float64) { h := p.home; h.Z += dz; p.hands.Walk(speed, h) }
	switch {
	case at != nil:
		x, _ := strconv.ParseFloat(at[1], 64)
		y, _ := strconv.ParseFloat(at[2], 64)
		out := p.route[p.item]
		p.back = slices.Clone(out)
		slices.Reverse(p.back)
		p.hands.Walk(p.pace, append(slices.Clone(out), sim.Vec{X: x, Y: y, Z: p.home.Z})...)
	case strings.Contains(prompt, "tilt it"):
		p.hands.Lean(40 * math.Pi / 180)
	case strings.Contains(prompt, "lift it faster"):
		up(0.9, 2)
	case strings.Contains(prompt, "lower it faster"):
		up(-0.7, 2)
	case strings.Contains(prompt, "walk briskly"):
		p.hands.Walk(2, p.home.Add(sim.Vec{X: 4}))
	default:
		p.t.Errorf("a person does not know what to do: %s", prompt)
	}
}

// newPerson takes a simulated vehicle into the hands.
func newPerson(t *testing.T, url, vehicle string, home sim.Vec) *person {
	t.Helper()
	p := &person{t: t, home: home, pace: 0.9}
	p.hands = sim.NewCarried(sim.Body{Radius: 0.1, Below: 0.05, Above: 0.05}, home)
	o := sim.DemoNode(vehicle, url, "", 3)
	o.Plant = p.hands
	o.Pen = judge.Pen{Inside: []judge.Region{{Name: "all", Outer: [][2]float64{{-50, -50}, {50, -50}, {50, 50}, {-50, 50}}, Floor: -5, Ceiling: 9}}, Radius: 0.1, Below: 0.05, Above: 0.05}
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	var err error
	if p.node, err = sim.StartNode(ctx, o); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(p.node.Close)
	return p
}

// walking is one rehearse --walk under way.
type walking struct {
	p    *person
	dir  string
	in   io.WriteCloser
	out  bytes.Buffer
	done chan int
}

// walkWith starts a walk in this process, with a person who follows it.
func walkWith(t *testing.T, change func(*person, string), more ...string) *walking {
	t.Helper()
	b := mosquittotest.Start(t)
	p := newPerson(t, b.URL, sim.Wren, sim.Vec{X: 1.3, Y: 1.0, Z: 1.0})
	w := &walking{p: p, dir: t.TempDir(), done: make(chan int, 1)}
	site := filepath.Join(w.dir, "site.toml")
	if err := os.WriteFile(site, fmt.Appendf(nil, walkSite, b.URL), 0o600); err != nil {
		t.Fatal(err)
	}
	if change != nil {
		change(p, b.URL)
	}
	in, out := io.Pipe()
	w.in = out
	t.Cleanup(func() { out.Close() })
	args := append([]string{"rehearse", "--walk", "--site", site, "--by", "Test", "--trail", filepath.Join(w.dir, "trail"), "--json"}, more...)
	go func() { w.done <- Main(args, in, &w.out, p) }()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("printed:\n%s", p.printed())
		}
	})
	return w
}

// ends waits for the end, and reads the document.
func (w *walking) ends(t *testing.T, want int) (d walkDoc) {
	t.Helper()
	select {
	case code := <-w.done:
		if code != want {
			t.Errorf("exit status %d, want %d", code, want)
		}
	case <-time.After(90 * time.Second):
		t.Fatal("the walk does not end")
	}
	if err := json.Unmarshal(w.out.Bytes(), &d); err != nil {
		t.Fatalf("%v: %s", err, w.out.Bytes())
	}
	return d
}

func (w *walking) waitFor(t *testing.T, text string) {
	t.Helper()
	within(t, 60*time.Second, "it prints "+text, func() bool {
		if len(w.done) > 0 {
			t.Fatalf("it ended before it printed %q", text)
		}
		return strings.Contains(strings.Join(strings.Fields(w.p.printed()), " "), text)
	})
}

// outcomes are a list's, by what they are about.
func outcomes(l *walk.List) map[string]walk.Outcome {
	out := map[string]walk.Outcome{}
	for i := range l.Items {
		out[l.Items[i].Title()] = l.Items[i].Outcome
	}
	return out
}

// A person who does what is printed has the whole list ticked off; each stop is
// called before the edge, by the command that a bystander heard; nothing is ever
// permitted; and the trail proves it.
func TestWalkIsTickedOff(t *testing.T) {
	t.Parallel()
	var heard *listener
	w := walkWith(t, func(p *person, url string) { heard = listen(t, url, sim.Wren) })
	d := w.ends(t, exitFine)
	got := outcomes(&d.List)
	for _, name := range []string{"edge 1 of pen", "edge 2 of pen", "edge 3 of pen", "edge 4 of pen", "limit on tilt"} {
		if got[name] != walk.Walked {
			t.Errorf("%s: %q", name, got[name])
		}
	}
	if got["limit on height"] != walk.NotWalked || got["ceiling of pen"] != walk.NotWalked || !d.Done || !d.OK {
		t.Errorf("%v, %+v", got, d)
	}
	for i := range d.Items {
		it := &d.Items[i]
		// At 0.9 m/s the stop is due 0.9·0.15 + 0.9²/(2·6) + margin before the
		// edge at least, and a metre is more than any slow machine adds at once.
		if it.Outcome == walk.Walked && it.Kind == walk.Side && (it.Distance < 0.05 || it.Distance > 1) {
			t.Errorf("%s: called %.3f m before the edge", it.Title(), it.Distance)
		}
	}
	if n := heard.granted(); n > 0 {
		t.Errorf("%d permits to move were given in a walk", n)
	}
	proved(t, d.Folder, &d.List)
}

// proved holds what verify and review say of the trail to the list.
func proved(t *testing.T, folder string, want *walk.List) {
	t.Helper()
	r, err := trail.Verify(folder, "")
	if err != nil || !r.OK() || !r.Sealed || len(r.Signed) == 0 || r.Signed[len(r.Signed)-1].About != walk.About {
		t.Fatalf("verify: %v, %+v", err, r)
	}
	code, out, errs := pinfold("verify", folder)
	if code != exitFine || !strings.Contains(out, "signed record about walk of wren; its signature holds") {
		t.Errorf("verify: %d %s%s", code, out, errs)
	}
	code, out, errs = pinfold("review", folder)
	says := fmt.Sprintf("%d walked", want.Count(walk.Walked))
	if code != exitFine || !strings.Contains(out, says) || !strings.Contains(out, "not that the vehicle") {
		t.Errorf("review: %d, want %q in:\n%s%s", code, says, out, errs)
	}
}

// A walker who goes to another edge is told, and nothing is ticked off for it; a
// skip without a reason is refused; one with a reason is kept with it.
func TestWalkTakesNoOtherEdgeAndNoSkipWithoutReason(t *testing.T) {
	t.Parallel()
	w := walkWith(t, func(p *person, _ string) {
		went := false
		p.astray = func(int) bool {
			if !went { // edge 1 is at y = 0
				went = true
				p.hands.Walk(0.9, sim.Vec{X: 1.3, Y: 2.0, Z: 1})
			}
			return true
		}
	})
	w.waitFor(t, "That stop was for something else: it was at edge 3 of pen")
	fmt.Fprintln(w.in, "skip")
	w.waitFor(t, "NOT skipped: a skip needs its reason")
	w.waitFor(t, "1 of 8: edge 1 of pen")
	fmt.Fprintln(w.in, "skip 2")
	w.waitFor(t, "1 is skipped: it is not safe to go there")
	fmt.Fprintln(w.in, "end")
	d := w.ends(t, exitFound)
	first := &d.Items[0]
	if first.Outcome != walk.Skipped || first.Elsewhere < 1 || first.Why != "it is not safe to go there" || d.Done || d.Count(walk.Open) == 0 {
		t.Errorf("%+v, done %v", first, d.Done)
	}
	proved(t, d.Folder, &d.List)
}

// A tracker that dies in mid-walk shows nothing: nothing is ticked off, the
// person is told, and what there is is kept.
func TestWalkWithATrackerThatDies(t *testing.T) {
	t.Parallel()
	w := walkWith(t, func(p *person, _ string) {
		p.astray = func(n int) bool {
			if n == 2 {
				p.node.Faults.Silence(true)
			}
			return n >= 2
		}
	}, "--wait", "12s")
	w.waitFor(t, "That stop was for something else:")
	w.waitFor(t, "no pose to be trusted")
	w.p.node.Faults.Silence(false)
	d := w.ends(t, exitFound)
	if d.Items[0].Outcome != walk.Walked || d.Items[1].Outcome != walk.Open || d.Done || !strings.Contains(d.Ended, "nothing was ticked off within") {
		t.Errorf("%+v", d.List)
	}
}

// A tracker that restarts in mid-walk makes its tie to the room void: nothing is
// ticked off until it is aligned again, beside the walk, which then goes on.
func TestWalkGoesOnOnceAlignedAgain(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	p := newPerson(t, b.URL, sim.Wren, sim.Vec{X: 1.3, Y: 1.0, Z: 1.0})
	dir := t.TempDir()
	site := filepath.Join(dir, "site.toml")
	text := strings.Replace(fmt.Sprintf(walkSite, b.URL), "[vehicle.limits]", "[vehicle.pose.align]\nfile = \"wren.align.json\"\n[vehicle.limits]", 1)
	if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	align := func() {
		t.Helper()
		code, out, errs := pinfold("align", "--pad", "--site", site, "--at", "1.3,1.0,1.0", "--heading", "0", "--heading-error", "0.2", "--hold", "1s")
		if code != exitFine {
			t.Fatalf("align: %d %s%s", code, out, errs)
		}
	}
	align()
	restarted := false
	p.astray = func(n int) bool {
		if n == 2 && !restarted {
			restarted = true
			p.node.Faults.RestartTracker()
			return true
		}
		return false
	}
	w := &walking{p: p, dir: dir, done: make(chan int, 1)}
	in, typed := io.Pipe()
	t.Cleanup(func() { typed.Close() })
	go func() {
		w.done <- Main([]string{"rehearse", "--walk", "--site", site, "--trail", filepath.Join(dir, "trail"), "--json"}, in, &w.out, p)
	}()
	t.Cleanup(func() {
		if t.Failed() {
			t.Logf("printed:\n%s", p.printed())
		}
	})
	w.waitFor(t, "tie to the room is VOID")
	align()
	w.waitFor(t, "STOP. 2 is ticked off")
	fmt.Fprintln(typed, "end")
	d := w.ends(t, exitFound)
	if d.Items[0].Outcome != walk.Walked || d.Items[1].Outcome != walk.Walked || d.Items[1].Elsewhere < 1 || d.Tie == "" || d.Residual == 0 {
		t.Errorf("%+v", d.List)
	}
}

// Ctrl-C keeps what was ticked off, sealed, and says that it is a part.
func TestWalkBrokenOffKeepsWhatThereIs(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	p := newPerson(t, b.URL, sim.Wren, sim.Vec{X: 1.3, Y: 1.0, Z: 1.0})
	dir := t.TempDir()
	site := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(site, fmt.Appendf(nil, walkSite, b.URL), 0o600); err != nil {
		t.Fatal(err)
	}
	run := start(t, "rehearse", "--walk", "--site", site, "--trail", filepath.Join(dir, "trail"))
	fed := 0
	p.astray = func(n int) bool { return n > 1 }
	within(t, 60*time.Second, "the first is ticked off and the second said", func() bool {
		text := run.text()
		_, _ = p.Write([]byte(text[fed:]))
		fed = len(text)
		return p.item >= 2
	})
	if code := run.end(syscall.SIGINT); code != exitFound {
		t.Errorf("exit status %d, want %d", code, exitFound)
	}
	text := strings.Join(strings.Fields(run.text()), " ")
	if !strings.Contains(text, "PARTIAL, broken off by who walked") || !strings.Contains(text, "1 walked") {
		t.Errorf("it does not say that it is a part")
	}
	folder := sessionIn(t, filepath.Join(dir, "trail"))
	if code, out, errs := pinfold("review", folder); code != exitFine || !strings.Contains(out, "PARTIAL") {
		t.Errorf("review: %d\n%s%s", code, out, errs)
	}
}

// A walk beside a running guard is refused before anything begins.
func TestWalkBesideAGuardIsRefused(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	dir := t.TempDir()
	site := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(site, fmt.Appendf(nil, walkSite, b.URL), 0o600); err != nil {
		t.Fatal(err)
	}
	start(t, "run", "--site", site, "--trail", filepath.Join(dir, "run")).waitFor("watching")
	code, _, errs := pinfold("rehearse", "--walk", "--site", site, "--trail", filepath.Join(dir, "walk"))
	if code != exitError || !strings.Contains(errs, "a guard is at work for this vehicle") {
		t.Errorf("exit status %d: %s", code, errs)
	}
	if _, err := os.Stat(filepath.Join(dir, "walk")); err == nil {
		t.Error("it has begun a session")
	}
}

// A walk in which another guard gives a permit is broken off.
func TestWalkIsAlone(t *testing.T) {
	t.Parallel()
	var url string
	w := walkWith(t, func(_ *person, u string) { url = u })
	w.waitFor(t, "1 of 8")
	l := listen(t, url, sim.Wren)
	stranger := wire.Permit{Guard: "other", Session: "other", Seq: 9, Go: true, Valid: 0.25, Stamp: 1}
	l.send(l.topics.Permit, stranger.Append(nil), false)
	d := w.ends(t, exitFound)
	if d.Done || !strings.Contains(d.Ended, "a permit to move was given") {
		t.Errorf("ended for %q", d.Ended)
	}
}
