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

// Act is a button that asks for motion: pressed twice within 5 s, and not while
// anything is missing. A double click is one press, and so is a key that is held.
class Act {
  constructor(permit) {
    this.permit = permit;
    this.button = el("button", { type: "button" });
    this.button.addEventListener("click", e => { if (e.detail < 2) this.press(); });
    this.button.addEventListener("keydown", e => { if (e.repeat && (e.key === "Enter" || e.key === " ")) e.preventDefault(); });
    this.armed = 0; this.words = null;
  }
  // show takes what the act is, { ask, retrieve, label, again, lacks }; null: there
  // is none now.
  show(words) {
    if (this.armed && (!words || words.label !== this.words.label || performance.now() > this.armed)) this.armed = 0;
    this.words = words;
    this.button.hidden = !words;
    if (!words) return;
    this.button.setAttribute("aria-disabled", words.lacks.length > 0);
    put(this.button, this.armed ? words.again : words.label);
    this.button.classList.toggle("armed", !!this.armed);
  }
  press() {
    const w = this.words;
    if (!w) return;
    if (w.lacks.length) { this.permit.say("Not yet: " + w.lacks.join("; ") + "."); return; }
    if (!this.armed) { this.armed = performance.now() + 5000; this.permit.say(""); this.show(w); return; }
    this.armed = 0;
    this.show(w);
    this.permit.ask(w);
  }
}

// Permit is the reset and the start of one vehicle, and the start that brings it
// back where it rests outside its pen.
export class Permit {
  constructor(v) {
    this.v = v;
    this.title = el("h3", { textContent: v.name });
    this.list = el("ul");
    this.plain = new Act(this); this.back = new Act(this);
    this.back.button.className = "back";
    this.note = el("p", { className: "soft", textContent: "Bring back: a start at walking pace, inwards only, for 30 s at most; it ends with a stop." });
    this.answer = el("p", { role: "status" });
    this.root = el("div", { className: "permit", id: "p-" + v.name }, this.title, this.list, this.plain.button, this.back.button, this.note, this.answer);
    this.fig = null; this.asked = null;
  }
  say(text) { put(this.answer, text); }
  // act is what may be asked next; empty: nothing.
  act() {
    const s = this.fig && this.fig.state;
    return !s ? "" : s.level === "stop" || s.level === "land" ? "reset" : s.level === "waiting" ? "start" : "";
  }
  show(fig, mayMove) {
    this.fig = fig;
    const act = this.act(), s = fig && fig.state, name = this.v.name;
    put(this.title, !s ? name : act ? `${name}: ${act}` : `${name} has its permit`);
    if (act && act !== this.was) { this.was = act; this.say(""); }
    const may = act && mayMove, back = may && fig.back;
    this.list.hidden = !may; this.note.hidden = !back;
    this.plain.show(may ? { ask: act, retrieve: false, lacks: s.blocked, label: `${act === "reset" ? "Reset" : "Start"} ${name}`, again: `Press again to ${act} ${name}` } : null);
    this.back.show(back ? { ask: "start", retrieve: true, lacks: back, label: `Bring ${name} back`, again: `Press again to bring ${name} back` } : null);
    if (!may) return;
    const row = (holds, text) => [holds, text].join("|");
    this.rows([row(fig.trust === "", "pose trusted"), row(fig.rest, "at rest"), row(fig.link, "link to the broker"), row(fig.trail, "trail written"),
      ...s.blocked.map(t => row("no", "missing: " + t)), ...(s.blocked.length ? [] : [row(true, `nothing is missing for a ${act}`)]),
      ...(back || []).map(t => row("no", "missing to bring it back: " + t)), ...(back && !back.length ? [row(true, "nothing is missing to bring it back")] : [])]);
  }
  rows(rows) {
    const key = rows.join("\n");
    if (key === this.key) return;
    this.key = key;
    this.list.replaceChildren(...rows.map(r => {
      const at = r.indexOf("|"), holds = r.slice(0, at), text = r.slice(at + 1), ok = holds === "true";
      return el("li", {}, el("b", { textContent: ok ? "✓" : "✗" }), el("span", { className: "unseen", textContent: ok ? "holds: " : holds === "no" ? "" : "does not hold: " }), text);
    }));
  }

  async ask({ ask, retrieve }) {
    const said = retrieve ? "bringing back" : ask;
    this.asked = ask;
    this.say(`${said} asked …`);
    try {
      await send({ ask, retrieve, vehicle: this.v.name, by: document.getElementById("by").value.trim(), nonce: this.fig.state.nonce },
        { Authorization: "Bearer " + document.getElementById("token").value.trim() });
    } catch (e) {
      this.asked = null;
      this.say(`${said} was not asked: ${e.message}.`);
    }
  }
  // heard looks for the guard's answer among the events.
  heard(line) {
    if (this.asked && line.vehicle === this.v.name && line.text.startsWith(this.asked + " ") && line.text.includes(" asked by ")) {
      this.say(line.text + ".");
      this.asked = null;
    }
  }
}
