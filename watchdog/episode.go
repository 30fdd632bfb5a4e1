package watchdog

import (
	"math"
	"time"
)

// observeValue judges v against subject i's own limit.
func (g *Guard) observeValue(i int, v float64, now time.Duration) {
	s := &g.subjects[i]
	if !s.listed && v < s.caution && v < s.limit {
		return // good and far from its limit, as it was
	}
	s.inBand = !(v < s.caution) && s.caution < s.limit
	if s.inBand {
		s.near, s.nearValue, s.nearUntil = true, bounded(v), now+g.cfg.Timing.CautionDwell
	}
	g.observe(i, s.violates(v), v, s.limit, now)
}

// observeTime judges what took d and may take most.
func (g *Guard) observeTime(k CauseKind, d, most, now time.Duration) {
	i := g.other(k)
	if bad := d > most; bad || g.subjects[i].listed { // else it is good, as it was
		g.observe(i, bad, d.Seconds(), most.Seconds(), now)
	}
}

// observeGone notes that subject i is further away than anything looks.
func (g *Guard) observeGone(i int, now time.Duration) {
	s := &g.subjects[i]
	s.outside, s.breach, s.inBand = false, 0, false
	g.observe(i, false, s.value, s.limit, now)
}

// forgetNear drops what was near its limit and is not any more.
func (g *Guard) forgetNear() {
	for k := len(g.active) - 1; k >= 0; k-- {
		i := g.active[k]
		s := &g.subjects[i]
		s.near = s.near && s.inBand
		if s.idle() {
			g.relist(i, true)
		}
	}
}

// observe notes that subject i is violated (bad) with value v, or good.
func (g *Guard) observe(i int, bad bool, v, limit float64, now time.Duration) {
	s := &g.subjects[i]
	if !bad && !s.listed && !s.near {
		return // good, as it was
	}
	if s.near && now > s.nearUntil {
		s.near = false
	}
	s.round, s.value, s.limit = g.round, bounded(v), bounded(limit)
	if bad {
		g.violated(i, now)
	} else if s.run > 0 {
		s.run, s.tolerated = 0, false
		if s.holding {
			g.closeEpisode(s, now)
		}
	}
	if idle := s.idle(); idle == s.listed {
		g.relist(i, idle)
	}
}

// violated notes one more violating judgement of subject i, and confirms it
// where there were enough.
func (g *Guard) violated(i int, now time.Duration) {
	s := &g.subjects[i]
	at := g.stampAt(now)
	if s.run == 0 {
		s.ep = Episode{Cause: s.kind.String(), Name: s.name, Worst: s.value, WorstStamp: at,
			Limit: s.limit, Unit: s.unit}
		s.ep.From, s.ep.FromStamp = g.onset(s, now)
	}
	s.run++
	if g.poseNow {
		s.ep.Samples++
	}
	s.ep.To, s.ep.ToStamp = now, at
	s.ep.Breach = math.Max(s.ep.Breach, s.breach)
	if s.value > s.ep.Worst {
		s.ep.Worst, s.ep.WorstStamp = s.value, at
	}
	if s.holding || s.run < s.confirm {
		return
	}
	s.holding = true
	g.stateDirty = true
	if s.answer >= ActStop {
		g.tripped = append(g.tripped, i)
	}
	s.ep.Text = g.causeOf(s, s.value).Text
	g.record(RecOpen, now, s.ep)
}

// onset is when what is first noticed now began: silence began to be too long
// when the newest pose reached its age, whenever that was noticed.
func (g *Guard) onset(s *subject, now time.Duration) (at time.Duration, stamp int64) {
	if s.kind == CausePoseStale && g.judged {
		age := g.cfg.Pose.MaxAge
		return min(now, g.cur.Arrived+age), g.cur.Stamp + int64(age)
	}
	return now, g.stampAt(now)
}

func (g *Guard) closeEpisode(s *subject, now time.Duration) {
	if !s.ep.Open {
		s.ep.To, s.ep.ToStamp = now, max(g.stampAt(now), s.ep.FromStamp)
	}
	if s.kind != CauseTrackerRestarted { // said when it began: by now there may be an alignment
		c := Cause{Kind: s.kind, Name: s.name, Value: s.ep.Worst, Limit: s.limit, Unit: s.unit}
		s.ep.Text = g.sentence(&c, s.zone, s.ep.Breach)
	}
	g.counts.Episodes++
	g.record(RecEpisode, now, s.ep)
	s.holding, s.run = false, 0
	g.stateDirty = true
}

// causeOf is subject s's cause now, with the value v, in words too.
func (g *Guard) causeOf(s *subject, v float64) Cause {
	c := Cause{Kind: s.kind, Word: s.kind.String(), Name: s.name, Value: v, Limit: s.limit, Unit: s.unit}
	c.Text = g.sentence(&c, s.zone, s.breach)
	return c
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

// relist keeps the list of subjects that are not idle, in rising order, so that
// whatever walks it does so in the same order every time.
func (g *Guard) relist(i int, idle bool) {
	g.subjects[i].listed = !idle
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
