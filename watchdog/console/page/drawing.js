// Plan and side view. Both hold one scale for both axes.
import { svg, put } from "./vehicle.js";

const TAIL = 5; // s of way shown behind a vehicle

// View carries metres (u to the right, v upwards) to pixels.
class View {
  constructor(root, moved) {
    this.root = root;
    this.auto = true;
    this.u = 0; this.v = 0; this.scale = 40;
    this.zones = svg("g"); this.moving = svg("g"); this.names = svg("g"); this.top = svg("g");
    root.append(this.zones, this.moving, this.names, this.top);
    this.labels = [];
    new ResizeObserver(() => { if (this.auto) this.fit(); else this.place(); }).observe(root);
    this.hands(moved);
  }
  size() { const r = this.root.getBoundingClientRect(); return [Math.max(r.width, 50), Math.max(r.height, 50)]; }
  x(u) { return this.size()[0] / 2 + (u - this.u) * this.scale; }
  y(v) { return this.size()[1] / 2 - (v - this.v) * this.scale; }

  fit() {
    const b = this.also || this.bounds, [w, h] = this.size();
    if (!b) return;
    this.auto = true;
    this.u = (b[0] + b[2]) / 2; this.v = (b[1] + b[3]) / 2;
    this.scale = Math.min((w - 44) / Math.max(b[2] - b[0], .5), (h - 68) / Math.max(b[3] - b[1], .5));
    this.v -= 16 / this.scale; // a vehicle on the floor has its room written below, and below that is the length to measure by
    this.place();
  }
  // include keeps what is outside the zones in the picture, to half a metre.
  include(points) {
    if (!this.bounds) return;
    const b = [...this.bounds];
    for (const [u, v] of points) {
      b[0] = Math.min(b[0], Math.floor(2 * u - 1) / 2); b[1] = Math.min(b[1], Math.floor(2 * v - 1) / 2);
      b[2] = Math.max(b[2], Math.ceil(2 * u + 1) / 2); b[3] = Math.max(b[3], Math.ceil(2 * v + 1) / 2);
    }
    for (const i of [0, 1, 2, 3]) if (Math.abs(b[i] - this.bounds[i]) <= 1) b[i] = this.bounds[i];
    if (String(b) === String(this.also)) return;
    this.also = b;
    if (this.auto) this.fit();
  }
  zoom(by, u = this.u, v = this.v) {
    const s = Math.min(2000, Math.max(.5, this.scale * by)), k = this.scale / s;
    this.u = u + (this.u - u) * k; this.v = v + (this.v - v) * k;
    this.scale = s; this.auto = false;
    this.place();
  }
  pan(px, py) { this.u -= px / this.scale; this.v += py / this.scale; this.auto = false; this.place(); }

  // place puts everything where the view now has it.
  place() {
    const [w, h] = this.size(), s = this.scale;
    const m = `matrix(${s} 0 0 ${-s} ${w / 2 - this.u * s} ${h / 2 + this.v * s})`;
    this.zones.setAttribute("transform", m);
    this.moving.setAttribute("transform", m);
    for (const l of this.labels) { l.node.setAttribute("x", this.x(l.u) + l.dx); l.node.setAttribute("y", this.y(l.v) + l.dy); }
    this.bar(w, h);
    if (this.redraw) this.redraw();
  }
  label(text, u, v, dx, dy, css) {
    const node = svg("text", { class: css });
    node.textContent = text;
    this.names.append(node);
    this.labels.push({ node, u, v, dx, dy });
  }
  // bar is a length to measure by.
  bar(w, h) {
    const most = w * .3 / this.scale, ten = 10 ** Math.floor(Math.log10(most));
    const l = most >= 5 * ten ? 5 * ten : most >= 2 * ten ? 2 * ten : ten;
    if (!this.ruler) {
      this.ruler = svg("path", { class: "ruler" }); this.length = svg("text");
      this.top.append(this.ruler, this.length);
    }
    this.ruler.setAttribute("d", `M10 ${h - 14}v6h${l * this.scale}v-6`);
    this.length.setAttribute("x", 16); this.length.setAttribute("y", h - 13);
    put(this.length, +l.toPrecision(3) + " m");
  }
  // hands: drag, two fingers, Ctrl and wheel, keys.
  hands(moved) {
    const down = new Map(), r = this.root;
    r.addEventListener("pointerdown", e => { if (e.pointerType === "mouse") r.setPointerCapture(e.pointerId); down.set(e.pointerId, [e.clientX, e.clientY]); });
    const up = e => down.delete(e.pointerId);
    for (const t of ["pointerup", "pointercancel", "pointerleave"]) r.addEventListener(t, up);
    r.addEventListener("pointermove", e => {
      const was = down.get(e.pointerId);
      if (!was || (e.pointerType !== "mouse" && down.size !== 2)) return;
      const now = [e.clientX, e.clientY], n = down.size;
      const other = [...down].find(([id]) => id !== e.pointerId);
      if (other) {
        const d = (a, b) => Math.hypot(a[0] - b[0], a[1] - b[1]) || 1;
        this.zoom(d(now, other[1]) / d(was, other[1]));
      }
      this.pan((now[0] - was[0]) / n, (now[1] - was[1]) / n);
      down.set(e.pointerId, now);
      moved(this);
    });
    r.addEventListener("wheel", e => {
      if (!e.ctrlKey && !e.metaKey) return;
      e.preventDefault();
      const b = r.getBoundingClientRect();
      this.zoom(Math.exp(-e.deltaY / 300), this.u + (e.clientX - b.left - b.width / 2) / this.scale, this.v - (e.clientY - b.top - b.height / 2) / this.scale);
      moved(this);
    }, { passive: false });
    r.addEventListener("keydown", e => {
      const act = { "+": () => this.zoom(1.25), "=": () => this.zoom(1.25), "-": () => this.zoom(.8), "0": () => this.fit(), ArrowLeft: () => this.pan(40, 0), ArrowRight: () => this.pan(-40, 0), ArrowUp: () => this.pan(0, 40), ArrowDown: () => this.pan(0, -40) }[e.key];
      if (act && !e.ctrlKey && !e.metaKey && !e.altKey) { e.preventDefault(); act(); moved(this); }
    });
  }
}

const path = rings => rings.map(r => "M" + r.map(p => p[0] + " " + p[1]).join("L") + "z").join("");
const box = (a, b, c, d) => `M${a} ${b}H${c}V${d}H${a}z`;

// swept is the outline of a circle carried from a to b while it grows.
function swept(ax, ay, bx, by, r, grow) {
  const R = r + grow, dx = bx - ax, dy = by - ay, d = Math.hypot(dx, dy);
  const ring = (x, y, q) => `M${x - q} ${y}a${q} ${q} 0 1 0 ${2 * q} 0a${q} ${q} 0 1 0 ${-2 * q} 0z`;
  if (d <= Math.abs(grow) + 1e-9) return ring(bx, by, Math.max(R, 1e-3));
  const t = Math.atan2(dy, dx), k = Math.acos(Math.max(-1, Math.min(1, (r - R) / d)));
  const at = (x, y, q, a) => (x + q * Math.cos(a)) + " " + (y + q * Math.sin(a));
  return `M${at(ax, ay, r, t + k)}A${r} ${r} 0 ${k < Math.PI / 2 ? 1 : 0} 1 ${at(ax, ay, r, t - k)}` +
    `L${at(bx, by, R, t - k)}A${R} ${R} 0 ${k > Math.PI / 2 ? 1 : 0} 1 ${at(bx, by, R, t + k)}z`;
}

export class Pictures {
  constructor() {
    this.alongY = false;
    this.tails = [];
    const moved = () => {};
    this.plan = new View(document.getElementById("plan"), moved);
    this.side = new View(document.getElementById("side"), moved);
    this.plan.redraw = this.side.redraw = () => { if (this.last) this.frame(this.last, true); };
    const both = f => () => { f(this.plan); f(this.side); };
    const on = (id, f) => document.getElementById(id).addEventListener("click", f);
    on("fit", both(v => v.fit())); on("closer", both(v => v.zoom(1.4))); on("wider", both(v => v.zoom(1 / 1.4)));
    on("west", both(v => v.pan(50, 0))); on("east", both(v => v.pan(-50, 0)));
    on("north", both(v => v.pan(0, 50))); on("south", both(v => v.pan(0, -50)));
    on("axis", () => {
      this.alongY = !this.alongY;
      put(document.getElementById("axis"), this.alongY ? "Side along x" : "Side along y");
      put(document.getElementById("side-is"), this.alongY ? "Side, along y." : "Side, along x.");
      if (this.site) this.setSite(this.site);
    });
  }

  setSite(site) {
    const anew = !this.site || this.site.session !== site.session; // a session counts its instants from its own start
    this.site = site;
    if (anew || this.tails.length !== site.vehicles.length) this.tails = site.vehicles.map(() => []);
    const axis = this.alongY ? 1 : 0, seen = new Set();
    for (const v of [this.plan, this.side]) { v.zones.replaceChildren(); v.moving.replaceChildren(); v.names.replaceChildren(); v.labels = []; v.bounds = v.also = null; }
    const grow = (view, u, v) => { const b = view.bounds || (view.bounds = [u, v, u, v]); b[0] = Math.min(b[0], u); b[1] = Math.min(b[1], v); b[2] = Math.max(b[2], u); b[3] = Math.max(b[3], v); };
    const all = site.vehicles.flatMap(v => v.zones).filter(z => !seen.has(z.name) && seen.add(z.name));
    const order = { "keep-in": 0, slow: 1, "keep-out": 2 };
    for (const z of all.sort((a, b) => order[a.kind] - order[b.kind])) {
      const us = z.rings[0].map(p => p[axis]), lo = Math.min(...us), hi = Math.max(...us);
      for (const p of z.rings[0]) grow(this.plan, p[0], p[1]);
      grow(this.side, lo, z.floor); grow(this.side, hi, z.ceiling);
      this.zone(this.plan, z, path(z.rings));
      this.zone(this.side, z, box(lo, z.floor, hi, z.ceiling));
      const corner = z.rings[0].reduce((a, p) => p[1] > a[1] || p[1] === a[1] && p[0] < a[0] ? p : a);
      const dy = z.kind === "keep-in" ? -6 : -6;
      this.plan.label(z.name, corner[0], corner[1], 0, dy, "zone-name");
      this.side.label(z.name, lo, z.ceiling, 0, dy, "zone-name");
    }
    site.vehicles.forEach(v => this.ceiling(v, axis));
    this.bodies = [this.plan, this.side].map(view => site.vehicles.map(v => this.body(view, v)));
    for (const v of [this.plan, this.side]) if (v.auto) v.fit(); else v.place();
  }
  zone(view, z, d) {
    const p = svg("path", { class: z.kind, d, "fill-rule": "evenodd" });
    const t = svg("title");
    t.textContent = `${z.kind} ${z.name}, ${z.floor.toFixed(2)} m to ${z.ceiling.toFixed(2)} m high`;
    p.append(t);
    view.zones.append(p);
  }
  // ceiling draws the limit of height over the pen of its vehicle.
  ceiling(v, axis) {
    const l = v.limits.find(l => l.name === "height");
    if (!l) return;
    const us = v.zones.filter(z => z.kind === "keep-in").flatMap(z => z.rings[0].map(p => p[axis]));
    this.side.zones.append(svg("path", { class: "most", d: `M${Math.min(...us)} ${l.max}H${Math.max(...us)}` }));
  }
  body(view, v) {
    const g = svg("g", { class: "tag-" + v.name }), b = { g };
    for (const name of ["tail", "reach", "to-edge", "hull", "bow"]) { b[name] = svg("path", { class: name }); g.append(b[name]); }
    b.edge = svg("path", { class: "edge", d: "M0 -7L7 0L0 7L-7 0z" });
    b.name = svg("text"); b.room = svg("text");
    view.moving.append(g); view.names.append(b.edge, b.name, b.room);
    return b;
  }

  // frame draws where everything is; again: the view moved and nothing else did.
  frame(f, again) {
    this.last = f;
    if (!this.bodies) return;
    if (!again) {
      const at = f.v.filter(g => g && g.place && g.place.at.every(x => x !== null)).map(g => g.place.at);
      this.plan.include(at.map(p => [p[0], p[1]]));
      this.side.include(at.map(p => [p[this.alongY ? 1 : 0], p[2]]));
    }
    f.v.forEach((fig, i) => {
      const p = fig && fig.place, tail = this.tails[i];
      if (!again && p && p.at[0] !== null) {
        tail.push([fig.at, ...p.at]);
        while (tail.length && tail[0][0] < fig.at - TAIL) tail.shift();
      }
      this.draw(this.plan, this.bodies[0][i], i, fig, 0, 1);
      this.draw(this.side, this.bodies[1][i], i, fig, this.alongY ? 1 : 0, 2);
    });
  }
  draw(view, b, i, fig, a, c) {
    const p = fig && fig.place, known = p && p.at.every(x => x !== null) && p.reach.every(x => x !== null);
    for (const n of [b.g, b.edge, b.name, b.room]) n.setAttribute("visibility", known ? "visible" : "hidden");
    if (!known) return;
    b.g.dataset.level = fig.state.level;
    const v = this.site.vehicles[i], u = p.at[a], w = p.at[c], [fx, fy, tx, ty, r, grow, below, above] = p.reach;
    b.tail.setAttribute("d", this.tails[i].length > 1 ? "M" + this.tails[i].map(t => t[1 + a] + " " + t[1 + c]).join("L") : "");
    const q = Math.max(v.radius, 4 / view.scale), nose = [Math.cos(p.yaw || 0), Math.sin(p.yaw || 0)];
    if (c === 1) {
      b.reach.setAttribute("d", swept(fx, fy, tx, ty, r, grow));
      b.hull.setAttribute("d", swept(u, w, u, w, q, 0));
      b.bow.setAttribute("d", p.yaw === null ? "" : `M${u + nose[0] * q * .35} ${w + nose[1] * q * .35}L${u + nose[0] * q * 1.5} ${w + nose[1] * q * 1.5}`);
    } else {
      const f = a ? fy : fx, t = a ? ty : tx, h = Math.max(v.height / 2, 2 / view.scale);
      b.reach.setAttribute("d", box(Math.min(f - r, t - r - grow), w - below, Math.max(f + r, t + r + grow), w + above));
      b.hull.setAttribute("d", box(u - q, w - h, u + q, w + h));
      b.bow.setAttribute("d", p.yaw === null ? "" : `M${u} ${w}H${u + nose[a] * q * 1.5}`);
    }
    this.marks(view, b, fig, v, u, w, a, c);
  }
  // marks are in pixels: the nearest edge, the name, the room.
  marks(view, b, fig, v, u, w, a, c) {
    const e = fig.place.edge, edge = e[0] !== null, flat = c === 1 && fig.place.face !== "wall";
    b["to-edge"].setAttribute("d", edge && !flat ? `M${u} ${w}L${e[a]} ${e[c]}` : "");
    b.edge.setAttribute("visibility", edge && !flat ? "visible" : "hidden");
    if (edge) b.edge.setAttribute("transform", `translate(${view.x(e[a])} ${view.y(e[c])})`);
    const wide = view.size()[0], y = view.y(w), lift = Math.max(v.radius * view.scale, 10) + 8;
    const write = (node, at, text) => { // 4 px is half of a letter, near enough to keep it in the picture
      put(node, text);
      node.setAttribute("text-anchor", "middle");
      const half = 4 * text.length, x = view.x(u), seen = x > 0 && x < wide;
      node.setAttribute("x", seen ? Math.min(Math.max(x, half + 4), wide - half - 4) : x);
      node.setAttribute("y", at);
    };
    write(b.name, y - lift, v.name + " " + fig.state.level);
    write(b.room, y + lift + 12, fig.state.clearance === null ? "" : fig.state.clearance.toFixed(2) + " m" + (flat ? " to the " + fig.place.face : ""));
  }
}
