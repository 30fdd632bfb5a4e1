package watchdog

import "time"

// settle turns causes into the level: it raises what newly holds, and shows
// the rest.
func (g *Guard) settle(now time.Duration) {
	if g.started || g.latch != ActNone {
		for k := 0; k < len(g.active); k++ {
			s := &g.subjects[g.active[k]]
			if s.holding && s.answer >= ActStop && !s.commanded {
				s.commanded = true
				c := s.cause(s.value)
				c.Text = g.sentence(&c, s.zone)
				g.raise(c, s.answer, now)
			}
		}
	}
	g.show(g.levelNow(), nil, "", now)
}

// raise latches stop or land for cause c and has the command sent. It never
// lowers anything.
func (g *Guard) raise(c Cause, a Action, now time.Duration) {
	a = g.cfg.answer(a)
	if g.nLatched < MaxLatched {
		g.latched[g.nLatched] = c
		g.nLatched++
	} else {
		g.moreCause++
	}
	if g.latch == ActNone {
		g.counts.Stops++
		g.beginStop(c, a, now)
	}
	if a > g.latch {
		g.latch = a
	}
	g.turnNonce()
	g.sendCommand(c, now)
	level := Stop
	if g.latch == ActLand {
		level = Land
	}
	g.show(level, &c, "", now)
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
			c := s.cause(s.value)
			c.Text = g.nearSentence(s)
			return &c
		}
	}
	return nil
}

// lower clears the latch after an accepted reset; the level is then waiting.
func (g *Guard) lower(by string, now time.Duration) {
	g.latch, g.nLatched, g.moreCause = ActNone, 0, 0
	g.started = false
	g.cmd = outCommand{}
	g.stop = stopRun{}
	for i := range g.subjects {
		g.subjects[i].commanded = false
	}
	for _, k := range [...]CauseKind{CauseNotAcknowledged, CauseNotObeyed} {
		g.observe(g.other(k), false, 0, 0, now)
	}
	g.show(Waiting, nil, by, now)
}
