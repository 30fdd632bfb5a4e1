package cli

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/chromedp/kb"

	"pinfold/sim"
	"pinfold/watchdog/console/browsertest"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
)

const consoleToken = "a-token-of-the-test-alone-0123456789"

// consoleRig is a real daemon over mosquitto with a simulated rover, and its page
// in a browser.
type consoleRig struct {
	*testing.T
	guard *process
	node  *sim.Node
	args  []string // of the guard
	page  *browsertest.Page
	heard *witness
	trail string
	url   string // of the broker
}

// newConsoleRig starts the daemon; the vehicles are simulated, or left to the
// test.
func newConsoleRig(t *testing.T, simulated bool) *consoleRig {
	t.Helper()
	b := mosquittotest.Start(t)
	dir := t.TempDir()
	addr := mosquittotest.FreeAddr(t)
	// Patience with a machine that is busy with other tests: what is shown here is
	// not how soon a silence is noticed.
	text := strings.ReplaceAll(sim.DemoSite(b.URL), "max_age = \"100ms\"", "max_age = \"800ms\"\n[vehicle.permit]\nvalid = \"1s\"")
	text += fmt.Sprintf("[console]\nlisten = %q\ntoken_file = \"token\"\n", addr)
	for name, data := range map[string]string{"site.toml": text, "token": consoleToken + "\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(data), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	r := &consoleRig{T: t, trail: filepath.Join(dir, "trail")}
	r.args = []string{"run", "--site", filepath.Join(dir, "site.toml"), "--trail", r.trail}
	r.guard = start(t, r.args...)
	r.guard.waitFor("the console is at http://" + addr + "/")
	r.url = b.URL
	r.heard = newWitness(t, b.URL)
	names := []string{sim.Wren, sim.Mole} // wren stands where it is
	if !simulated {
		names = nil
	}
	for _, name := range names {
		o := sim.DemoNode(name, b.URL, "", 7)
		if name == sim.Mole {
			o.Plant = sim.NewRover(sim.DemoRover(), 12.6, 1.2, 0, sim.Tick) // a short way from the east edge
		}
		var err error
		if r.node, err = sim.StartNode(context.Background(), o); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(r.node.Close)
	}
	r.page = browsertest.Open(t, "http://"+addr, 1360, 900)
	r.page.Resize(1360, 900)
	r.page.Wait("frames come", `document.body.dataset.word === "live" && document.querySelector("#v-mole")`, 20*time.Second)
	return r
}

// witness keeps the states of the rover as anybody hears them on the broker, with
// the wall clock's instant of hearing, which the browser's clock is too.
type witness struct {
	mu     sync.Mutex
	states []wire.State
	at     []time.Time
}

func newWitness(t *testing.T, url string) *witness {
	t.Helper()
	topics, err := wire.Topics(wire.DefaultPrefix, sim.Mole)
	if err != nil {
		t.Fatal(err)
	}
	inbox, err := link.NewInbox(link.Queue{Max: wire.StateMax})
	if err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: url, ClientID: "witness", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topics.State, QoS: 1, Inbox: inbox}}})
	if err != nil {
		t.Fatal(err)
	}
	w, stop := &witness{}, make(chan struct{})
	t.Cleanup(func() { close(stop); _ = c.Close(time.Second) })
	go func() {
		var m link.Message
		for {
			for inbox.Take(&m) {
				if s, err := wire.DecodeState(m.Payload); err == nil {
					w.mu.Lock()
					w.states, w.at = append(w.states, s), append(w.at, begun.Add(m.Arrived))
					w.mu.Unlock()
				}
			}
			select {
			case <-stop:
				return
			case <-inbox.Ready():
			}
		}
	}()
	return w
}

// last is the newest state, and the instant when the level it shows was first
// heard.
func (w *witness) last() (s wire.State, since time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for i := len(w.states) - 1; i >= 0 && w.states[i].Level == w.states[len(w.states)-1].Level; i-- {
		s, since = w.states[len(w.states)-1], w.at[i]
	}
	return s, since
}

// first is the first state of a level after an instant.
func (w *witness) first(level string, after time.Time) (wire.State, time.Time, bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for i := range w.states {
		if w.at[i].After(after) && w.states[i].Level == level {
			return w.states[i], w.at[i], true
		}
	}
	return wire.State{}, time.Time{}, false
}

// near says whether a clearance is what the states say that were heard up to d before
// and after an instant, or between two of them; to the centimetre that is shown.
func (w *witness) near(shown float64, at time.Time, d time.Duration) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	least, most := math.Inf(1), math.Inf(-1)
	for i, s := range w.states {
		// The last before that span counts too: it is what held when it began.
		before := i+1 < len(w.states) && !w.at[i+1].Before(at.Add(-d))
		if s.Clearance != nil && (before || !w.at[i].Before(at.Add(-d))) && !w.at[i].After(at.Add(d)) {
			least, most = min(least, *s.Clearance), max(most, *s.Clearance)
		}
	}
	return least-0.011 <= shown && shown <= most+0.011
}

// observe has the page itself write down what its rover's card shows, and when.
const observe = `(() => {
	window.seen = [];
	const card = document.querySelector("#v-mole"), word = card.querySelector(".word");
	const look = () => {
		const level = word.textContent, last = window.seen.at(-1);
		if (!last || last.level !== level) window.seen.push({ at: Date.now(), level, why: card.querySelector(".why").textContent, room: card.querySelector(".room b").textContent });
	};
	new MutationObserver(look).observe(card, { subtree: true, childList: true, characterData: true });
	new MutationObserver(() => { if (document.body.dataset.word === "lost") window.greyed ??= Date.now(); }).observe(document.body, { attributes: true });
	look();
	return true;
})()`

type sight struct {
	At               float64
	Level, Why, Room string
}

// sights is what the page wrote down of a level after an instant.
func (r *consoleRig) sight(level string, after time.Time) (sight, bool) {
	r.Helper()
	for _, s := range browsertest.Eval[[]sight](r.page, "window.seen") {
		if s.Level == level && s.At >= float64(after.UnixMilli()) {
			return s, true
		}
	}
	return sight{}, false
}

// permit presses what the rover's reset or start needs, twice.
func (r *consoleRig) permit(act string) {
	r.Helper()
	// Both presses in one step, when it may be asked: the first is forgotten after
	// 5 s, which a busy machine may need.
	r.page.Wait(act+" is pressed twice", fmt.Sprintf(`(b => {
		if (b.hidden || !b.textContent.toLowerCase().startsWith(%q) || b.getAttribute("aria-disabled") !== "false") return false;
		b.click();
		if (!b.textContent.startsWith("Press again to %s")) return false;
		b.click();
		return true;
	})(document.querySelector("#p-mole button"))`, act, act), 20*time.Second)
}

func (r *consoleRig) level(level string) {
	r.Helper()
	r.page.Wait("the page shows "+level, fmt.Sprintf(`document.querySelector("#v-mole .word").textContent === %q`, level), 20*time.Second)
}

// agree holds what the page shows of a level against the state on the broker. The
// issue of it is 200 ms; on a machine that is busy with other tests only a bound
// that cannot be missed is held here, and the figure is logged.
func (r *consoleRig) agree(level string, after time.Time) {
	r.Helper()
	var st wire.State
	var at time.Time
	within(r.T, 30*time.Second, "the state on the broker is "+level, func() (ok bool) { st, at, ok = r.heard.first(level, after); return ok })
	r.page.Wait("the page has seen "+level, fmt.Sprintf(`window.seen.some(s => s.level === %q && s.at >= %d)`, level, after.UnixMilli()), 10*time.Second)
	got, _ := r.sight(level, after)
	late := got.At - float64(at.UnixMicro())/1000
	r.Logf("%s: on the page %.0f ms after the state on the broker", level, late)
	if late > 3000 {
		r.Errorf("%s is shown %.0f ms after the state on the broker", level, late)
	}
	var shown float64
	if n, _ := fmt.Sscanf(got.Room, "%f m", &shown); n != 1 || !r.heard.near(shown, time.UnixMilli(int64(got.At)), 200*time.Millisecond) {
		r.Errorf("%s: the page shows %q, which no state of the 200 ms around says", level, got.Room)
	}
	if c := cause(&st); c != "" && !strings.HasPrefix(got.Why, c) {
		r.Errorf("%s: the page says %q, the state %q", level, got.Why, c)
	}
}

// cause is the sentence of the state's cause.
func cause(st *wire.State) string {
	switch {
	case len(st.Latched) > 0:
		return st.Latched[0].Text
	case len(st.Causes) > 0 && st.Level == "stop":
		return st.Causes[0].Text
	}
	return ""
}

// sameRoom waits until the page's clearance is that of the newest state.
func (r *consoleRig) sameRoom() {
	r.Helper()
	within(r.T, 10*time.Second, "the page and the state agree on the clearance", func() bool {
		st, _ := r.heard.last()
		var shown float64
		n, _ := fmt.Sscanf(browsertest.Eval[string](r.page, `document.querySelector("#v-mole .room b").textContent`), "%f m", &shown)
		return n == 1 && st.Clearance != nil && math.Abs(*st.Clearance-shown) < 0.011
	})
}

// TestConsole looks at the page in two browsers side by side, and beside no other
// test.
func TestConsole(t *testing.T) {
	if testing.Short() {
		t.Skip("takes two browsers some 15 s")
	}
	t.Run("again", consoleAgain)
	t.Run("drives", func(t *testing.T) { t.Parallel(); consoleDrives(t) })
	t.Run("carried", func(t *testing.T) { t.Parallel(); consoleCarried(t) })
}

// consoleDrives has a rover run into a caution and a stop, and be stopped by hand.
func consoleDrives(t *testing.T) {
	r := newConsoleRig(t, true)
	r.pressing()
	browsertest.Eval[bool](r.page, observe)
	r.page.Type("#token", "the-wrong-token-of-the-test")
	r.permit("start")
	r.page.Wait("a wrong token is refused", `document.querySelector("#p-mole [role=status]").textContent.includes("not the right one")`, 10*time.Second)
	for _, w := range r.page.Wrong() {
		if !strings.Contains(w, "403") {
			t.Errorf("the page: %s", w)
		}
	}
	browsertest.Eval[bool](r.page, `(() => { token.value = ""; by.value = "hall lead"; return true; })()`)
	r.page.Type("#token", consoleToken)

	begun := time.Now()
	r.permit("start")
	r.level("clear")
	r.page.Wait("the answer is shown", `document.querySelector("#p-mole [role=status]").textContent.includes("start asked by hall lead at the console: effective")`, 5*time.Second)
	r.node.SetPilot(sim.NewScript(sim.Phrase{For: time.Minute, Control: sim.Control{Mode: sim.Drive, Speed: 0.6}}))
	r.agree("caution", begun)
	r.agree("stop", begun)
	_, stopped, _ := r.heard.first("stop", begun)
	r.atRest("the guard's stop", stopped)
	r.sameRoom()
	r.glance("console_stop")
	r.stopPressed()
	r.minuteBefore()
	r.looks()
	r.page.Quiet()
	r.killed()
}

// atRest waits until the rover stands, and says how long after an instant.
func (r *consoleRig) atRest(what string, from time.Time) {
	r.Helper()
	within(r.T, 10*time.Second, "the rover stands", func() bool { v := r.node.View(); return !v.MayMove && v.State.Still() })
	r.Logf("%s: at rest after %.2f s", what, time.Since(from).Seconds())
}

// stopPressed resets and starts, and stops by the large button and by its key.
func (r *consoleRig) stopPressed() {
	r.Helper()
	for _, press := range []func(){func() { r.page.Click("#stop-all") }, func() { r.page.Press(kb.Escape) }} {
		r.node.SetPilot(sim.NewScript(sim.Phrase{For: 2 * time.Minute, Control: sim.Control{Mode: sim.Drive, Speed: -0.5}}))
		r.permit("reset")
		r.level("waiting")
		begun := time.Now()
		r.permit("start")
		within(r.T, 10*time.Second, "it drives", func() bool { return r.node.View().State.Velocity.Len() > 0.4 })
		pressed := time.Now()
		press()
		r.atRest("stop pressed", pressed)
		r.agree("stop", begun)
		if st, _ := r.heard.last(); len(st.Latched) != 1 || st.Latched[0].Cause != "operator" {
			r.Errorf("latched after a pressed stop: %+v", st.Latched)
		}
	}
}

// looks has pictures taken, and the page held against WCAG, as it looks to
// different people.
func (r *consoleRig) looks() {
	r.Helper()
	r.Run("wcag, light", func(t *testing.T) { r.page.Axe(t) })
	r.page.Prefer("prefers-color-scheme", "dark")
	r.Run("wcag, dark", func(t *testing.T) { r.page.Axe(t) })
	r.glance("console_dark")
	r.page.Prefer("prefers-color-scheme", "light")
	r.page.Resize(360, 740)
	r.Run("wcag, a phone", func(t *testing.T) { r.page.Axe(t) })
	wide := browsertest.Eval[float64](r.page, `document.documentElement.scrollWidth`)
	high := browsertest.Eval[float64](r.page, `document.querySelector("#stop-all").getBoundingClientRect().height`)
	seen := browsertest.Eval[float64](r.page, `(scrollTo(0, 0), document.querySelector("#v-mole").getBoundingClientRect().bottom)`)
	if wide > 360 || high < 60 {
		r.Errorf("on a phone the page is %.0f px wide, the stop %.0f px high", wide, high)
	}
	r.scaleIsFree()
	r.Logf("on a phone the second vehicle's card ends at %.0f px of 740", seen)
	r.glance("console_phone")
	r.page.Shot("console_phone_whole")
	r.page.Resize(1360, 900)
}

// glance makes a picture of the top of the page.
func (r *consoleRig) glance(name string) {
	r.Helper()
	browsertest.Eval[bool](r.page, "(scrollTo(0, 0), document.activeElement.blur(), true)")
	r.page.Glance(name)
}

// killed has the daemon die, and the page turn grey.
func (r *consoleRig) killed() {
	r.Helper()
	// It may have been grey while the machine was busy with axe.
	r.page.Wait("live", `document.body.dataset.word === "live"`, 10*time.Second)
	browsertest.Eval[bool](r.page, "delete window.greyed")
	died := time.Now()
	if err := r.guard.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		r.Fatal(err)
	}
	r.page.Wait("the page is grey", `document.body.dataset.word === "lost" && window.greyed`, 10*time.Second)
	r.Logf("grey %.0f ms after the daemon was killed", browsertest.Eval[float64](r.page, "window.greyed")-float64(died.UnixMicro())/1000)
	words := browsertest.Eval[string](r.page, `[...document.querySelectorAll(".word")].map(w => w.textContent).join() + document.getElementById("lost").textContent`)
	if !strings.HasPrefix(words, "no word,no word") || !strings.Contains(words, "No word from the guard since ") {
		r.Errorf("grey, the page says %q", words)
	}
	r.glance("console_lost")
	r.page.Click("#stop-all")
	r.page.Wait("a stop that cannot be sent is said", `document.getElementById("halt-says").textContent.includes("NOT sent")`, 10*time.Second)
}

// consoleCarried carries a multirotor by hand: outside, a
// reset is refused by the page and by the guard; inside it is accepted, and the
// session is judged again the same.
func consoleCarried(t *testing.T) {
	r := newConsoleRig(t, false)
	l, stop := listen(t, r.url, sim.Wren), make(chan struct{})
	defer close(stop)
	var in atomic.Bool
	x := -1.0
	go l.follow(stop, func() (float64, float64, float64) {
		if in.Load() && x < 3 {
			x += 0.004 // 0.8 m/s
		}
		return x, 2, 1
	})
	r.page.Type("#token", consoleToken)
	r.page.Wait("it may be stopped while outside", `document.querySelector("#v-wren .where, #v-wren .room").textContent.includes("-")`, 20*time.Second)
	r.page.Click("#v-wren .stop")
	button := `document.querySelector("#p-wren button:not(.back)")`
	missing := `document.querySelector("#p-wren ul").textContent`
	r.page.Wait("the page says what a reset lacks", missing+`.includes("missing: is outside cage by ")`, 20*time.Second)
	r.page.Wait("the rest holds", missing+`.split("missing: ").length === 2`, 20*time.Second)
	r.page.Wait("the page refuses", `(`+button+`.click(), document.querySelector("#p-wren [role=status]").textContent.startsWith("Not yet: "))`, 10*time.Second)
	r.page.Shot("console_outside")
	status := browsertest.Eval[float64](r.page, fmt.Sprintf(`fetch("ask", {method: "POST", headers: {"Content-Type": "application/json", Authorization: "Bearer %s"},
		body: JSON.stringify({ask: "reset", vehicle: "wren", by: "somebody bold", nonce: %q})}).then(r => r.status)`, consoleToken, l.last().Nonce))
	if status != 202 {
		t.Errorf("a reset past the page: status %v", status)
	}
	r.guard.waitFor("reset asked by somebody bold at the console: refused")
	if got := l.last().Level; got != "stop" && got != "land" { // nobody acknowledges it, so it goes on to a land
		t.Errorf("after a refused reset the level is %s", got)
	}
	broughtBack(r, l, func() { in.Store(true) })
	r.page.Wait("nothing is missing, and it is pressed twice", `(b => !b.hidden && b.getAttribute("aria-disabled") === "false" && (b.click(), b.click(), true))(`+button+`)`, 30*time.Second)
	r.page.Wait("waiting", `document.querySelector("#v-wren .word").textContent === "waiting"`, 10*time.Second)
	r.page.Quiet()
	openedReport(r)
	if code := r.guard.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("exit status %d", code)
	}
	folder := sessionIn(t, r.trail)
	proven(t, folder)
	pastReport(t, folder)
}

// broughtBack asks for a start that brings the vehicle back, which begin then does.
func broughtBack(r *consoleRig, l *listener, begin func()) {
	r.Helper()
	const answer = `document.querySelector("#p-wren [role=status]").textContent`
	asked := func() string {
		r.page.Wait("it may be brought back, and that is pressed twice",
			`(b => !b.hidden && b.getAttribute("aria-disabled") === "false" && (b.click(), b.textContent === "Press again to bring wren back") && (b.click(), true))(document.querySelector("#p-wren .back"))`, 20*time.Second)
		r.page.Wait("what became of what was asked is shown", answer+`.startsWith("start to bring it back asked by console: ")`, 10*time.Second)
		return browsertest.Eval[string](r.page, answer)
	}
	said := asked()
	for range 3 { // the nonce of before may still be on its way to the page
		if strings.Contains(said, "the nonce is not the one") {
			said = asked()
		}
	}
	if !strings.Contains(said, ": effective") {
		r.Fatalf("brought back: %s", said)
	}
	r.page.Wait("the page says so", `document.querySelector("#v-wren .why").textContent === "being brought back into its pen"`, 20*time.Second)
	begin()
	within(r.T, 20*time.Second, "it is back", func() bool {
		s := l.last()
		return s.Level == "stop" && len(s.Latched) > 0 && s.Latched[0].Text == "is back inside: reset, then start"
	})
	r.page.Wait("nowhere to bring it back from", `document.querySelector("#p-wren .back").hidden`, 10*time.Second)
}

// openedReport has the page list the sessions, and follows the link to the report of
// the one that runs.
func openedReport(r *consoleRig) {
	r.Helper()
	r.page.Click("#list")
	r.page.Wait("this session is listed", `document.querySelector("#sessions a")?.textContent.startsWith("This session, so far: ")`, 10*time.Second)
	browsertest.Eval[bool](r.page, `(location.href = document.querySelector("#sessions a").href, true)`)
	r.page.Wait("its report is open", `document.title.startsWith("Session ") && document.querySelector("svg") !== null`, 30*time.Second)
	if text := browsertest.Eval[string](r.page, `document.body.innerText`); !strings.Contains(text, "asked for by console") || !strings.Contains(text, "not a certified safety function") {
		r.Errorf("the report of the running session says:\n%.2000s", text)
	}
	r.page.Shot("console_report")
	r.page.Quiet()
}

// pastReport has the page of a session made as the console does.
func pastReport(t *testing.T, folder string) {
	t.Helper()
	self, err := program()
	if err != nil {
		t.Fatal(err)
	}
	b, err := reportBy(context.Background(), self, folder)
	if err != nil || !strings.Contains(string(b), "<title>Session ") || !strings.Contains(string(b), "asked for by console") {
		t.Errorf("the page of a past session has %d bytes: %v", len(b), err)
	}
	if _, err := reportBy(context.Background(), self, t.TempDir()); err == nil || !strings.Contains(err.Error(), "could not be made: pinfold: ") {
		t.Errorf("the report of no session: %v", err)
	}
	over, cancel := context.WithCancel(context.Background())
	cancel()
	if b, err := reportBy(over, self, folder); err == nil {
		t.Errorf("a report that was given up has %d bytes", len(b))
	}
}
