// One vehicle's card: what is read from three metres.

export const el = (name, attrs = {}, ...inside) => {
  const e = document.createElement(name);
  for (const [k, v] of Object.entries(attrs)) k in e && k !== "role" ? (e[k] = v) : e.setAttribute(k, v);
  e.append(...inside);
  return e;
};
const NS = "http://www.w3.org/2000/svg";
export const svg = (name, attrs = {}) => {
  const e = document.createElementNS(NS, name);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, v);
  return e;
};
export const put = (node, text) => { if (node.textContent !== text) node.textContent = text; };
export const clock = d => d.toLocaleTimeString("en-GB");
export const metres = v => v === null || v === undefined ? "unknown" : v.toFixed(2) + " m";

// A loop that has judged nothing for this long, s, is silent: its card turns grey.
const SILENT = 1;

// why is the one sentence: what stopped it, what is near, what it waits for.
export function why(f) {
  const s = f.state;
  switch (s.level) {
    case "stop": case "land":
      return (s.latched[0] && s.latched[0].text || s.causes[0] && s.causes[0].text || "the reason is in the trail") +
        (f.acked ? "" : " (not yet acknowledged)");
    case "caution":
      if (f.returns) return "being brought back into its pen";
      return f.near[0] || s.causes[0] && s.causes[0].text || "something is near its limit";
    case "clear":
      return f.returns ? "being brought back into its pen" : "nothing is near a limit";
  }
  return s.blocked.length ? "no permit: " + s.blocked[0] : "no permit yet; a start may be asked";
}

export class Card {
  constructor(v, ask) {
    this.v = v;
    this.level = "";
    const use = this.use = svg("use", { href: "#is-lost" });
    const pic = svg("svg", { viewBox: "0 0 48 48", "aria-hidden": "true" });
    pic.append(use);
    this.word = el("span", { className: "word" });
    this.room = el("b");
    this.where = el("span");
    this.why = el("p", { className: "why" });
    this.fact = {};
    const facts = el("dl", { className: "facts" });
    for (const name of ["pose", "link", "trail", "speed", "height"]) {
      this.fact[name] = el("dd");
      facts.append(el("div", {}, el("dt", { textContent: name }), this.fact[name]));
    }
    const tools = el("div", { className: "tools" });
    const stop = el("button", { type: "button", className: "stop", textContent: "Stop " + v.name });
    stop.addEventListener("click", () => ask("stop", v.name));
    tools.append(stop);
    if (v.kind === "multirotor") {
      const land = el("button", { type: "button", textContent: "Land " + v.name });
      land.addEventListener("click", () => ask("land", v.name));
      tools.append(land);
    }
    this.root = el("article", { className: "card old", id: "v-" + v.name },
      el("div", { className: "level" }, pic,
        el("h2", {}, el("span", { textContent: v.name }), this.word),
        el("div", { className: "room" }, this.room, this.where)),
      this.why, facts, tools);
    this.lose("no word");
  }

  // lose shows that nothing is known; what was is told as past.
  lose(word) {
    this.root.classList.add("old");
    this.root.dataset.level = "lost";
    this.use.setAttribute("href", "#is-lost");
    put(this.word, word);
    if (this.level) put(this.where, "was " + this.level + (this.left === undefined ? "" : ", " + this.left));
    put(this.room, "");
    if (this.said) put(this.why, "last heard: " + this.said);
  }

  // show gives the level it shows, "lost" where its loop is silent.
  show(f, now) {
    if (!f) { this.lose("no word"); return "lost"; }
    const s = f.state;
    this.said = why(f);
    this.left = metres(s.clearance);
    this.level = s.level;
    if (now - f.at > SILENT) {
      this.lose("silent");
      put(this.why, "its guard has judged nothing for " + (now - f.at).toFixed(0) + " s");
      return "lost";
    }
    put(this.why, this.said);
    put(this.room, this.left);
    this.room.className = s.clearance === null ? "none" : "";
    this.facts(f);
    this.root.classList.remove("old");
    this.root.dataset.level = s.level;
    this.root.dataset.seq = s.seq;
    this.use.setAttribute("href", "#is-" + s.level);
    put(this.word, s.level);
    const p = f.place;
    put(this.where, s.clearance === null ? "clearance" : p && p.zone ? (s.clearance < 0 ? "past " : "room to ") + p.zone + (p.face === "wall" ? "" : ", " + p.face) : "room");
    return s.level;
  }

  facts(f) {
    const s = f.state, set = (name, text, bad) => {
      put(this.fact[name], text);
      this.fact[name].classList.toggle("bad", bad);
    };
    set("pose", (s.pose_age === null ? "none" : (1000 * s.pose_age).toFixed(0) + " ms old") + (f.trust ? ", not trusted" : ""), f.trust !== "");
    set("link", f.link ? "up" : "down", !f.link);
    set("trail", f.trail ? "written" : "not written", !f.trail);
    set("speed", s.speed === null ? "unknown" : s.speed.toFixed(2) + " m/s", false);
    set("height", metres(s.height), false);
  }
}
