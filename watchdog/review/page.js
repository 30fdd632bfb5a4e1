"use strict";
// Read-off and zoom of the time charts. Everything is on the page without it.
document.querySelectorAll(".charts").forEach(function (box) {
  const end = +box.dataset.end, read = box.querySelector(".read");
  const charts = [...box.querySelectorAll("figure")].map(function (f) {
    const d = f.querySelector(".d");
    return { svg: f.querySelector(".chart"), win: f.querySelector(".win"), cursor: f.querySelector(".cursor"),
      times: [...f.querySelectorAll(".time")], name: d.dataset.name, unit: d.dataset.unit, v: JSON.parse(d.textContent) };
  });
  let from = 0, to = end, down = null;
  function decimals(span) { const i = [0.1, 1, 10, 100].findIndex(most => span < most); return i < 0 ? 0 : 4 - i; }
  function show() {
    charts.forEach(function (c) {
      const b = c.win.viewBox.baseVal;
      c.win.setAttribute("viewBox", [from, b.y, to - from, b.height].join(" "));
      c.times.forEach((t, i) => { t.textContent = (from + (to - from) * i / 4).toFixed(decimals(to - from)) + " s"; });
    });
  }
  function at(c, e) {
    const r = c.svg.getBoundingClientRect(), x = (e.clientX - r.left) / r.width * 900;
    return [x, from + Math.min(1, Math.max(0, (x - 40) / 856)) * (to - from)];
  }
  function say(c, e) {
    const [x, t] = at(c, e), i = Math.min(c.v.length / 2 - 1, Math.max(0, Math.floor(t / end * c.v.length / 2)));
    const parts = charts.map(function (k) {
      k.cursor.setAttribute("x1", x); k.cursor.setAttribute("x2", x);
      const lo = k.v[2 * i], hi = k.v[2 * i + 1];
      return k.name + " " + (lo === null ? "unknown" : lo === hi ? lo + " " + k.unit : lo + " to " + hi + " " + k.unit);
    });
    read.textContent = t.toFixed(2) + " s: " + parts.join("; ");
  }
  charts.forEach(function (c) {
    c.svg.addEventListener("pointermove", e => say(c, e));
    c.svg.addEventListener("pointerdown", e => { down = at(c, e)[1]; });
    c.svg.addEventListener("pointerup", function (e) {
      const t = at(c, e)[1];
      if (down !== null && Math.abs(t - down) > (to - from) / 100) { from = Math.min(down, t); to = Math.max(down, t); show(); }
      down = null;
    });
    c.svg.addEventListener("dblclick", () => { from = 0; to = end; show(); });
  });
  read.textContent = "Move over a chart to read it off; drag to zoom, double-click for the whole session.";
});
