package watchdog

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"time"

	"pinfold/watchdog/pose"
)

// notOnDisk is why what was accepted has no effect after all.
const notOnDisk = "its record could not be made durable; see the trail's disk"

// PendingFor is how long an accepted start or reset waits to become durable
// before it is dropped.
const PendingFor = 5 * time.Second

// NonceFor is how long a nonce is good: a request that was held somewhere for
// longer does nothing.
const NonceFor = 30 * time.Second

// pending is a start, a reset or an alignment that was accepted and is not yet
// durable.
type pending struct {
	ask   Ask
	tie   *tying // an alignment; nil where it is a request
	back  bool   // a start with retrieve
	by    string
	token uint64
	since time.Duration
}

// turnNonce makes a new nonce: unforeseeable without the session's seed, and
// never the same twice.
func (g *Guard) turnNonce(now time.Duration) {
	var b [24]byte
	copy(b[:], g.cfg.NonceSeed[:])
	binary.BigEndian.PutUint64(b[16:], g.nonces)
	g.nonces++
	sum := sha256.Sum256(b[:])
	g.nonce = hex.EncodeToString(sum[:8])
	g.nonceAt, g.stateDirty = now, true
}

// expire ends what was good for a time only: a nonce, and a request whose
// record never became durable.
func (g *Guard) expire(now time.Duration) {
	if now-g.nonceAt >= NonceFor {
		g.turnNonce(now)
	}
	if g.pending.token != 0 && now-g.pending.since > PendingFor {
		g.voidPending("its record took too long to become durable", now)
	}
}

// voidPending drops the request that waits for the disk, if there is one.
func (g *Guard) voidPending(why string, now time.Duration) {
	p := g.pending
	if p.token == 0 {
		return
	}
	g.pending = pending{}
	if p.tie != nil {
		g.tied(p.tie, "refused", []string{why}, now)
		return
	}
	g.record(RecRequest, now, RequestHeard{Ask: p.ask.String(), By: p.by, Retrieve: p.back, Outcome: "refused", Why: []string{why}})
}

func (g *Guard) onRequest(ev *Event, now time.Duration) {
	heard := RequestHeard{Ask: ev.Ask.String(), By: clip(ev.By, MaxName), Retrieve: ev.Retrieve}
	switch {
	case ev.Ask == AskStop || ev.Ask == AskLand:
		g.askHalt(ev, &heard, now)
		return
	case ev.Ask != AskStart && ev.Ask != AskReset:
		heard.Why = append(heard.Why, "unknown request; ask start, stop, land or reset")
	case ev.Retained:
		heard.Why = append(heard.Why, "a retained request is old by definition; ask again")
	case ev.Nonce != g.nonce:
		heard.Why = append(heard.Why, "the nonce is not the one in the current state; read the state and ask again")
	default:
		g.turnNonce(now) // a nonce is good for one request, whatever becomes of it
		heard.Why = g.lacks(ev.Ask, ev.Retrieve, now)
	}
	if len(heard.Why) > 0 {
		heard.Outcome = "refused"
		g.record(RecRequest, now, heard)
		return
	}
	heard.Outcome = "accepted"
	g.tokens++
	g.pending = pending{ask: ev.Ask, back: ev.Retrieve, by: heard.By, token: g.tokens, since: now}
	g.recordDurable(RecRequest, now, g.tokens, heard)
}

// askHalt carries out stop and land: always, at once, without a nonce, also
// again where one is latched already.
func (g *Guard) askHalt(ev *Event, heard *RequestHeard, now time.Duration) {
	heard.Outcome = "effective"
	a := ActStop
	if ev.Ask == AskLand {
		a = ActLand
	}
	c := Cause{Kind: CauseOperator, Word: CauseOperator.String(), Name: heard.By}
	c.Text = g.sentence(&c, -1, 0)
	g.raise(c, a, now)
	g.record(RecRequest, now, *heard)
}

// onDurable lets a start or reset take effect, if its conditions still hold.
func (g *Guard) onDurable(ev *Event, now time.Duration) {
	p := g.pending
	if p.token == 0 || ev.Token != p.token {
		return
	}
	g.pending = pending{}
	if p.tie != nil {
		g.tie(p.tie, ev.Failed, now)
		return
	}
	heard := RequestHeard{Ask: p.ask.String(), By: p.by, Retrieve: p.back, Outcome: "effective"}
	switch {
	case ev.Failed:
		heard.Why = []string{notOnDisk}
	default:
		heard.Why = g.lacks(p.ask, p.back, now)
	}
	if len(heard.Why) > 0 {
		heard.Outcome = "refused"
		g.record(RecRequest, now, heard)
		return
	}
	g.record(RecRequest, now, heard)
	if p.ask == AskReset {
		g.lower(p.by, now)
		return
	}
	if p.back {
		g.beginRetrieval(p.by, now)
	}
	g.started, g.startedAt = true, now
	g.forgetNear() // what was near before is no reason to begin with a caution
	g.show(g.levelNow(), nil, p.by, now)
}

// lacks says in words what a start, with retrieve or without, or a reset still
// lacks; nothing means it may go ahead.
func (g *Guard) lacks(ask Ask, retrieve bool, now time.Duration) (why []string) {
	if !retrieve || ask == AskStart && g.cfg.MotorsOff {
		return g.blocked(ask, now)
	}
	switch {
	case g.closed:
		return []string{"the session is closed"}
	case ask != AskStart:
		return []string{"only a start can retrieve"}
	case g.started && g.latch == ActNone:
		return []string{"already started"}
	case !g.cfg.Stopping.Predict:
		return []string{"nothing is predicted, so nobody would notice in time that it goes the wrong way: carry it back"}
	case !g.misplaced() && g.latch != ActNone:
		return []string{"there is nowhere to retrieve it from: reset, then start"}
	case !g.misplaced():
		return []string{"there is nowhere to retrieve it from: start it without retrieve"}
	}
	return g.blockedByCauses(ask, true, g.blockedBySelf(now))
}

// blocked says in words what a start or reset still lacks; nothing means it
// may go ahead.
func (g *Guard) blocked(ask Ask, now time.Duration) (why []string) {
	switch {
	case g.closed:
		return []string{"the session is closed"}
	case ask == AskStart && g.cfg.MotorsOff:
		return []string{"the edges are being walked, with the motors off: end the walk first"}
	case ask == AskStart && g.latch != ActNone:
		why = append(why, "a "+g.latch.String()+" is latched: reset first")
	case ask == AskStart && g.started:
		return []string{"already started"}
	case ask == AskReset && g.latch == ActNone:
		return []string{"nothing to reset"}
	}
	return g.blockedByCauses(ask, false, append(why, g.blockedBySelf(now)...))
}

// blockedBySelf says what neither zone nor limit stands for.
func (g *Guard) blockedBySelf(now time.Duration) (why []string) {
	if g.pending.token != 0 {
		why = append(why, "another request waits for the disk")
	}
	since, ok := g.track.TrustedSince(now)
	switch {
	case g.trust.Has(pose.Restarted):
		why = append(why, g.untied())
	case g.trust != 0:
		why = append(why, "the pose is not trusted: "+g.trust.String())
	case !ok || now-since < g.cfg.Timing.TrustedFor:
		why = append(why, "the pose has not been trusted for "+g.cfg.Timing.TrustedFor.String()+" yet")
	case !g.atRest(now):
		why = append(why, "the vehicle is not at rest")
	}
	if !g.linkUp {
		why = append(why, "no link to the broker")
	}
	if s := &g.subjects[g.other(CauseLinkSlow)]; s.holding {
		why = append(why, g.causeOf(s, s.value).Text)
	}
	if !g.trailUp {
		why = append(why, "the trail cannot be written")
	}
	return why
}

// blockedByCauses adds the causes that hold, confirmed or not. A reset only asks
// whether the body is inside all zones, since a vehicle that was stopped in time
// rests where its reach may be short of room; all the rest is asked for before
// the start. A retrieval may go ahead from any place.
func (g *Guard) blockedByCauses(ask Ask, retrieve bool, why []string) []string {
	for _, i := range g.active {
		s := &g.subjects[i]
		if s.run == 0 || s.answer < ActStop || !s.kind.ofState() || retrieve && s.ofPlace() {
			continue
		}
		if ask == AskStart || s.outside {
			why = append(why, g.causeOf(s, s.value).Text)
		}
	}
	return why
}
