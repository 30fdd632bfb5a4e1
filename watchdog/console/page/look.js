// Events of the session, and past sessions.
import { el, put } from "./vehicle.js";

const KEPT = 200;

export class Events {
  constructor() { this.list = document.getElementById("lines"); this.last = 0; }
  clear() { this.list.replaceChildren(); this.last = 0; }
  // add gives the lines that are new.
  add(lines) {
    const fresh = lines.filter(l => l.no > this.last);
    for (const l of fresh) {
      const li = el("li", {}, el("span", { className: "at", textContent: l.at.toFixed(1) + " s " }));
      if (l.vehicle) li.append(el("b", { textContent: l.vehicle + " " }));
      if (l.level) {
        const tag = el("span", { className: "tag", textContent: l.level });
        tag.dataset.level = l.level;
        li.append(tag, " ");
      }
      li.append(l.text);
      this.list.prepend(li);
      this.last = l.no;
    }
    while (this.list.children.length > KEPT) this.list.lastChild.remove();
    return fresh;
  }
}

export function past() {
  const says = document.getElementById("past-says"), list = document.getElementById("sessions");
  document.getElementById("list").addEventListener("click", async () => {
    put(says, "reading …");
    list.replaceChildren();
    try {
      const r = await fetch("sessions", { cache: "no-store" }), all = await r.json();
      if (!r.ok) throw new Error(all.error);
      put(says, all.length ? "A report opens in a page of its own, and takes a moment." : "There is none.");
      list.append(...all.map(s => el("li", {},
        el("a", { href: "sessions/" + encodeURIComponent(s.id), target: "_blank", rel: "noopener", textContent: (s.open ? "This session, so far: " : "") + new Date(s.started).toLocaleString("en-GB") }),
        `, ${s.seconds.toFixed(0)} s, ${s.stops} stop${s.stops === 1 ? "" : "s"}, ${s.sealed ? "sealed" : s.open ? "still written" : "not sealed"}${s.err ? "; " + s.err : ""}`)));
    } catch (e) { put(says, e.message + "."); }
  });
}
