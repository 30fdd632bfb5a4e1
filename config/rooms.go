package config

import (
	"fmt"
	"math"
	"reflect"

	"pinfold/watchdog"
	"pinfold/zones"
)

// pen is one vehicle's zones, made ready for asking what is left of them.
type pen struct {
	cfg *watchdog.Config
	set *zones.Set // bottomless where the floor bounds the reach
}

func newPen(c *watchdog.Config) (*pen, error) {
	shapes := c.Zones.Shapes()
	if c.HasGround {
		shapes = bottomless(shapes)
	}
	set, err := zones.New(shapes)
	if err != nil {
		return nil, err
	}
	return &pen{cfg: c, set: set}, nil
}

// motion is how the vehicle moves when the stop is called, m/s each.
type motion struct{ speed, climb, descent float64 }

// need is the room a vehicle needs round its centre, m.
type need struct {
	side, below, above float64
	up                 float64 // m, how far the centre can rise, margins included
}

// body is what the body alone needs.
func (p *pen) body() need {
	half := p.cfg.Height / 2
	return need{side: p.cfg.Radius, below: half, above: half}
}

// until is what the vehicle needs until rest, by the formulas of
// watchdog.Reach, heading anywhere.
func (p *pen) until(m motion) need {
	s := &p.cfg.Stopping
	pad := s.Margin + s.PlaceErr()
	n := p.body()
	n.side, n.below, n.above, n.up = n.side+pad, n.below+pad, n.above+pad, pad
	if !s.Predict {
		return n
	}
	t := p.reaction()
	a, _ := watchdog.OnSlope(s.Deceleration, s.Slope)
	n.side += watchdog.StoppingDistance(m.speed, t, a) + p.spread(m.speed, t, a)
	if p.cfg.Kind != watchdog.Multirotor {
		return n
	}
	rise := watchdog.StoppingDistance(m.climb, t, s.Vertical) + p.spread(m.climb, t, s.Vertical)
	n.below += watchdog.StoppingDistance(m.descent, t, s.Vertical) + p.spread(m.descent, t, s.Vertical)
	n.above, n.up = n.above+rise, n.up+rise
	return n
}

// reaction is the time, s, until braking begins: half of max_age stands for
// the pose's age, half the velocity window for the velocity's lag.
func (p *pen) reaction() float64 {
	c := p.cfg
	until := c.Pose.MaxAge/2 + watchdog.JudgeEvery
	if c.Stopping.CoverLoss {
		until = max(until, c.Timing.PermitValid)
	}
	return (until + c.Pose.VelocityWindow/2 + c.Stopping.Reaction).Seconds()
}

// spread is how far, m, errors of the velocity and what is gained during the
// reaction carry the vehicle past its nominal stop.
func (p *pen) spread(v, t, a float64) float64 {
	s := &p.cfg.Stopping
	gain := s.Acceleration * t
	faster := watchdog.StoppingDistance(v+s.VelocityErr+gain, 0, a) - watchdog.StoppingDistance(v, 0, a)
	return s.VelocityErr*t + 0.5*gain*t + faster
}

// limits is the motion at the limits; one that is off counts as 0.
func (p *pen) limits() motion {
	l := &p.cfg.Limits
	m := motion{speed: l[watchdog.LimitSpeed].Max}
	if p.cfg.Kind == watchdog.Multirotor {
		m.climb, m.descent = l[watchdog.LimitClimb].Max, l[watchdog.LimitDescent].Max
	}
	return m
}

// space is what is left of the pen for a need.
func (p *pen) space(n need) Space {
	u := p.set.Usable(n.side, n.below, n.above)
	sp := Space{Inset: n.side, Area: u.Area, Pieces: u.Pieces, Centre: u.Circle.Center, Radius: u.Circle.Radius, Floor: u.Floor, Top: u.Ceiling}
	if u.Pieces == 0 {
		return sp
	}
	if p.cfg.HasGround {
		sp.Floor = math.Max(sp.Floor, p.cfg.Ground+p.cfg.Height/2)
	}
	if h := p.cfg.Limits[watchdog.LimitHeight]; h.On {
		sp.Top = math.Min(sp.Top, h.Max-n.up)
	}
	return sp
}

// room is the pen at rest and at the limits.
func (p *pen) room() Room {
	c, m := p.cfg, p.limits()
	r := Room{Vehicle: c.Vehicle, Predict: c.Stopping.Predict, Speed: m.speed, Climb: m.climb, Descent: m.descent}
	r.AtRest = p.space(p.until(motion{}))
	if r.Moving, r.Fastest = r.AtRest, m.speed; !r.Predict {
		return r
	}
	a, _ := watchdog.OnSlope(c.Stopping.Deceleration, c.Stopping.Slope)
	r.Reaction = p.reaction()
	r.Stopping = watchdog.StoppingDistance(m.speed, r.Reaction, a)
	r.Unguarded = watchdog.StoppingDistance(m.speed, (c.Timing.PermitValid + c.Stopping.Reaction).Seconds(), a)
	if r.Moving = p.space(p.until(m)); r.Moving.Empty() {
		r.Fastest = p.fastest(m)
	}
	return r
}

// fastest is the highest speed, m/s, below m's at which something is left,
// found by halving, to 0.01 m/s and rounded down.
func (p *pen) fastest(m motion) float64 {
	lo, hi := 0.0, m.speed
	for hi-lo > 0.005 {
		m.speed = (lo + hi) / 2
		if p.space(p.until(m)).Empty() {
			hi = m.speed
		} else {
			lo = m.speed
		}
	}
	return math.Floor(lo*100) / 100
}

// measure reports what the pen leaves of vehicle d and gives its Room.
func (l *loader) measure(d *draft, own []*declared) Room {
	p, err := newPen(&d.cfg)
	if err != nil {
		l.add(d.table.at, "zone", "", err.Error(), "mend the zones")
		return Room{}
	}
	if len(l.probs) > 0 && !p.space(p.until(p.limits())).Empty() {
		return Room{} // there will be no Site to show it in
	}
	r := l.roomOf(p)
	switch {
	case r.AtRest.Empty():
		l.noRoom(d, own, p)
	case r.Moving.Empty():
		l.tooFast(d, p, &r)
	case r.Moving.Pieces > r.AtRest.Pieces:
		d.limits.caution(l, "speed", fmt.Sprintf("leaves the pen of %q in %d pieces: at this speed it cannot come from one to the other", d.name, r.Moving.Pieces), "drive slower there, or widen the passage")
	}
	return r
}

// roomOf is p's room: that of a vehicle before it where they differ by their name
// alone, since it takes 30 ms to work one out, and a start waits for it.
func (l *loader) roomOf(p *pen) Room {
	same := *p.cfg
	same.Vehicle = ""
	for i := range l.rooms {
		if r := l.rooms[i].room; reflect.DeepEqual(same, l.rooms[i].cfg) {
			r.Vehicle = p.cfg.Vehicle
			return r
		}
	}
	r := p.room()
	l.rooms = append(l.rooms, measured{same, r})
	return r
}

// measured is a room and whose it is, but for the name.
type measured struct {
	cfg  watchdog.Config
	room Room
}

// noRoom reports a pen with no place to stand in: for what reason.
func (l *loader) noRoom(d *draft, own []*declared, p *pen) {
	switch b := p.body(); {
	case p.space(need{}).Empty():
		l.swallowed(d, own)
	case p.space(b).Empty():
		key := "radius"
		if !p.space(need{side: b.side}).Empty() {
			key = "height"
		}
		d.table.report(key, fmt.Sprintf("does not fit: the pen of %q has no place for a body %s wide and %s high", d.name, metres(2*b.side), metres(2*b.above)), "enlarge the pen, or mend radius and height")
	default:
		l.add(d.stopping.at, d.stopping.path, "", fmt.Sprintf("leaves %q nowhere to stand: at rest it needs %v", d.name, p.until(motion{})), "enlarge the pen, or measure better and lower margin, position_error or velocity_error")
	}
}

// String is the need in words.
func (n need) String() string {
	return fmt.Sprintf("%s to every wall, %s above its centre and %s below", metres(n.side), metres(n.above), metres(n.below))
}

// tooFast reports a pen of which nothing is left at the limits, at the limit
// that is to blame.
func (l *loader) tooFast(d *draft, p *pen, r *Room) {
	m := p.limits()
	still := func(m motion) bool { return !p.space(p.until(m)).Empty() }
	key, v, next := "speed", m.speed, fmt.Sprintf("lower the limit to %s m/s", num(r.Fastest))
	switch {
	case r.Fastest > 0:
	case still(motion{m.speed, 0, m.descent}):
		key, v, next = "climb", m.climb, "lower this limit"
	case still(motion{m.speed, m.climb, 0}):
		key, v, next = "descent", m.descent, "lower this limit"
	default:
		next = "lower the limits of speed, climb and descent"
	}
	d.limits.report(key, fmt.Sprintf("is too fast: at %s m/s the pen of %q has no usable volume; heading anywhere it needs %v", num(v), d.name, p.until(m)), next+", enlarge the pen, or declare a shorter stop that has been measured")
}

// swallowed reports a pen of which the keep-outs leave nothing, at the first
// keep-out that does so alone, or at the vehicle.
func (l *loader) swallowed(d *draft, own []*declared) {
	const what, next = "swallows the whole pen of %q: nothing is left to be in", "make it smaller, or enlarge the keep-in zone"
	for i, o := range own {
		if o.shape.Kind != zones.KeepOut {
			continue
		}
		var some []zones.Shape
		for j, s := range d.cfg.Zones.Shapes() {
			if s.Kind == zones.KeepIn || j == i {
				some = append(some, s)
			}
		}
		c := d.cfg
		set, err := zones.New(some)
		if c.Zones = set; err != nil {
			continue
		}
		if p, err := newPen(&c); err == nil && p.space(need{}).Empty() {
			l.probs = append(l.probs, Problem{File: o.file, Line: o.line, Key: "zone", Value: show(o.shape.Name), What: fmt.Sprintf(what, d.name), Next: next})
			return
		}
	}
	l.add(d.table.at, "vehicle", show(d.name), "has a pen of which nothing is left: the keep-out zones together swallow it, or the height limit lies below it", "make the keep-out zones smaller, or enlarge the keep-in zone")
}
