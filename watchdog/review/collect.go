package review

import (
	"math"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/zones"
)

const (
	maxChains = 1000 // stops of one vehicle that are told one by one
	maxNear   = 20   // near misses shown
	maxKept   = 10000
)

// collector watches one vehicle's guard being stepped again.
type collector struct {
	cfg     *watchdog.Config
	shapes  []zones.Shape
	thin    *thinner
	v       Vehicle
	used    []*tally // by limit
	carried bool     // in a person's hands: nobody answers a stop

	stamp     int64 // of the newest pose seen judged
	posed     bool
	first     moment
	now       moment
	level     watchdog.Level
	since     float64
	lastT     float64 // arrival of the newest pose message
	heard     bool
	interval  *tally
	waits     *tally
	left      map[string]float64 // by vehicle and command, when it left for the broker; of the session
	onset     map[string]float64 // by cause and name, when its open episode began
	near      NearMiss
	nearing   bool
	stopping  int // index of the stop that is followed, plus one
	downSince float64
	down      bool
	counts    watchdog.Counts
}

func (c *collector) step(s *step) error {
	t := s.item.At.Seconds()
	if s.item.Kind == uint8(watchdog.EvPose) {
		c.arrival(s.item.Arrived.Seconds())
		c.pose(s, t)
	}
	level := s.guard.Level()
	for i := range s.effects {
		if e := &s.effects[i]; e.Kind == watchdog.DoRecord {
			c.record(s, &e.Record, t)
		}
	}
	if level != c.level {
		c.turn(level, t)
	}
	if s.item.Kind == uint8(watchdog.EvClose) {
		c.counts = s.guard.Figures().Counts
	}
	return nil
}

func (c *collector) arrival(t float64) {
	if c.heard {
		d := t - c.lastT
		c.interval.add(d)
		if d > c.v.Pose.Silence {
			c.v.Pose.Silence, c.v.Pose.Silent = d, c.lastT
		}
	}
	c.heard, c.lastT = true, t
}

// pose reads the snapshot where a new pose was judged.
func (c *collector) pose(s *step, t float64) {
	snap := s.guard.Figures()
	c.counts = snap.Counts
	p := &snap.Pose
	if !snap.Judged || snap.Void || (c.posed && p.Stamp == c.stamp) { // void: it has no place to be drawn at
		return
	}
	m := &c.now
	*m = moment{t: t, x: p.Position.X, y: p.Position.Y, z: p.Position.Z, speed: snap.Speed, climb: p.Velocity.Z,
		tilt: p.Tilt * 180 / math.Pi, turn: math.Abs(p.TurnRate) * 180 / math.Pi,
		dist:  math.Hypot(p.Position.X-c.cfg.Home.X, p.Position.Y-c.cfg.Home.Y),
		clear: snap.Nearest.Clearance, moving: p.HasVelocity, turning: p.HasTurnRate, level: snap.Level,
		zone: snap.Nearest.Zone}
	if !c.posed {
		c.first = *m
	}
	c.posed, c.stamp = true, p.Stamp
	c.waits.add((s.item.At - s.item.Arrived).Seconds())
	c.thin.add(m)
	if m.level == watchdog.Clear || m.level == watchdog.Caution {
		c.use(m)
		if m.level == watchdog.Clear {
			c.least(m.clear)
		}
	}
	if c.nearing && m.clear < c.near.Clearance {
		c.near = NearMiss{At: t, Clearance: m.clear, Zone: c.zone(m.zone), Place: zones.XYZ{X: m.x, Y: m.y, Z: m.z}}
	}
	if c.stopping > 0 {
		c.v.Stops[c.stopping-1].follow(m)
	}
}

func (c *collector) zone(i int) string {
	if i < 0 || i >= len(c.shapes) {
		return ""
	}
	return c.shapes[i].Name
}

// use notes how far each limit is used while the vehicle is permitted to move.
func (c *collector) use(m *moment) {
	add := func(id watchdog.LimitID, v float64, known bool) {
		if known {
			c.used[id].add(v)
		}
	}
	add(watchdog.LimitHeight, m.z, true)
	add(watchdog.LimitSpeed, m.speed, m.moving)
	add(watchdog.LimitClimb, m.climb, m.moving && m.climb >= 0)
	add(watchdog.LimitDescent, -m.climb, m.moving && m.climb <= 0)
	add(watchdog.LimitTilt, m.tilt, true)
	add(watchdog.LimitTurn, m.turn, m.turning)
	add(watchdog.LimitDistance, m.dist, true)
}

// turn follows the level, and with it the stretches of caution.
func (c *collector) turn(level watchdog.Level, t float64) {
	c.v.Levels[c.level.String()] += t - c.since
	c.thin.track.LevelAt = append(c.thin.track.LevelAt, LevelFrom{T: t, Level: level})
	switch {
	case level == watchdog.Caution:
		c.v.Cautions++
		c.nearing, c.near = true, NearMiss{Clearance: math.Inf(1)}
	case c.nearing:
		c.nearing = false
		if level == watchdog.Clear && c.near.Clearance >= 0 && !math.IsInf(c.near.Clearance, 1) && len(c.v.Near) < maxKept {
			c.v.Near = append(c.v.Near, c.near)
			c.least(c.near.Clearance)
		}
	}
	c.level, c.since = level, t
}

// least takes a clearance that stayed clear.
func (c *collector) least(v float64) {
	if v = finite(v); v >= 0 && (c.v.Least < 0 || v < c.v.Least) {
		c.v.Least = v
	}
}

func (c *collector) record(s *step, r *watchdog.Record, t float64) {
	switch b := r.Body.(type) {
	case watchdog.Episode:
		if r.Kind == watchdog.RecOpen {
			c.onset[b.Cause+"\x00"+b.Name] = b.From.Seconds()
		}
	case watchdog.CommandSent:
		c.v.Link.Commands++
		if s.before < watchdog.Stop && c.stopping == 0 && !c.carried {
			c.begin(s, &b, t)
		}
		if c.stopping > 0 {
			c.leaves(b.ID)
		}
	case watchdog.Acked:
		c.v.Link.Acked++
		c.v.Link.Slowest = max(c.v.Link.Slowest, b.After)
		if c.stopping > 0 {
			c.v.Stops[c.stopping-1].acked(t, &c.now)
		}
	case watchdog.Stopped:
		if c.stopping > 0 {
			c.v.Stops[c.stopping-1].end(&b, &c.now)
		}
		c.stopping = 0
	case watchdog.LinkChange:
		c.link(&b, t)
	case watchdog.AlignHeard:
		c.tie(&b, t)
	}
}

func (c *collector) link(b *watchdog.LinkChange, t float64) {
	if b.What != "broker" || b.Up != c.down {
		return
	}
	c.down = !b.Up
	if c.down {
		c.v.Link.Downs++
		c.downSince = t
	} else {
		c.v.Link.Down += t - c.downSince
	}
}

func (c *collector) finish(duration float64) Vehicle {
	c.thin.flush()
	c.v.Track = c.thin.track
	c.v.Track.hold(c.v.Declared.MaxAge)
	end := max(duration, c.since)
	c.v.Levels[c.level.String()] += end - c.since
	c.v.permit = c.v.Levels[watchdog.Clear.String()] + c.v.Levels[watchdog.Caution.String()]
	if c.down {
		c.v.Link.Down += end - c.downSince
	}
	for i, u := range c.used {
		c.v.Limits[i].Most, c.v.Limits[i].P999 = u.most, u.at(0.999)
	}
	c.v.Limits[watchdog.LimitSession].Most = c.v.permit
	c.v.Limits[watchdog.LimitSession].P999 = c.v.permit
	c.v.Near = closest(c.v.Near, maxNear)
	p := &c.v.Pose
	p.Samples, p.Dropped, p.Refused = c.counts.Samples, c.counts.Dropped, c.counts.Refused
	for k, n := range c.counts.FaultKinds {
		if n > 0 {
			p.Faults[pose.FaultKind(k).String()] = n
		}
	}
	c.v.Link.Bad = c.counts.Bad
	p.Interval, p.Wait = c.interval.spread(), c.waits.spread()
	if d := c.now.t - c.first.t; d > 0 && p.Samples > 1 {
		p.Rate = float64(p.Samples-1) / d
	}
	return c.v
}
