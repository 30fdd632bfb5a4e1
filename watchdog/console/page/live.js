// The stream of frames, and whether it can be believed.
import { Ages } from "./age.js";

// What may be older than this, ms, is not shown as live; and without anything that is
// younger the daemon is lost.
export const OLD = 700;
// How often the guard is asked for its instant, ms; the stream tells it when it opens.
const ASK = 2000;

export function watch({ site, past, frame, lines, lost, found, none }) {
  let source = null, newest = null, drawing = false;
  const ages = new Ages();
  let proven = null;           // wall clock when what was shown last was made, at the latest
  let heard = -Infinity;       // when the last frame came, however old
  let isLost = true;

  const most = f => ages.most(f.now, performance.now(), Date.now());

  function lose(why) {
    if (isLost) return;
    isLost = true;
    newest = null; // nothing of it is drawn any more
    lost(proven, why);
  }

  function open() {
    close();
    const asked = performance.now(), wall = Date.now(), own = source = new EventSource("live");
    const on = (name, take) => own.addEventListener(name, e => { if (own === source) take(e.data && JSON.parse(e.data)); });
    on("instant", told => tell(told, asked, wall));
    on("site", s => { ages.begin(s.session); site(s); });
    on("past", past);
    on("lines", lines);
    on("frame", take);
    on("error", () => {
      close(); // the page opens the next one itself, to know when it asked
      if (proven === null) none(); else lose("the daemon does not answer");
      again(500);
    });
  }

  function close() {
    if (source) source.close();
    source = null;
  }

  let timer = 0;
  function again(after) {
    clearTimeout(timer);
    timer = setTimeout(() => { if (!document.hidden) open(); }, after);
  }

  function tell(told, asked, wall) {
    ages.begin(told.session);
    ages.tell(told.session, told.now, asked, wall, performance.now(), Date.now());
  }

  // ask has the guard tell its instant. An answer of another session than the stream's
  // tells nothing of the stream.
  async function ask() {
    if (!source || document.hidden) return;
    const asked = performance.now(), wall = Date.now();
    try {
      const r = await fetch("now", { cache: "no-store", signal: AbortSignal.timeout(2 * ASK) }), told = await r.json();
      ages.tell(told.session, told.now, asked, wall, performance.now(), Date.now());
    } catch { /* what was told before still bounds, for a while */ }
  }

  function take(f) {
    heard = performance.now();
    const age = most(f);
    if (!(age <= OLD)) return;
    newest = f;
    proven = new Date(Date.now() - Math.max(0, age));
    if (isLost) { isLost = false; found(); }
    if (!drawing) {
      drawing = true;
      requestAnimationFrame(() => {
        drawing = false;
        if (newest && most(newest) <= OLD) frame(newest);
      });
    }
  }

  function look() {
    const now = performance.now(), comes = now - heard <= OLD;
    if (!isLost && !(most(newest) <= OLD)) lose(comes ? "what comes may be too old" : "nothing new comes");
    if (proven === null && comes && isLost) none("what comes may be too old");
  }

  setInterval(look, 100);
  setInterval(ask, ASK);
  // Where the guard told nothing for long the stream is opened anew: it tells then.
  setInterval(() => { if (isLost && source && ages.most(0, performance.now(), Date.now()) === Infinity) open(); }, 5 * ASK);
  // A page that is not looked at lets go of the daemon, so that a browser with many
  // of them always has a connection left for a stop. It comes back grey.
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) { close(); lose("this page was not looked at"); } else open();
  });
  window.addEventListener("pageshow", e => { if (e.persisted) open(); });
  if (!document.hidden) open();
  return {
    // spare frees the stream's own connection for a moment.
    spare() { if (source) { close(); again(1000); } },
  };
}
