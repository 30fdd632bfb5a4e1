// What a person asks. The guard decides.
import { el, put, clock } from "./vehicle.js";

const says = document.getElementById("halt-says");

async function send(body, headers = {}) {
  const r = await fetch("ask", { method: "POST", headers: { "Content-Type": "application/json", ...headers }, body: JSON.stringify(body), cache: "no-store", keepalive: true });
  const said = await r.json().catch(() => ({}));
  if (!r.ok) throw new Error(said.error || "status " + r.status);
}

// halter gives what asks for a stop or a land. It is sent at once; where no
// answer comes soon, the page gives up its own stream, in case the browser has no
// connection left, and sends it again.
export function halter(spare, name) {
  return async (ask, vehicle) => {
    const whom = vehicle || "all vehicles", body = { ask, vehicle: vehicle || "", by: name() };
    put(says, `${ask} asked for ${whom} …`);
    let sent = false;
    const slow = setTimeout(() => { if (!sent) spare(); }, 250);
    try {
      const first = send(body).then(() => { sent = true; });
      await Promise.any([first, new Promise(go => setTimeout(go, 600)).then(() => sent || send(body))]);
      sent = true;
      put(says, `${clock(new Date())}: ${ask} asked for ${whom}. Watch that it rests.`);
    } catch (e) {
      const why = e.errors ? e.errors[0].message : e.message;
      put(says, `The ${ask} was NOT sent (${why}). Use the emergency stop if anything moves.`);
    } finally {
      clearTimeout(slow);
    }
  };
}

// Permit is the reset and the start of one vehicle.
export class Permit {
  constructor(v) {
    this.v = v;
    this.title = el("h3", { textContent: v.name });
    this.list = el("ul");
    this.button = el("button", { type: "button" });
    this.answer = el("p", { role: "status" });
    this.root = el("div", { className: "permit", id: "p-" + v.name }, this.title, this.list, this.button, this.answer);
    this.button.addEventListener("click", () => this.press());
    this.armed = 0; this.fig = null; this.asked = null;
  }
  // act is what may be asked next; empty: nothing.
  act() {
    const s = this.fig && this.fig.state;
    return !s ? "" : s.level === "stop" || s.level === "land" ? "reset" : s.level === "waiting" ? "start" : "";
  }
  show(fig, mayMove) {
    this.fig = fig;
    const act = this.act(), s = fig && fig.state;
    this.button.hidden = this.list.hidden = !act || !mayMove;
    put(this.title, !s ? this.v.name : act ? `${this.v.name}: ${act}` : `${this.v.name} has its permit`);
    if (act && act !== this.was) { this.was = act; put(this.answer, ""); }
    if (!act) { this.disarm(); return; }
    const lacks = s.blocked, row = (holds, text) => [holds, text].join("|");
    const rows = [row(fig.trust === "", "pose trusted"), row(fig.rest, "at rest"), row(fig.link, "link to the broker"), row(fig.trail, "trail written"),
      ...lacks.map(t => row("no", "missing: " + t)), ...(lacks.length ? [] : [row(true, `nothing is missing for a ${act}`)])];
    this.rows(rows);
    this.button.setAttribute("aria-disabled", lacks.length > 0);
    if (this.armed && (this.armed.act !== act || performance.now() > this.armed.until)) this.disarm();
    put(this.button, this.armed ? `Press again to ${act} ${this.v.name}` : `${act === "reset" ? "Reset" : "Start"} ${this.v.name}`);
    this.button.classList.toggle("armed", !!this.armed);
  }
  rows(rows) {
    const key = rows.join("\n");
    if (key === this.key) return;
    this.key = key;
    this.list.replaceChildren(...rows.map(r => {
      const [holds, text] = r.split("|"), ok = holds === "true";
      return el("li", {}, el("b", { textContent: ok ? "✓" : "✗" }), el("span", { className: "unseen", textContent: ok ? "holds: " : holds === "no" ? "" : "does not hold: " }), text);
    }));
  }
  disarm() { this.armed = 0; this.button.classList.remove("armed"); }

  async press() {
    const act = this.act(), s = this.fig && this.fig.state;
    if (!act) return;
    if (s.blocked.length) { put(this.answer, "Not yet: " + s.blocked.join("; ") + "."); return; }
    if (!this.armed) { this.armed = { act, until: performance.now() + 5000 }; put(this.answer, ""); this.show(this.fig, true); return; }
    this.disarm();
    this.asked = { act, at: performance.now() };
    put(this.answer, `${act} asked …`);
    try {
      await send({ ask: act, vehicle: this.v.name, by: document.getElementById("by").value.trim(), nonce: s.nonce },
        { Authorization: "Bearer " + document.getElementById("token").value.trim() });
    } catch (e) {
      this.asked = null;
      put(this.answer, `${act} was not asked: ${e.message}.`);
    }
  }
  // heard looks for the guard's answer among the events.
  heard(line) {
    if (this.asked && line.vehicle === this.v.name && line.text.startsWith(this.asked.act + " asked by ")) {
      put(this.answer, line.text + ".");
      this.asked = null;
    }
  }
}
