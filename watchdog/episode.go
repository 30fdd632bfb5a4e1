package watchdog

import "time"

// observeValue judges v against subject i's own limit.
func (g *Guard) observeValue(i int, v float64, now time.Duration) {
	s := &g.subjects[i]
	bad := s.violates(v)
	if !bad && v >= s.caution && s.caution < s.limit {
		s.near, s.nearUntil = true, now+g.cfg.Timing.CautionDwell
	}
	g.observe(i, bad, v, s.limit, now)
}

// observe notes that subject i is violated (bad) with value v, or good.
func (g *Guard) observe(i int, bad bool, v, limit float64, now time.Duration) {
	s := &g.subjects[i]
	wasIdle := s.idle()
	if s.near && now > s.nearUntil {
		s.near = false
	}
	s.round, s.value, s.limit = g.round, v, limit
	if bad {
		g.violated(s, v, now)
	} else if s.run > 0 || s.holding {
		s.run = 0
		if s.holding {
			g.closeEpisode(s, now)
		}
	}
	if idle := s.idle(); idle != wasIdle || (!idle && !g.listed(i)) {
		g.relist(i, idle)
	}
}

func (g *Guard) violated(s *subject, v float64, now time.Duration) {
	at := g.stampAt(now)
	if s.run == 0 {
		s.ep = Episode{Cause: s.kind.String(), Name: s.name, From: now, FromStamp: at,
			Worst: v, WorstStamp: at, Limit: s.limit, Unit: s.unit}
	}
	s.run++
	s.ep.Samples++
	s.ep.To, s.ep.ToStamp = now, at
	if !(v <= s.ep.Worst) {
		s.ep.Worst, s.ep.WorstStamp = v, at
	}
	if !s.holding && s.run >= max(1, s.confirm) {
		s.holding = true
		g.stateDirty = true
		c := s.cause(v)
		s.ep.Text = g.sentence(&c, s.zone)
		g.record(RecOpen, now, s.ep)
	}
}

func (g *Guard) closeEpisode(s *subject, now time.Duration) {
	if !s.ep.Open {
		s.ep.To, s.ep.ToStamp = now, g.stampAt(now)
	}
	c := s.cause(s.ep.Worst)
	s.ep.Text = g.sentence(&c, s.zone)
	g.counts.Episodes++
	g.record(RecEpisode, now, s.ep)
	s.holding, s.run = false, 0
	g.stateDirty = true
}

// stampAt is now on the sender's clock: the newest pose's stamp, plus the time
// since it arrived where this judgement is not about that very pose.
func (g *Guard) stampAt(now time.Duration) int64 {
	if !g.judged {
		return 0
	}
	if g.poseNow {
		return g.cur.Stamp
	}
	return g.cur.Stamp + int64(now-g.cur.Arrived)
}

func (g *Guard) listed(i int) bool {
	for _, k := range g.active {
		if k == i {
			return true
		}
	}
	return false
}

// relist keeps the list of subjects that are not idle, in rising order, so that
// whatever walks it does so in the same order every time.
func (g *Guard) relist(i int, idle bool) {
	at := 0
	for at < len(g.active) && g.active[at] < i {
		at++
	}
	has := at < len(g.active) && g.active[at] == i
	switch {
	case idle && has:
		g.active = append(g.active[:at], g.active[at+1:]...)
	case !idle && !has:
		g.active = append(g.active, 0)
		copy(g.active[at+1:], g.active[at:])
		g.active[at] = i
	}
}
