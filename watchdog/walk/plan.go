package walk

import (
	"fmt"
	"math"

	"pinfold/watchdog"
	"pinfold/zones"
)

// What a person can do with a vehicle in the hands (common practice, no source).
const (
	handLow  = 0.3 // m above the floor, without going down on the knees
	handHigh = 1.9 // m, held up
	handMid  = 1.0
	brisk    = 1.8 // m/s on the level, indoors
	lift     = 1.5 // m/s upwards or downwards
	whirl    = 360 // deg/s
)

// Plan lists everything that limits one vehicle. Items that a hand cannot show
// are in it, with the reason.
func Plan(cfg *watchdog.Config) ([]Item, error) {
	p := planner{cfg: cfg, shapes: cfg.Zones.Shapes()}
	for _, bend := range []float64{20, 45, 80} { // degrees; more, and corners are lost
		p.items = p.items[:0]
		for i := range p.shapes {
			p.zone(i, bend)
		}
		p.slow()
		p.limits()
		p.others()
		if len(p.items) <= MaxItems {
			break
		}
	}
	if n := len(p.items); n > MaxItems {
		return nil, fmt.Errorf("there are %d edges and limits to walk, at most %d fit a list: draw the zones with fewer corners, or give the vehicle its own (vehicles = [...] of a zone)", n, MaxItems)
	}
	for i := range p.items {
		it := &p.items[i]
		it.No = i + 1
		if it.Outcome == "" {
			it.Outcome = Open
		}
	}
	return p.items, nil
}

type planner struct {
	cfg    *watchdog.Config
	shapes []zones.Shape
	items  []Item
}

// hand is the height a body is carried at between lo and hi; ok is false where a
// hand does not come there.
func (p *planner) hand(lo, hi float64) (z float64, ok bool) {
	ground, half := p.cfg.Ground, p.cfg.Height/2
	if p.cfg.Kind == watchdog.Rover {
		z = math.Max(ground, lo) + half
		return z, z < hi
	}
	bottom, top := math.Max(lo+half, ground+handLow), math.Min(hi-half, ground+handHigh)
	if !(bottom < top) {
		return 0, false
	}
	return math.Min(math.Max(ground+handMid, bottom), top), true
}

// zone lists the sides of one zone, and its floor and ceiling.
func (p *planner) zone(i int, bend float64) {
	s := &p.shapes[i]
	all := sidesOf(s, bend)
	z, reached := p.hand(s.Floor, s.Ceiling)
	for k := range all {
		it := Item{Kind: Side, Name: s.Name, Side: k + 1, way: all[k].way, edges: true, index: i, out: s.Kind == zones.KeepOut}
		at, ok := p.boundary(&all[k], z)
		if reached && !ok {
			continue // inside another zone, or outside the pen: nothing ends there
		}
		it.at = zones.XYZ{X: at.X, Y: at.Y, Z: z}
		it.Text = all[k].words(all, at)
		if !reached {
			it.not("it begins out of a hand's reach, at %.2f m", s.Floor)
		}
		p.items = append(p.items, it)
	}
	if p.cfg.Kind == watchdog.Multirotor {
		p.faces(i)
	}
}

// faces lists the floor and the ceiling of a zone. A floor that lies at or below
// the ground is no edge of anything.
func (p *planner) faces(i int) {
	s := &p.shapes[i]
	at, ok := p.within(s)
	if !ok {
		return
	}
	out := s.Kind == zones.KeepOut
	for _, f := range []struct {
		kind Kind
		z    float64
		up   bool // towards it is upwards
		text string
	}{
		{Ceiling, s.Ceiling, !out, "it lies"},
		{Floor, s.Floor, out, "it lies"},
	} {
		if f.z <= p.cfg.Ground+0.05 {
			continue
		}
		it := Item{Kind: f.kind, Name: s.Name, z: f.z, edges: true, index: i, out: out}
		it.at = zones.XYZ{X: at.X, Y: at.Y, Z: f.z}
		verb := "lift it"
		if !f.up {
			verb = "lower it"
		}
		if out {
			f.text = map[Kind]string{Ceiling: "its top lies", Floor: "its underside lies"}[f.kind]
		}
		it.Text = fmt.Sprintf("%s at %.2f m: %s, at about (%.1f, %.1f)", f.text, f.z, verb, at.X, at.Y)
		step := 0.02
		if f.up {
			step = -step
		}
		inside := zones.XYZ{X: at.X, Y: at.Y, Z: f.z + step}
		beyond := zones.XYZ{X: at.X, Y: at.Y, Z: f.z - step}
		switch need := f.z - p.cfg.Ground; {
		case !p.cfg.Zones.Inside(inside) || p.cfg.Zones.Inside(beyond):
			continue // nothing ends there
		case f.up && need > handHigh+p.cfg.Stopping.Margin+p.cfg.Stopping.PlaceErr()+p.cfg.Height/2:
			it.not("%.2f m is out of a hand's reach", f.z)
		case !f.up && need > handHigh-0.3:
			it.not("above %.2f m is out of a hand's reach", f.z)
		}
		p.items = append(p.items, it)
	}
}

// slow lists the slow zones.
func (p *planner) slow() {
	for i := range p.cfg.Slow {
		s := &p.cfg.Slow[i]
		it := Item{Kind: Slow, Name: s.Shape.Name, Max: s.Limit.Max, Unit: "m/s"}
		at, ok := p.within(&s.Shape)
		it.at = zones.XYZ{X: at.X, Y: at.Y, Z: handMid}
		it.Text = fmt.Sprintf("come into it faster than %.2f m/s, at about (%.1f, %.1f)", s.Limit.Max, at.X, at.Y)
		switch {
		case !ok:
			it.not("no place in it was found")
		case s.Limit.Answer < watchdog.ActStop:
			it.not("it only calls for caution")
		case s.Limit.Max > brisk:
			it.not("nobody walks at %.2f m/s indoors", s.Limit.Max)
		}
		p.items = append(p.items, it)
	}
}

// others lists the vehicles it keeps apart from.
func (p *planner) others() {
	for i := range p.cfg.Others {
		o := &p.cfg.Others[i]
		it := Item{Kind: Apart, Name: o.Name, Max: o.Distance, Unit: "m", Text: fmt.Sprintf("%.2f m from %s", o.Distance, o.Name)}
		it.not("one vehicle is walked at a time, and this needs the other's pose")
		p.items = append(p.items, it)
	}
}

func (it *Item) not(form string, a ...any) {
	it.Outcome, it.Why = NotWalked, fmt.Sprintf(form, a...)
}
