package cli

import (
	"fmt"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/console/browsertest"
)

// consoleAgain has the daemon stand still under an open page and go on, then die and
// start again, with a second browser that stops.
func consoleAgain(t *testing.T) {
	r := newConsoleRig(t, true)
	r.stood()
	r.restarted()
	const stopped = `document.querySelector("#v-wren .why").textContent.startsWith("asked for by somebody else at the console")`
	other := browsertest.Open(t, r.page.Home(), 900, 700)
	other.Wait("live in the second browser", `document.body.dataset.word === "live" && document.querySelector("#v-mole")`, 30*time.Second)
	browsertest.Eval[bool](other, `(() => { by.value = "somebody else"; return true; })()`)
	other.Click("#stop-all")
	for which, p := range map[string]*browsertest.Page{"which stopped": other, "other": r.page} {
		p.Wait("the browser "+which+" shows the stop", stopped, 20*time.Second)
	}
	other.Quiet()
}

// stood has the daemon stand still and go on: the page greys, and comes back by
// itself.
func (r *consoleRig) stood() {
	r.Helper()
	const live = `document.body.dataset.word === "live"`
	r.page.Wait("live", live, 10*time.Second)
	for _, sig := range []syscall.Signal{syscall.SIGSTOP, syscall.SIGCONT} {
		if err := r.guard.cmd.Process.Signal(sig); err != nil {
			r.Fatal(err)
		}
		if sig == syscall.SIGSTOP {
			r.page.Wait("grey while the daemon stands", `document.body.dataset.word === "lost"`, 10*time.Second)
			time.Sleep(2 * time.Second)
		}
	}
	r.page.Wait("live once it goes on", live, 20*time.Second)
}

// restarted has the daemon die and start again under the open page, which was grey,
// shows the new session with strips that begin anew, and can still ask for motion.
func (r *consoleRig) restarted() {
	r.Helper()
	const session = `document.getElementById("session").textContent`
	was := browsertest.Eval[string](r.page, session)
	r.page.Type("#token", consoleToken)
	if err := r.guard.cmd.Process.Signal(syscall.SIGKILL); err != nil {
		r.Fatal(err)
	}
	r.page.Wait("grey when the daemon is dead", `document.body.dataset.word === "lost"`, 10*time.Second)
	time.Sleep(time.Second) // the strips hold more than the new session can
	r.guard = start(r.T, r.args...)
	r.guard.waitFor("the console is at ")
	r.page.Wait("the new session is shown", fmt.Sprintf(`document.body.dataset.word === "live" && %s.startsWith("Session ") && %s !== %q`, session, session, was), 30*time.Second)
	r.page.Wait("the strips are of the new session", `(() => {
		const now = +document.getElementById("link").textContent.match(/([0-9]+) s into/)[1];
		const spans = [...document.querySelectorAll("#strips [role=img]")].map(e => (e.getAttribute("aria-label") || "").match(/last ([0-9]+) s/)).filter(m => m);
		return spans.length > 0 && spans.every(m => +m[1] <= now + 1);
	})()`, 10*time.Second)
	for _, w := range r.page.Wrong() { // it asked while nobody answered
		if !strings.Contains(w, "ERR_") {
			r.Errorf("the page: %s", w)
		}
	}
	r.permit("start")
	r.level("clear")
}
