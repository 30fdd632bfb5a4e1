// The console's page: frames in, requests out.
import { watch } from "./live.js";
import { Card, put, clock, why } from "./vehicle.js";
import { Pictures } from "./drawing.js";
import { Strips } from "./strips.js";
import { halter, Permit } from "./acts.js";
import { Events, past } from "./look.js";

const $ = id => document.getElementById(id);
const pictures = new Pictures(), strips = new Strips(), events = new Events();
let cards = [], permits = [], levels = [], site = null, lostSince = null, lostWhy = "";

// what is worth interrupting a person for
const grave = new Set(["lost", "stop", "land"]);

function setSite(s) {
  if (JSON.stringify(s) === JSON.stringify(site)) return; // the stream began again
  if (!site || site.session !== s.session) events.clear();
  site = s;
  put($("site"), s.name);
  document.title = s.name + ", Pinfold console";
  put($("words"), s.safety);
  put($("session"), "Session " + s.session);
  cards = s.vehicles.map(v => new Card(v, halt));
  permits = s.vehicles.map(v => new Permit(v));
  levels = s.vehicles.map(() => "");
  $("vehicles").replaceChildren(...cards.map(c => c.root));
  $("permits").replaceChildren(...permits.map(p => p.root));
  $("no-token").hidden = s.may_move;
  $("who").hidden = !s.may_move;
  $("past").hidden = !s.reports;
  pictures.setSite(s);
  strips.setSite(s);
}

function frame(f) {
  if (!site || f.v.length !== cards.length || lostSince) return;
  put($("link"), "live, " + f.now.toFixed(0) + " s into the session");
  const changed = [];
  f.v.forEach((fig, i) => {
    const level = cards[i].show(fig, f.now);
    permits[i].show(fig, site.may_move);
    if (level !== levels[i]) changed.push([i, level, fig]);
    levels[i] = level;
  });
  if (changed.length) tell(changed);
  pictures.frame(f);
  strips.frame(f);
}

// tell says changes of level to who listens.
function tell(changed) {
  const text = changed.map(([i, level, fig]) => {
    const name = site.vehicles[i].name;
    return level === "lost" ? `${name}: its guard is silent` : `${name}: ${level}, ${why(fig)}`;
  }).join("; ");
  put($(changed.some(([, level]) => grave.has(level)) ? "cry" : "tell"), text);
}

function lost(since, because) {
  lostSince = since; lostWhy = because;
  document.body.dataset.word = "lost";
  cards.forEach(c => c.lose("no word"));
  permits.forEach(p => p.show(null, false));
  levels = levels.map(() => "");
  $("lost").hidden = false;
  put($("link"), "lost");
  lostText();
}

function lostText() {
  if (!lostSince) return;
  put($("lost"), `No word from the guard since ${clock(lostSince)}: ${lostWhy}. What is shown below is old.`);
}

function found() {
  lostSince = null;
  document.body.dataset.word = "live";
  $("lost").hidden = true;
}

const live = watch({ site: setSite, past: minutes => strips.past(minutes), frame, lost, found, none(because) {
  put($("link"), "no word yet: " + (because || "the guard does not answer, or as many browsers watch as can"));
}, lines(ls) {
  for (const l of events.add(ls)) for (const p of permits) p.heard(l);
} });
const halt = halter(() => live.spare(), () => $("by").value.trim());
$("stop-all").addEventListener("click", () => halt("stop"));
document.addEventListener("keydown", e => {
  if (e.key === "Escape" && !e.repeat) { e.preventDefault(); halt("stop"); }
});
past();
