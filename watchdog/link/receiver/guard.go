package receiver

import (
	"time"

	"pinfold/watchdog/link/wire"
)

// guard is what one watchdog has said.
type guard struct {
	name    string
	session string // the session in force; empty before the first
	seq     uint64 // of its newest permit
	goes    bool   // the newest permit says go
	stamp   int64  // ns, of the newest permit
	valid   int64  // ns, of the newest permit
	ahead   bool   // the newest permit came before its stamp
	aged    int64  // ns, the greatest age that the newest permit was seen at, up to valid
	spent   bool   // the newest permit was seen to have run out
	saidNo  bool   // a permit that says no was accepted since the last command

	former [sessionsKept]past // displaced sessions, a ring
	next   int
	heard  bool // a permit was refused because its session is not taken up
}

// past is a displaced session.
type past struct {
	session string
	seq     uint64
}

// take judges a permit at now. Called with the receiver locked.
func (g *guard) take(p *wire.Permit, now int64, r *Receiver) {
	if p.Session != g.session && !g.adopt(p, now, r) {
		return
	}
	if p.Seq <= g.seq {
		r.counts.Old++
		return
	}
	g.seq, g.goes, g.stamp, g.valid = p.Seq, p.Go, p.Stamp, validity(p, r.valid)
	g.aged, g.spent = 0, false
	age, ok := ageOf(p.Stamp, now)
	g.ahead = p.Go && (!ok || age < 0)
	if g.ahead {
		r.counts.Future++
		g.goes = false // rule 3; not a no that was said, so it opens no latch
		return
	}
	r.counts.Permits++
	if !p.Go {
		g.saidNo = true
	} else if r.latch.action != None {
		r.open()
	}
}

// adopt takes up the session of p where rule 6 allows it.
func (g *guard) adopt(p *wire.Permit, now int64, r *Receiver) bool {
	age, ok := ageOf(p.Stamp, now)
	switch {
	case ok && age < 0:
		r.counts.Future++
		return false
	case !ok, p.Go, age > validity(p, r.valid):
		r.counts.Foreign++
		g.heard = true
		return false
	}
	last := g.lastSeq(p.Session)
	if p.Seq <= last {
		r.counts.Old++
		return false
	}
	if g.session != "" {
		g.former[g.next] = past{g.session, g.seq}
		g.next = (g.next + 1) % len(g.former)
	}
	g.session, g.seq, g.goes, g.heard = p.Session, last, false, false
	g.ahead = false
	return true
}

// lastSeq is the highest number a displaced session got to, 0 when not known.
func (g *guard) lastSeq(session string) (seq uint64) {
	for _, f := range g.former {
		if f.session == session {
			seq = max(seq, f.seq)
		}
	}
	return seq
}

// permits says why this guard does not let the vehicle move at now, empty where
// it does, and how old its permit is.
func (g *guard) permits(now int64) (age time.Duration, why string) {
	if g.session == "" {
		if g.heard {
			return 0, "the guard's session has to withhold its permit once, freshly, before it counts"
		}
		return 0, "no permit yet"
	}
	ns, ok := g.grow(now)
	age = time.Duration(ns)
	switch {
	case !ok:
		return 0, "the vehicle's clock is out of range"
	case age < 0 || g.ahead:
		return 0, "the permit's stamp is ahead of the vehicle's clock"
	case g.spent && g.heard:
		return age, "the permit is too old, and another session speaks that has not withheld its own first"
	case g.spent && g.goes:
		return age, "the permit is too old"
	case !g.goes:
		return age, "the permit is withheld"
	case g.valid == 0:
		return age, "the permit is good for no time at all"
	}
	return age, ""
}

// grow is how old the newest permit is at now (rule 11): it never grows younger,
// and once it was too old, or the clock was before its stamp or beyond any, it
// is over, wherever the clock goes after that.
func (g *guard) grow(now int64) (ns int64, ok bool) {
	ns, ok = ageOf(g.stamp, now)
	switch {
	case !ok || g.spent || ns > g.valid:
		g.spent = true
		return ns, ok
	case ns < 0:
		g.ahead = true
		return ns, ok
	case ns < g.aged: // the clock went back, by less than a validity
		g.stamp -= g.aged - ns
		ns = g.aged
	}
	g.aged = ns
	return ns, true
}

// ageOf is now minus stamp, ns; ok is false where now is beyond any clock. A
// decoded stamp never is, so the difference fits.
func ageOf(stamp, now int64) (ns int64, ok bool) {
	if now < -wire.MaxStamp || now > wire.MaxStamp {
		return 0, false
	}
	return now - stamp, true
}
