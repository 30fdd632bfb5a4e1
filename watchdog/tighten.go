package watchdog

import (
	"fmt"
	"reflect"
	"strings"
	"time"

	"pinfold/zones"
)

// Tighten takes a new config while running. It refuses one in which it can see
// anything looser, or anything that only a stop and a start can change, and
// then changes nothing. What is latched stays latched; the level, the nonce,
// counters and open episodes stay; the newest pose is judged at once against
// the new config, and the effects are to be carried out like those of Step. The
// zones are compared by their corners, which shows most that is looser, but not
// all: the shell checks the site files first. An alignment file in c is passed
// over where one may be taken while running: the one in force stays, and
// another comes by EvAlign.
//
// The record of it is durable: only when it is on disk may the new hash be
// shown as in force.
func (g *Guard) Tighten(c Config, now time.Duration) ([]Effect, error) {
	if err := c.Validate(); err != nil {
		return nil, err
	}
	if g.closed {
		return nil, fmt.Errorf("watchdog: vehicle %q: the session is closed: start a new one", g.cfg.Vehicle)
	}
	if p := &c.Pose; p.MaxSpeed > 0 && p.MaxSpeed < g.cfg.Pose.MaxSpeed {
		// It follows from a lower speed limit. The Track goes on with the jump
		// test it began with, which is what was in force.
		p.MaxSpeed = g.cfg.Pose.MaxSpeed
	}
	g.keepTie(&c)
	c.handheld()
	if what := looser(&g.cfg, &c); len(what) > 0 {
		return nil, fmt.Errorf("watchdog: vehicle %q: not taken while running: %s. Try: stop, then start with the new site file",
			g.cfg.Vehicle, strings.Join(what, "; "))
	}
	if off := c.Stopping.AlignErr; c.Tie.Renew && off > c.Tie.Most {
		return nil, fmt.Errorf("watchdog: vehicle %q: not taken while running: the alignment in force may be off by %.3f m, more than the new tolerance of %.3f m. Try: align again, then have the site file read again",
			g.cfg.Vehicle, off, c.Tie.Most)
	}
	now = max(now, g.now)
	g.begin()
	g.judgeStall(now)
	g.now, g.stepped = now, true
	g.tokens++
	g.recordDurable(RecConfig, now, g.tokens, ConfigTaken{Hash: c.Hash})
	g.take(c)
	g.judgeTrust(now)
	if g.judged && !g.void(now) {
		g.look(now)
		g.judgeLimits(now)
		g.judgeSlow(now)
	}
	g.judgeApart(now)
	g.judgeTrip(now)
	g.judgeSession(now)
	g.judgeRetrieval(now)
	g.judgeAck(now)
	return g.finish(now), nil
}

// take puts c in the place of the config, and what is known of the old
// subjects with the new ones of the same name.
func (g *Guard) take(c Config) {
	old, tripped := g.subjects, g.tripped
	seed := g.cfg.NonceSeed
	g.cfg = c
	g.cfg.NonceSeed = seed
	g.watch()
	for i := range g.subjects {
		s := &g.subjects[i]
		for k := range old {
			if same(s, &old[k]) {
				s.inherit(&old[k])
				if s.kind == CauseZone && i == 0 {
					s.zone, s.name = g.zoneNamed(old[k].name), old[k].name
				}
				g.retrip(k, i, tripped)
			}
		}
		if s.listed = !s.idle(); s.listed {
			g.active = append(g.active, i)
		}
	}
}

// retrip carries over what tripped in this very step.
func (g *Guard) retrip(from, to int, tripped []int) {
	for _, i := range tripped {
		if i == from {
			g.tripped = append(g.tripped, to)
		}
	}
}

// same says whether two subjects are about the same thing. The pen is the pen,
// whichever of its zones it is named after.
func same(a, b *subject) bool {
	switch {
	case a.kind != b.kind:
		return false
	case a.kind == CauseZoneSpeed || a.kind == CauseApart:
		return a.name == b.name
	case a.kind != CauseZone:
		return true
	}
	return a.pen == b.pen && (a.pen || a.name == b.name)
}

// inherit takes over what was observed of o.
func (s *subject) inherit(o *subject) {
	s.round, s.run, s.holding, s.near, s.nearUntil = o.round, o.run, o.holding, o.near, o.nearUntil
	s.inBand, s.nearValue = o.inBand, o.nearValue
	s.commanded, s.tolerated, s.value, s.outside, s.breach, s.ep = o.commanded, o.tolerated, o.value, o.outside, o.breach, o.ep
}

func (g *Guard) zoneNamed(name string) int {
	for i := range g.shapes {
		if cut(&g.shapes[i]) == name {
			return i
		}
	}
	return -1
}

// looser lists in words what in next is looser than in old, or cannot change
// while running.
func looser(old, next *Config) (what []string) {
	fixed := func(name string, same bool) {
		if !same {
			what = append(what, name+" is another")
		}
	}
	fixed("guard, session or vehicle", old.Guard == next.Guard && old.Session == next.Session && old.Vehicle == next.Vehicle)
	fixed("kind", old.Kind == next.Kind)
	fixed("whether the motors are off", old.MotorsOff == next.MotorsOff)
	fixed("ground", old.HasGround == next.HasGround && old.Ground == next.Ground)
	fixed("home", old.Home == next.Home)
	fixed("pose fields", reflect.DeepEqual(old.Fields, next.Fields))
	fixed("pose settings", old.Pose == next.Pose)
	fixed("alignment file", old.Tie.Renew == next.Tie.Renew && old.Tie.Hash == next.Tie.Hash)
	for _, n := range compared(old, next) {
		if n.loose {
			what = append(what, fmt.Sprintf("%s goes from %v to %v", n.name, n.old, n.next))
		}
	}
	if old.Stopping.Predict && !next.Stopping.Predict {
		what = append(what, "prediction is off")
	}
	if old.Stopping.CoverLoss && !next.Stopping.CoverLoss {
		what = append(what, "the permit's validity is no longer covered")
	}
	what = append(what, looserLimits(old, next)...)
	what = append(what, looserSlow(old.Slow, next.Slow)...)
	what = append(what, looserOthers(old, next)...)
	return append(what, looserZones(old.Zones.Shapes(), next.Zones.Shapes())...)
}

// pair is one number before and after.
type pair struct {
	name      string
	old, next float64
	loose     bool
}

// more and less are numbers that are looser when they grow, or shrink.
func more(name string, old, next float64) pair { return pair{name, old, next, !(next <= old)} }
func less(name string, old, next float64) pair { return pair{name, old, next, !(next >= old)} }

func compared(o, n *Config) []pair {
	so, sn, to, tn := &o.Stopping, &n.Stopping, &o.Timing, &n.Timing
	return []pair{
		less("radius", o.Radius, n.Radius),
		less("height", o.Height, n.Height),
		less("zone caution", o.ZoneCaution, n.ZoneCaution),
		less("reaction", so.Reaction.Seconds(), sn.Reaction.Seconds()),
		more("link's part of the reaction", so.Trip.Seconds(), sn.Trip.Seconds()),
		more("deceleration", so.Deceleration, sn.Deceleration),
		more("vertical deceleration", so.Vertical, sn.Vertical),
		less("acceleration", so.Acceleration, sn.Acceleration),
		less("slope", so.Slope, sn.Slope),
		less("margin", so.Margin, sn.Margin),
		less("position error", so.PositionErr, sn.PositionErr),
		less("alignment error", so.AlignErr, sn.AlignErr),
		more("alignment tolerance", o.Tie.Most, n.Tie.Most),
		less("velocity error", so.VelocityErr, sn.VelocityErr),
		more("permit validity", to.PermitValid.Seconds(), tn.PermitValid.Seconds()),
		more("command repeat", to.CommandEvery.Seconds(), tn.CommandEvery.Seconds()),
		more("ack time", to.AckWithin.Seconds(), tn.AckWithin.Seconds()),
		more("budget of the round trip", budget(to), budget(tn)),
		more("stall time", to.Stall.Seconds(), tn.Stall.Seconds()),
		less("trusted time", to.TrustedFor.Seconds(), tn.TrustedFor.Seconds()),
		less("rest time", to.RestFor.Seconds(), tn.RestFor.Seconds()),
		more("rest speed", to.RestSpeed, tn.RestSpeed),
		more("obey slack", to.ObeySlack, tn.ObeySlack),
		less("obey tolerance", to.ObeyTolerance, tn.ObeyTolerance),
		more("obey confirmation", float64(to.ObeyConfirm), float64(tn.ObeyConfirm)),
	}
}

func looserLimits(old, next *Config) (what []string) {
	for id := LimitID(0); id < NumLimits; id++ {
		name, unit := id.Name()
		what = append(what, looserLimit(name, unit, old.Limits[id], next.Limits[id])...)
	}
	return what
}

func looserLimit(name, unit string, o, n Limit) (what []string) {
	switch {
	case !o.On:
	case !n.On:
		what = append(what, "limit "+name+" is off")
	case n.Max > o.Max:
		what = append(what, fmt.Sprintf("limit %s goes from %v to %v %s", name, o.Max, n.Max, unit))
	case n.Caution > o.Caution:
		what = append(what, fmt.Sprintf("caution of %s goes from %v to %v %s", name, o.Caution, n.Caution, unit))
	case max(1, n.Confirm) > max(1, o.Confirm):
		what = append(what, fmt.Sprintf("confirmation of %s goes from %d to %d samples", name, o.Confirm, n.Confirm))
	case n.Answer < o.Answer:
		what = append(what, fmt.Sprintf("answer of %s goes from %s to %s", name, o.Answer, n.Answer))
	}
	return what
}

// looserZones compares zones of the same name: a keep-in may shrink or go, a
// keep-out may grow or come.
func looserZones(old, next []zones.Shape) (what []string) {
	for i := range next {
		n := &next[i]
		switch o := shapeNamed(old, n.Name); {
		case n.Kind == zones.KeepIn && (o == nil || o.Kind != zones.KeepIn):
			what = append(what, fmt.Sprintf("keep-in zone %q is new", n.Name))
		case n.Kind == zones.KeepIn && !within(n, o):
			what = append(what, fmt.Sprintf("keep-in zone %q reaches out of what it was", n.Name))
		}
	}
	for i := range old {
		o := &old[i]
		if o.Kind != zones.KeepOut {
			continue
		}
		switch n := shapeNamed(next, o.Name); {
		case n == nil || n.Kind != zones.KeepOut:
			what = append(what, fmt.Sprintf("keep-out zone %q is gone", o.Name))
		case !within(o, n):
			what = append(what, fmt.Sprintf("keep-out zone %q no longer covers what it did", o.Name))
		}
	}
	return what
}

func shapeNamed(all []zones.Shape, name string) *zones.Shape {
	for i := range all {
		if all[i].Name == name {
			return &all[i]
		}
	}
	return nil
}

// cornerSlack is how far a corner may lie outside and still count as on the
// line, m.
const cornerSlack = 1e-9

// within says whether every corner of a lies in b, and none of b's holes is
// filled. Edges between corners may still leave a hollow b.
func within(a, b *zones.Shape) bool {
	if a.Floor < b.Floor || a.Ceiling > b.Ceiling {
		return false
	}
	if reflect.DeepEqual(a.Rings, b.Rings) {
		return true
	}
	solid := zones.Shape{Name: "it", Kind: zones.KeepIn, Floor: a.Floor - 1, Ceiling: a.Ceiling + 1, Rings: b.Rings}
	set, err := zones.New([]zones.Shape{solid})
	if err != nil {
		return false
	}
	mid := (a.Floor + a.Ceiling) / 2
	for _, ring := range a.Rings {
		for _, p := range ring {
			at := zones.XYZ{X: p.X, Y: p.Y, Z: mid}
			if h := set.Clearance(&zones.Sweep{From: at, To: at}); !(h.Clearance >= -cornerSlack) {
				return false
			}
		}
	}
	return holesKept(a, b, mid)
}

// holesKept says whether no corner of b's holes lies inside a: a hole of b that
// a does not have would be room that b does not give.
func holesKept(a, b *zones.Shape, mid float64) bool {
	solid := zones.Shape{Name: "it", Kind: zones.KeepIn, Floor: a.Floor, Ceiling: a.Ceiling, Rings: a.Rings}
	set, err := zones.New([]zones.Shape{solid})
	if err != nil {
		return false
	}
	for _, ring := range b.Rings[1:] {
		for _, p := range ring {
			at := zones.XYZ{X: p.X, Y: p.Y, Z: mid}
			if h := set.Clearance(&zones.Sweep{From: at, To: at}); h.Clearance > cornerSlack {
				return false
			}
		}
	}
	return true
}
