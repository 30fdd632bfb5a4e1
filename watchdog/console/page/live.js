// The stream of frames, and whether it can be believed.

// A frame counts for nothing when it is this much later than the quickest, ms;
// and without one for as long the daemon is lost.
const OLD = 700;

export function watch({ site, past, frame, lines, lost, found, none }) {
  let source = null, newest = null, drawing = false;
  let good = -Infinity;        // when the last frame that was fresh came, ms of this page
  let quickest = Infinity;     // least difference of the two clocks, ms
  let session = "", isLost = true, since = null;

  function lose(why) {
    if (isLost) return;
    isLost = true;
    since = new Date(Date.now() - (performance.now() - good));
    lost(since, why);
  }

  function open() {
    close();
    source = new EventSource("live");
    source.addEventListener("site", e => {
      const s = JSON.parse(e.data);
      if (s.session !== session) { session = s.session; quickest = Infinity; }
      site(s);
    });
    source.addEventListener("past", e => past(JSON.parse(e.data)));
    source.addEventListener("lines", e => lines(JSON.parse(e.data)));
    source.addEventListener("frame", e => take(JSON.parse(e.data)));
    source.addEventListener("error", () => {
      if (since === null && isLost) none(); else lose("the daemon does not answer");
      if (source && source.readyState === EventSource.CLOSED) again();
    });
  }

  function close() {
    if (source) source.close();
    source = null;
  }

  let timer = 0;
  function again() {
    clearTimeout(timer);
    timer = setTimeout(() => { if (!document.hidden) open(); }, 1000);
  }

  function take(f) {
    const now = performance.now(), apart = now - 1000 * f.now;
    // Clocks run apart by some millionths; a tenth of a thousandth is allowed for.
    quickest = Math.min(quickest + 0.005, apart);
    if (apart - quickest > OLD) return;
    good = now;
    newest = f;
    if (isLost) { isLost = false; found(); }
    if (!drawing) {
      drawing = true;
      requestAnimationFrame(() => { drawing = false; frame(newest); });
    }
  }

  setInterval(() => {
    if (performance.now() - good > OLD) lose("nothing new comes");
  }, 100);
  // A page that is not looked at lets go of the daemon, so that a browser with many
  // of them always has a connection left for a stop. It comes back grey.
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) { close(); lose("this page was not looked at"); } else open();
  });
  window.addEventListener("pageshow", e => { if (e.persisted) open(); });
  if (!document.hidden) open();
  return {
    // spare frees the stream's own connection for a moment.
    spare() { if (source) { close(); again(); } },
  };
}
