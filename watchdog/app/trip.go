package app

import (
	"encoding/hex"
	"fmt"
	"slices"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// Measuring the link.
const (
	tripEvery  = time.Second            // a probe this often
	tripWindow = time.Minute            // how long one counts
	tripGone   = 2 * time.Second        // unanswered for longer: lost, and counted as taking so long
	tripHeld   = 20 * time.Millisecond  // a loop later than this was held up itself
	tripRow    = 3                      // so many probes held up in a row: the machine is that slow
	tripStep   = 10 * time.Millisecond  // an unanswered probe's age is told in steps of this
	tripMost   = 256                    // trips kept: more than the window holds, up to four a second where the machine is held up
	tripLate   = 100 * time.Millisecond // a probe not handed to the connection by then is lost
)

// tripWatch measures the round trip through the broker: the guard publishes a
// probe on a topic of its own, which goes the way that a permit goes, as often as
// tripEvery, and takes the time until it is back. The longest of the last minute
// counts as the link; a probe that is still out counts as long as it has been.
//
// A machine that was held up (a process that was stopped and goes on, a busy
// processor) would be taken for a slow link for a whole minute. So the loop says
// when it was late itself: that time is taken off the probe that was out, and
// the next one is sent as soon as it is back. Only where this happens tripRow
// times in a row do they count in full, since permits are then held up by the
// same machine.
type tripWatch struct {
	up       bool
	number   string        // of the probe that is out; empty: none is
	sent     time.Duration // when it was put
	next     time.Duration // when the next one is due
	lost     time.Duration // of the time since, the loop itself was late
	row      int           // probes in a row that were held up
	trips    []oneTrip     // oldest first
	gone     int           // probes that never came back
	goneSaid bool          // a person was told
	told     time.Duration // what the core knows
	nagle    bool          // a person was told
	msg      []byte
	sorted   []time.Duration
}

// oneTrip is one measured trip.
type oneTrip struct {
	at, took time.Duration
}

// link notes that the link came up or went down: a probe that was out is no
// longer waited for, since a lost link has a cause of its own.
func (w *tripWatch) link(up bool, now time.Duration) {
	w.up, w.number, w.next, w.row = up, "", now, 0
}

// due says whether a probe is to be sent.
func (w *tripWatch) due(now time.Duration) bool { return w.up && w.number == "" && now >= w.next }

// out notes a probe that was put at now.
func (w *tripWatch) out(number string, now time.Duration) {
	w.number, w.sent, w.next, w.lost = number, now, now+tripEvery, 0
}

// late notes by how much the loop woke later than it had meant to.
func (w *tripWatch) late(by time.Duration) {
	if by > tripHeld && w.number != "" {
		w.lost += by
	}
}

// took is how long the probe has been out at now, without what the loop itself
// was late.
func (w *tripWatch) took(now time.Duration) time.Duration {
	if w.row >= tripRow {
		return max(0, now-w.sent)
	}
	return max(0, now-w.sent-w.lost)
}

// back takes what came back on the probe's topic.
func (w *tripWatch) back(payload []byte, arrived time.Duration) {
	p, err := wire.DecodeProbe(payload)
	if err != nil || w.number == "" || p.Number != w.number {
		return // a stranger's, or one given up
	}
	w.keep(w.took(arrived), arrived)
}

// keep takes a trip into the window.
func (w *tripWatch) keep(took, at time.Duration) {
	w.number = ""
	if w.lost == 0 || w.row >= tripRow {
		w.row = 0
	} else {
		w.row++
		w.next = at
	}
	if len(w.trips) == tripMost {
		w.trips = slices.Delete(w.trips, 0, 1)
	}
	w.trips = append(w.trips, oneTrip{at, took})
}

// pass forgets what is older than the window, gives up a probe that does not
// come back, and says what the core must be told.
func (w *tripWatch) pass(now time.Duration) (trip time.Duration, news bool) {
	old := 0
	for old < len(w.trips) && now-w.trips[old].at > tripWindow {
		old++
	}
	w.trips = slices.Delete(w.trips, 0, old)
	waited := time.Duration(0)
	if w.number != "" {
		waited = w.took(now)
	}
	if waited > tripGone {
		w.gone++
		w.keep(waited, now)
	}
	for i := range w.trips {
		trip = max(trip, (w.trips[i].took + time.Millisecond - 1).Truncate(time.Millisecond))
	}
	trip = max(trip, waited.Truncate(tripStep))
	news = trip != w.told
	w.told = trip
	return trip, news
}

// figures are the median, what 99 of 100 trips took at most, and the longest of
// the last minute; ok is false where there is none.
func (w *tripWatch) figures() (p50, p99, worst time.Duration, ok bool) {
	n := len(w.trips)
	if n == 0 {
		return 0, 0, 0, false
	}
	w.sorted = w.sorted[:0]
	for i := range w.trips {
		w.sorted = append(w.sorted, w.trips[i].took)
	}
	slices.Sort(w.sorted)
	return w.sorted[(n-1)/2], w.sorted[(99*n+99)/100-1], w.sorted[n-1], true
}

// The mark of messages that are held back: the broker does not send the next
// small one before the last is acknowledged, and that takes the other side's
// kernel 40 ms where it has nothing to send itself. Of probes sent at any time
// about every fifth then takes nearly all of that, and none takes longer; the
// others come back at once, or when something else goes out. Measured with
// mosquitto 2.0.11 without set_tcp_nodelay; see TestHeldBackIsTold.
const (
	stepFrom   = 36 * time.Millisecond
	stepTo     = 50 * time.Millisecond
	stepQuick  = 10 * time.Millisecond // the quickest trip is within this
	stepLeast  = 3                     // trips that take a step
	stepShare  = 10                    // at least one of so many does
	stepBeyond = 1                     // at most so many take longer
)

// steps says whether the last minute looks as if small messages were held back.
func (w *tripWatch) steps() (t Trip, ok bool) {
	beyond, quick := 0, false
	for i := range w.trips {
		switch took := w.trips[i].took; {
		case took > stepTo:
			beyond++
		case took >= stepFrom:
			t.Steps++
		case took <= stepQuick:
			quick = true
		}
	}
	t.Of = len(w.trips)
	if !quick || t.Steps < stepLeast || t.Steps*stepShare < t.Of || beyond > stepBeyond {
		return t, false
	}
	t.P50, t.P99, t.Worst, _ = w.figures()
	return t, true
}

// Trip is the body of the record of a link that looks as if small messages were
// held back.
type Trip struct {
	P50   time.Duration `json:"p50_ns"`
	P99   time.Duration `json:"p99_ns"`
	Worst time.Duration `json:"worst_ns"`
	Steps int           `json:"steps"` // trips of the last minute that look so
	Of    int           `json:"of"`    // trips of the last minute
}

// trip sends a probe where one is due, and tells the core what the link takes.
func (k *keeper) trip() {
	now := k.now()
	if k.trips.due(now) {
		k.probe(now)
	}
	if trip, news := k.trips.pass(now); news {
		k.step(&intake.Entry{Kind: uint8(watchdog.EvTrip), Arrived: now, Payload: intake.Trip(trip)})
	}
	if !k.trips.nagle {
		k.heldBack(now)
	}
	if k.trips.gone > 0 && !k.trips.goneSaid {
		k.trips.goneSaid = true
		k.say(now, Caution, fmt.Sprintf("caution: a probe of the link did not come back within %v. If the broker has an access list, let the guard publish and read %s/guard/link/#", tripGone, k.opt.Site.Broker.Prefix))
	}
}

func (k *keeper) probe(now time.Duration) {
	number, err := random(16)
	if err != nil {
		return // tried again at the next pass; until then the trips known count
	}
	p := wire.Probe{Guard: k.cfg.Guard, Session: k.cfg.Session, Number: hex.EncodeToString(number)}
	k.trips.msg = p.Append(k.trips.msg[:0])
	k.probes.Put(k.trips.msg, now+tripLate)
	k.trips.out(p.Number, now)
}

// tripped takes a message of the probe's topic.
func (k *keeper) tripped(m *link.Message) {
	if !m.Retained && !m.TooLarge {
		k.trips.back(m.Payload, m.Arrived)
	}
}

// heldBack tells a person, once, where the broker looks as if it held small messages
// back: a caution, since what it costs is judged by the trip itself.
func (k *keeper) heldBack(now time.Duration) {
	t, ok := k.trips.steps()
	if !ok {
		return
	}
	k.trips.nagle = true
	k.trail.Event(k.cfg.Vehicle, "link-held-back", now, t)
	k.say(now, Caution, fmt.Sprintf("caution: %d of %d round trips through the broker took about 40 ms, as where small messages are held back (Nagle's algorithm). For mosquitto write set_tcp_nodelay true into mosquitto.conf", t.Steps, t.Of))
}
