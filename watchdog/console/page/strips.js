// The last minute of one vehicle, by uPlot.
import { el, put } from "./vehicle.js";

const SPAN = 60; // s
const EVERY = matchMedia("(prefers-reduced-motion: reduce)").matches ? 1000 : 200; // ms between drawings

const kinds = [
  { key: "clearance", name: "clearance", unit: "m", lines: v => ({ max: 0, caution: v.room }) },
  { key: "height", name: "height", unit: "m" },
  { key: "speed", name: "speed", unit: "m/s" },
  { key: "tilt", name: "tilt", unit: "deg" },
];

export class Strips {
  constructor() {
    this.box = document.querySelector("#strips .charts");
    this.whose = document.getElementById("whose");
    this.shown = 0; this.drawn = 0;
    this.kept = [];
    new ResizeObserver(() => this.resize()).observe(this.box);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.make());
  }

  setSite(site) {
    this.site = site;
    if (this.kept.length !== site.vehicles.length) this.kept = site.vehicles.map(() => ({ t: [], clearance: [], height: [], speed: [], tilt: [] }));
    this.shown = Math.min(this.shown, site.vehicles.length - 1);
    this.whose.replaceChildren(...site.vehicles.map((v, i) => {
      const b = el("button", { type: "button", textContent: v.name });
      b.setAttribute("aria-pressed", i === this.shown);
      b.addEventListener("click", () => { this.shown = i; this.setSite(site); });
      return b;
    }));
    this.whose.hidden = site.vehicles.length < 2;
    this.make();
  }

  make() {
    if (!this.site) return;
    const v = this.site.vehicles[this.shown];
    this.charts = [];
    this.box.replaceChildren();
    for (const k of kinds) {
      const l = k.lines ? k.lines(v) : v.limits.find(l => l.name === k.key) || null;
      const now = el("span"), holder = el("div", { role: "img" });
      this.box.append(el("div", { className: "strip" }, el("h3", {}, el("span", { textContent: k.name }), now), holder));
      this.charts.push({ k, l, now, holder, plot: this.plot(k, l, holder) });
    }
    this.draw();
  }

  plot(k, l, holder) {
    const css = getComputedStyle(document.documentElement), c = n => css.getPropertyValue("--" + n).trim();
    const axis = { stroke: c("soft"), grid: { stroke: c("rule"), width: .5 }, ticks: { stroke: c("rule"), width: .5 }, font: "12px system-ui" };
    const dark = matchMedia("(prefers-color-scheme: dark)").matches;
    const limit = k.key === "clearance" ? Math.max(l.caution * 4, 1) : l ? l.max : 1;
    return new uPlot({
      width: this.width(), height: 116, legend: { show: false }, cursor: { show: false }, padding: [6, 8, 0, 0],
      scales: { x: { time: false, range: [-SPAN, 0] }, y: { range: (_, lo, hi) => [Math.min(0, lo || 0), Math.max(limit * 1.1, (hi || 0) * 1.05)] } },
      axes: [{ ...axis, size: 30, values: (_, s) => s.map(t => t + " s") }, { ...axis, size: 42 }],
      series: [{}, { stroke: c("trace"), width: 2, spanGaps: false, points: { show: false } },
        { stroke: dark ? "#e07fb4" : c("stop"), width: 2, points: { show: false } },
        { stroke: c("caution"), width: 1.5, dash: [6, 3], points: { show: false } }],
    }, [[], [], [], []], holder);
  }
  width() { return Math.max(200, this.box.clientWidth); }
  resize() { for (const c of this.charts || []) c.plot.setSize({ width: this.width(), height: 116 }); }

  // past takes the last minute as the guard kept it: the stream has begun, or begun again.
  past(minutes) {
    if (minutes.length !== this.kept.length) return;
    this.kept = minutes.map(m => ({ t: m.t, clearance: m.clearance || [], height: m.height || [], speed: m.speed || [], tilt: m.tilt || [] }));
    this.draw();
  }

  frame(f) {
    f.v.forEach((fig, i) => {
      const d = this.kept[i];
      if (!fig || !d || d.t[d.t.length - 1] >= fig.at) return;
      d.t.push(fig.at);
      for (const k of kinds) d[k.key].push(fig.state[k.key]);
      while (d.t[0] < fig.at - SPAN) for (const a of Object.values(d)) a.shift();
    });
    if (performance.now() - this.drawn > EVERY) this.draw();
  }

  draw() {
    this.drawn = performance.now();
    const d = this.kept[this.shown];
    if (!d || !d.t.length) return;
    const last = d.t.length - 1, x = d.t.map(t => t - d.t[last]);
    for (const c of this.charts) {
      const n = d[c.k.key], flat = v => x.map(() => v);
      const max = c.l ? c.l.max : null, caution = c.l && c.l.caution !== c.l.max ? c.l.caution : null;
      // Lines of limits span the strip, also while it is not full yet.
      c.plot.setData([[-SPAN, ...x], [null, ...n], [max, ...flat(max)], [caution, ...flat(caution)]]);
      const says = (n[last] === null ? "unknown" : n[last].toFixed(c.k.unit === "deg" ? 1 : 2) + " " + c.k.unit) +
        (c.k.key === "clearance" ? "; stop at 0" : max === null ? "; no limit" : "; limit " + max);
      put(c.now, says);
      const known = n.filter(v => v !== null), between = known.length ? `${Math.min(...known).toFixed(2)} to ${Math.max(...known).toFixed(2)} ${c.k.unit}, ` : "";
      c.holder.setAttribute("aria-label", `${c.k.name} of ${this.site.vehicles[this.shown].name} over the last ${(-x[0]).toFixed(0)} s: ${between}now ${says}`);
    }
  }
}
