package watchdog

import (
	"fmt"
	"time"

	"pinfold/zones"
)

// SlowZone is a part of the site where a lower speed limit holds, such as the
// landing near a stair. It gives no room and takes none: its kind is not looked
// at. Limit is in m/s, horizontal, and always on.
//
// It is judged on the reach: the limit holds as soon as the body could come
// into the zone before it rests, so that a vehicle that is stopped for it comes
// to rest before the zone, and one that is slow enough may go on. Where the
// velocity is unknown, the speed is taken to be the assumed one.
type SlowZone struct {
	Shape zones.Shape
	Limit Limit
}

// MaxSlow bounds the slow zones of one vehicle.
const MaxSlow = 100

// everywhere is the name of the room round the slow zones; with spaces, so that
// no zone of a site file is likely to bear it.
const everywhere = " everywhere "

// slowSet makes the slow zones ready to be asked for; nil where there is none.
// They are held as keep-outs in a room without end: a hit is a zone that is
// met.
func slowSet(slow []SlowZone) (*zones.Set, error) {
	if len(slow) == 0 {
		return nil, nil
	}
	if len(slow) > MaxSlow {
		return nil, fmt.Errorf("%d slow zones are more than %d", len(slow), MaxSlow)
	}
	const m = zones.MaxCoordinate
	all := []zones.Shape{{Name: everywhere, Kind: zones.KeepIn, Floor: -m, Ceiling: m,
		Rings: [][]zones.XY{{{X: -m, Y: -m}, {X: m, Y: -m}, {X: m, Y: m}, {X: -m, Y: m}}}}}
	for i := range slow {
		s := slow[i].Shape
		s.Kind = zones.KeepOut
		all = append(all, s)
	}
	return zones.New(all)
}

// validateSlow checks the slow zones and their limits.
func (c *Config) validateSlow() error {
	if _, err := slowSet(c.Slow); err != nil {
		return fmt.Errorf("watchdog: vehicle %q: slow zones: %w", c.Vehicle, err)
	}
	for i := range c.Slow {
		if l := &c.Slow[i].Limit; !l.On {
			return fmt.Errorf("watchdog: vehicle %q: slow zone %q has no speed limit", c.Vehicle, c.Slow[i].Shape.Name)
		} else if err := c.validateLimit(l, "speed in "+c.Slow[i].Shape.Name, "m/s"); err != nil {
			return err
		}
	}
	return nil
}

// slowSubjects are what is watched for the slow zones, in their order.
func slowSubjects(c *Config) (all []subject) {
	for i := range c.Slow {
		z := &c.Slow[i]
		all = append(all, subject{kind: CauseZoneSpeed, zone: -1, name: cut(&z.Shape), unit: "m/s", limit: z.Limit.Max,
			caution: z.Limit.Caution, confirm: z.Limit.Confirm, answer: c.answer(z.Limit.Answer)})
	}
	return all
}

// judgeSlow judges the speed where the reach meets a slow zone: the reach of
// the one that takes longest to be confirmed.
func (g *Guard) judgeSlow(now time.Duration) {
	if g.slowZones == nil {
		return
	}
	v := g.speed
	if !g.cur.HasVelocity {
		v = g.assumed()
	}
	late := time.Duration(0)
	for i := range g.cfg.Slow {
		late = max(late, g.cfg.Slow[i].Limit.later())
	}
	g.slowHits = g.slowZones.Judge(&g.reachAfter(late, now).Sweep, 0, g.slowHits[:0])
	for k := range g.slowHits {
		if g.slowHits[k].Pen || g.slowHits[k].Zone < 1 { // nothing is known: it may be in any of them
			for i := range g.cfg.Slow {
				g.observeValue(g.slow0+i, v, now)
			}
			return
		}
		g.observeValue(g.slow0+g.slowHits[k].Zone-1, v, now)
	}
	for i := range g.cfg.Slow {
		if s := &g.subjects[g.slow0+i]; !s.idle() && s.round != g.round {
			g.observeGone(g.slow0+i, now)
		}
	}
}

// looserSlow compares slow zones of the same name: one may grow, come, and be
// slower.
func looserSlow(old, next []SlowZone) (what []string) {
	for i := range old {
		o, n := &old[i], (*SlowZone)(nil)
		for k := range next {
			if next[k].Shape.Name == o.Shape.Name {
				n = &next[k]
			}
		}
		name := "speed in " + o.Shape.Name
		switch {
		case n == nil:
			what = append(what, fmt.Sprintf("slow zone %q is gone", o.Shape.Name))
		case !within(&o.Shape, &n.Shape):
			what = append(what, fmt.Sprintf("slow zone %q no longer covers what it did", o.Shape.Name))
		default:
			what = append(what, looserLimit(name, "m/s", o.Limit, n.Limit)...)
		}
	}
	return what
}
