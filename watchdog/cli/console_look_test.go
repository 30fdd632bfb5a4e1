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

// pressing holds a permit's buttons, made by the page's own script for a vehicle
// that is not there, against hands that are too quick: two presses are two, not a
// double click (UI Events, detail), and not a key that is held. What is missing is
// told whole, whatever a zone is called.
func (r *consoleRig) pressing() {
	r.Helper()
	if wrong := browsertest.Eval[string](r.page, `(async () => {
		const { Permit } = await import("./acts.js"), wrong = [], asked = [];
		const p = new Permit({ name: "vole" }), b = p.plain.button;
		const show = blocked => p.show({ trust: "", rest: true, link: true, trail: true, back: null, state: { level: "waiting", blocked, nonce: "n" } }, true);
		const click = detail => { b.dispatchEvent(new MouseEvent("click", { detail })); show([]); };
		const is = (what, n) => { if (asked.length !== n) wrong.push(what + " asked " + asked.length + " times"); };
		p.ask = w => asked.push(w.ask);
		show([]);
		click(1); click(2); click(3);
		is("a triple click", 0);
		click(1);
		is("one more click", 1);
		if (b.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", repeat: true, cancelable: true }))) wrong.push("a key that is held presses again and again");
		if (!b.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", cancelable: true }))) wrong.push("a key does not press");
		show(["is outside a|b by 1.00 m"]);
		if (!p.list.textContent.includes("is outside a|b by 1.00 m")) wrong.push("told: " + p.list.textContent);
		return wrong.join("; ");
	})()`); wrong != "" {
		r.Errorf("pressing: %s", wrong)
	}
}
