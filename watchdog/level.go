package watchdog

import "time"

// settle turns causes into the level: it raises what newly holds, or held for
// a part of this step, and shows the rest.
func (g *Guard) settle(now time.Duration) {
	if g.started || g.latch != ActNone || g.cfg.MotorsOff && !g.closed {
		for _, i := range g.tripped {
			g.raiseFor(&g.subjects[i], now)
		}
		for _, i := range g.active {
			if s := &g.subjects[i]; s.holding && s.answer >= ActStop {
				g.raiseFor(s, now)
			}
		}
	}
	g.show(g.levelNow(), nil, "", now)
}

// raiseFor raises subject s, once until the reset.
func (g *Guard) raiseFor(s *subject, now time.Duration) {
	if s.commanded || s.tolerated {
		return
	}
	s.commanded = true
	v := s.value
	if !s.holding {
		v = s.ep.Worst
	}
	g.raise(g.causeOf(s, v), s.answer, now)
}

// raise latches stop or land for cause c and has the command sent. It never
// lowers anything.
func (g *Guard) raise(c Cause, a Action, now time.Duration) {
	a = g.cfg.answer(a)
	g.endRetrieval()
	g.voidPending("a "+a.String()+" was called before it took effect", now)
	g.keepLatched(c)
	if g.latch == ActNone {
		g.counts.Stops++
		if !g.cfg.MotorsOff {
			g.beginStop(c, now)
		}
	}
	g.latch = max(g.latch, a)
	g.turnNonce(now)
	g.sendCommand(c, now)
	g.show(g.levelNow(), &c, "", now)
}

// keepLatched keeps c by name until the reset; the same again is kept once.
func (g *Guard) keepLatched(c Cause) {
	for i := range g.latched[:g.nLatched] {
		if l := &g.latched[i]; l.Kind == c.Kind && l.Name == c.Name {
			return
		}
	}
	if g.nLatched == MaxLatched {
		g.moreCause++
		return
	}
	g.latched[g.nLatched] = c
	g.nLatched++
}

// levelNow is what the guard's state amounts to.
func (g *Guard) levelNow() Level {
	switch {
	case g.latch == ActLand:
		return Land
	case g.latch != ActNone:
		return Stop
	case !g.started:
		return Waiting
	case g.cautious():
		return Caution
	}
	return Clear
}

// cautious says whether anything is near its limit, or violates one that only
// calls for caution.
func (g *Guard) cautious() bool {
	for _, i := range g.active {
		if s := &g.subjects[i]; s.near || s.holding {
			return true
		}
	}
	return false
}

// show makes l the level, with a record where it changed.
func (g *Guard) show(l Level, c *Cause, by string, now time.Duration) {
	if l == g.level {
		return
	}
	if c == nil && l == Caution {
		c = g.cautionCause()
	}
	g.record(RecLevel, now, LevelChange{From: g.level.String(), To: l.String(), Cause: c, By: by})
	g.level, g.stateDirty = l, true
}

// cautionCause is the first thing that is near its limit.
func (g *Guard) cautionCause() *Cause {
	for _, i := range g.active {
		if s := &g.subjects[i]; s.near || s.holding {
			c := g.causeOf(s, s.shown())
			c.Text = g.nearSentence(s)
			return &c
		}
	}
	return nil
}

// lower clears the latch after an accepted reset; the level is then waiting.
func (g *Guard) lower(by string, now time.Duration) {
	g.endRetrieval()
	if g.stop.active {
		g.endStop(now) // at rest, or the reset were refused
	}
	g.latch, g.nLatched, g.moreCause = ActNone, 0, 0
	g.started = false
	g.cmd = outCommand{}
	g.stop = stopRun{}
	for i := range g.subjects {
		g.subjects[i].commanded = false
	}
	for _, k := range [...]CauseKind{CauseNotAcknowledged, CauseNotObeyed} {
		s := &g.subjects[g.other(k)]
		g.observe(g.other(k), false, s.value, s.limit, now)
	}
	g.show(Waiting, nil, by, now)
}
