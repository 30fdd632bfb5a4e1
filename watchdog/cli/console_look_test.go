package cli

import (
	"time"

	"pinfold/watchdog/console/browsertest"
)

// minuteBefore opens the page anew after the stops, and sees in its strips what was
// before it was opened.
func (r *consoleRig) minuteBefore() {
	r.Helper()
	r.page.Again()
	r.page.Wait("frames come again", `document.body.dataset.word === "live" && document.querySelector("#v-mole")`, 20*time.Second)
	browsertest.Eval[bool](r.page, observe)
	r.page.Wait("the strips of the rover are chosen", `(b => { if (b) b.click(); return b; })([...document.querySelectorAll("#whose button")].find(b => b.textContent === "mole"))`, 10*time.Second)
	r.page.Wait("its strips hold the drive and the stop from before", `(() => {
		const says = k => [...document.querySelectorAll("#strips [role=img]")].map(e => e.getAttribute("aria-label") || "").find(t => t.startsWith(k)) || "";
		const m = says("speed of mole").match(/last (\d+) s: ([-\d.]+) to ([-\d.]+) m\/s, now ([-\d.]+)/);
		return m && +m[1] >= 3 && +m[3] > 0.35 && +m[4] < 0.1;
	})()`, 10*time.Second)
	r.glance("console_opened_after")
}

// scaleIsFree sees that nothing is written over the length that the pictures are
// measured by, which stands last in each.
func (r *consoleRig) scaleIsFree() {
	r.Helper()
	if over := browsertest.Eval[string](r.page, `["plan", "side"].flatMap(id => {
		const all = [...document.querySelectorAll("#" + id + " text")].filter(t => t.textContent && t.getAttribute("visibility") !== "hidden"), l = all.pop().getBoundingClientRect();
		return all.filter(t => { const b = t.getBoundingClientRect(); return b.left < l.right && b.right > l.left && b.top < l.bottom - 2 && b.bottom - 2 > l.top; }).map(t => id + ": " + t.textContent);
	}).join("; ")`); over != "" {
		r.Errorf("on a phone the scale's length is written over: %s", over)
	}
}
