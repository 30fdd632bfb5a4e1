// How old a frame is at most, by the guard's clock and this page's.

// What the two clocks may run apart, of one: crystals keep to some ten millionths.
const DRIFT = 0.0005;
// A bound that is older than this counts for nothing, ms.
const KEPT = 30000;
// Where the wall clock and the page's own part by more than this, ms, one of them
// stood still or was set: what was bounded before bounds nothing.
const PARTED = 100;

// Ages bounds ages from above. The guard told its instant after it had been asked, so
// at the page's instant of asking its clock showed no more than that: whatever the way
// back took, no frame is taken for younger than it is.
export class Ages {
  constructor() { this.session = ""; this.clear(); }
  clear() { this.told = []; }
  begin(session) {
    if (session !== this.session) this.clear();
    this.session = session;
  }
  // tell takes the instant that the guard told, s into a session, and that of asking.
  // All other instants are the page's: performance.now() and Date.now(), ms.
  tell(session, instant, asked, wallAsked, now, wall) {
    this.slept(now, wall);
    if (session !== this.session || !Number.isFinite(instant) || !this.together(now - asked, wall - wallAsked)) return;
    this.told.push({ ahead: 1000 * instant - asked, asked, apart: wallAsked - asked });
  }
  together(run, wallRun) { return Math.abs(wallRun - run) <= PARTED; }
  slept(now, wall) {
    this.told = this.told.filter(t => now - t.asked <= KEPT && Math.abs(wall - now - t.apart) <= PARTED);
  }
  // most is how old, ms, what the guard made at an instant, s, can be; Infinity where
  // nothing says so.
  most(instant, now, wall) {
    this.slept(now, wall);
    return Math.min(...this.told.map(t => t.ahead + now + DRIFT * (now - t.asked))) - 1000 * instant;
  }
}
