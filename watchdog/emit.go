package watchdog

import "time"

// record asks for one line of evidence.
func (g *Guard) record(kind RecordKind, now time.Duration, body any) {
	g.rest = append(g.rest, Effect{Kind: DoRecord, Record: Record{Kind: kind, At: now, Body: body}})
}

// recordDurable asks for one line of evidence that something waits for.
func (g *Guard) recordDurable(kind RecordKind, now time.Duration, token uint64, body any) {
	g.rest = append(g.rest, Effect{Kind: DoRecord, Record: Record{Kind: kind, At: now, Durable: true, Token: token, Body: body}})
}

// permitted is the one place where a permit is granted.
func (g *Guard) permitted() bool {
	if g.cfg.MotorsOff || !g.started || g.closed || g.latch != ActNone || !g.judged || g.trust != 0 || !g.linkUp {
		return false
	}
	for _, i := range g.active {
		if s := &g.subjects[i]; s.holding && s.answer >= ActStop && !s.tolerated {
			return false
		}
	}
	return true
}

// emit puts the step's effects in order: permit and command, state, records.
func (g *Guard) emit(now time.Duration) {
	allowed := g.permitted()
	if !g.permitSent || allowed != g.permitGo || now >= g.nextPermit {
		g.permitSeq++
		g.permitGo, g.permitSent = allowed, true
		g.nextPermit = now + g.cfg.Timing.PermitEvery
		g.out = append(g.out, Effect{Kind: DoPermit, Permit: Permit{Seq: g.permitSeq, Go: allowed,
			Stamp: g.cur.Stamp, Valid: g.cfg.Timing.PermitValid}})
	}
	g.repeat(now)
	if len(g.first) > 0 {
		g.out = append(g.out, g.first...)
	}
	if g.stateDirty || now >= g.nextState {
		g.stateDirty = false
		g.nextState = now + g.cfg.Timing.StateEvery
		g.out = append(g.out, Effect{Kind: DoState})
	}
	if len(g.rest) > 0 {
		g.out = append(g.out, g.rest...)
	}
}
