package watchdog

import (
	"fmt"
	"math"
	"time"

	"pinfold/watchdog/pose/trig"
	"pinfold/zones"
)

// Other is a vehicle of the same site that this one keeps apart from.
//
// Both guards hold their own reach against what the other was last known to be
// able to reach (OtherReach), which covers everything it can do until OtherFor
// later, and the stop after that. An older one, or one whose pose is not
// trusted, is as good as none: where the other is, is then unknown, and this
// vehicle stops. So whoever goes on is at every instant apart from all that the
// other may still do, without either having to know of the other's permit.
//
// The one that yields is stopped first; the other stops too where that is not
// enough. Its guard takes its own reach to be what it tells the other that it is,
// OtherFor later: whatever the other's guard will hold against this vehicle, and by
// what it is itself by then, this one has held against itself before. Lead is on
// top, for what two judgements of one vehicle differ by though it moves as declared:
// the errors of its poses.
type Other struct {
	Name     string
	Distance float64 // m, between the two bodies, each with its margin and errors
	Lead     float64 // m, on top, where this vehicle yields; 0 where it does not
}

// Bounds of keeping apart.
const (
	// MaxOthers bounds the vehicles one keeps apart from.
	MaxOthers = 100
	// OtherFor is how long a vehicle's reach holds for others: it covers
	// everything the vehicle can do if its stop is called that much later.
	OtherFor = 150 * time.Millisecond
)

// OtherReach is where another vehicle can be until rest.
type OtherReach struct {
	Name  string
	Known bool          // its pose is judged and trusted
	At    time.Duration // session instant of the judgement
	Sweep zones.Sweep
}

// yields says whether this vehicle is to be stopped before the other is.
func (o *Other) yields() bool { return o.Lead > 0 }

// need is how far apart the two must be, m.
func (o *Other) need() float64 { return o.Distance + o.Lead }

// otherSeen is the newest that was heard of an Other.
type otherSeen struct {
	seen  bool
	reach OtherReach
}

// ForOthers is this vehicle's reach at the instant now, as other guards need
// it. It changes nothing.
func (g *Guard) ForOthers(now time.Duration) OtherReach {
	now = max(now, g.now)
	o := OtherReach{Name: g.cfg.Vehicle, At: now, Known: g.judged && g.trust == 0 && !g.closed}
	if !o.Known {
		return o
	}
	var r Reach
	g.reachLate(OtherFor, now, &r)
	o.Sweep = r.Sweep
	return o
}

// validateOthers checks what the vehicle keeps apart from.
func (c *Config) validateOthers() error {
	if len(c.Others) > MaxOthers {
		return fmt.Errorf("watchdog: vehicle %q: %d other vehicles are more than %d", c.Vehicle, len(c.Others), MaxOthers)
	}
	if len(c.Others) > 0 && !c.Stopping.Predict {
		return fmt.Errorf("watchdog: vehicle %q: nothing is predicted, so it cannot be kept apart from others", c.Vehicle)
	}
	for i := range c.Others {
		o := &c.Others[i]
		switch {
		case o.Name == "" || len(o.Name) > MaxName || o.Name == c.Vehicle:
			return fmt.Errorf("watchdog: vehicle %q: %q is no other vehicle's name", c.Vehicle, o.Name)
		case !(o.Distance > 0 && o.Distance <= 1e4) || !(o.Lead >= 0 && o.Lead <= 1e4):
			return fmt.Errorf("watchdog: vehicle %q: %v m and a lead of %v m to %q are not usable numbers", c.Vehicle, o.Distance, o.Lead, o.Name)
		}
		for k := range i {
			if c.Others[k].Name == o.Name {
				return fmt.Errorf("watchdog: vehicle %q: %q is named twice among the others", c.Vehicle, o.Name)
			}
		}
	}
	return nil
}

// apartSubjects are what is watched for the others, in their order. The value
// is how much the two are too near, m.
func apartSubjects(c *Config) (all []subject) {
	for i := range c.Others {
		all = append(all, subject{kind: CauseApart, zone: -1, name: c.Others[i].Name, unit: "m",
			caution: -c.ZoneCaution, answer: ActStop, atLimit: true})
	}
	return all
}

// onOther takes what another guard says of its vehicle; what is older than what
// is known, or of a vehicle that is none of the others, changes nothing.
func (g *Guard) onOther(o *OtherReach, now time.Duration) {
	for i := range g.cfg.Others {
		s := &g.others[i]
		if g.cfg.Others[i].Name != o.Name || s.seen && o.At < s.reach.At {
			continue
		}
		s.seen, s.reach = true, *o
		s.reach.At = min(o.At, now)
	}
}

// heardOf is what is known of the others of the config in force; old stands for
// those that were heard of before, by their names.
func (g *Guard) heardOf(old []otherSeen) []otherSeen {
	seen := make([]otherSeen, len(g.cfg.Others))
	for i := range seen {
		for k := range old {
			if old[k].seen && old[k].reach.Name == g.cfg.Others[i].Name {
				seen[i] = old[k]
			}
		}
	}
	return seen
}

// judgeApart judges how near the others can come.
func (g *Guard) judgeApart(now time.Duration) {
	for i := range g.cfg.Others {
		o, s := &g.cfg.Others[i], &g.others[i]
		short := Unbounded
		if g.judged && s.seen && s.reach.Known && now-s.reach.At <= OtherFor {
			own := &g.reach
			if o.yields() {
				own = g.reachAfter(OtherFor, now)
			}
			short = o.need() - Apart(&own.Sweep, &s.reach.Sweep)
		}
		g.observeValue(g.apart0+i, short, now)
	}
}

// otherNamed is the other of that name; a zero one where there is none.
func (c *Config) otherNamed(name string) (o Other) {
	for i := range c.Others {
		if c.Others[i].Name == name {
			return c.Others[i]
		}
	}
	return o
}

func (g *Guard) apartSentence(c *Cause) string {
	o := g.cfg.otherNamed(c.Name)
	need := o.need()
	switch {
	case c.Value >= Unbounded:
		return fmt.Sprintf("where %s is, or can come to, is unknown", c.Name)
	case need-c.Value <= 0:
		return fmt.Sprintf("could have met %s", c.Name)
	}
	return fmt.Sprintf("could have come within %.2f m of %s, nearer than %.2f m", need-c.Value, c.Name, need)
}

// looserOthers compares what is kept apart: the same vehicles, and no nearer.
func looserOthers(old, next *Config) (what []string) {
	for i := range old.Others {
		o := &old.Others[i]
		switch n := next.otherNamed(o.Name); {
		case n.Name == "":
			what = append(what, fmt.Sprintf("vehicle %q is no longer kept apart from", o.Name))
		case n.Distance < o.Distance || n.Lead < o.Lead:
			what = append(what, fmt.Sprintf("vehicle %q may come nearer: from %v + %v to %v + %v m", o.Name, o.Distance, o.Lead, n.Distance, n.Lead))
		}
	}
	return what
}

// apartPieces is into how many pieces each sweep is cut for its growth: Apart
// is short of the truth by less than that part of both growths.
const apartPieces = 8

// Apart is how far apart, m, two bodies stay whatever they do within their
// sweeps: never more than the truth, and negative where they may overlap on the
// floor plan and in height. Where anything is not finite it is -Unbounded.
//
// Each sweep's centre line is cut into pieces, each as wide as it is at its far
// end, and the pieces' distances are those of plain line segments. In height
// every piece counts with all of the sweep's.
func Apart(a, b *zones.Sweep) float64 {
	if !finiteSweep(a) || !finiteSweep(b) {
		return -Unbounded
	}
	flat := math.Inf(1)
	halves := float64((lineLength(a)+lineLength(b))/(2*apartPieces)) + pieceSlack
	for i := apartPieces - 1; i >= 0; i-- { // from the far ends: who goes at each other is nearest there
		p, q, r := piece(a, i)
		for k := apartPieces - 1; k >= 0; k-- {
			u, v, s := piece(b, k)
			if further(p, q, u, v, flat+r+s+halves) {
				continue
			}
			flat = math.Min(flat, segmentsApart(p, q, u, v)-r-s)
		}
	}
	lowA, highA := heights(a)
	lowB, highB := heights(b)
	if up := math.Max(lowA-highB, lowB-highA); up > 0 {
		return trig.Hypot(math.Max(flat, 0), up)
	}
	return flat
}

// pieceSlack is more than rounding can take from the distance of two pieces'
// middles, m, within zones.MaxQuery.
const pieceSlack = 1e-6

// further says whether the middles of two segments are more than d apart, so
// that the segments are too, less half their lengths. It spares most pieces the
// dearer question.
func further(p, q, u, v zones.XY, d float64) bool {
	x, y := (p.X+q.X-u.X-v.X)/2, (p.Y+q.Y-u.Y-v.Y)/2
	return d >= 0 && float64(x*x)+float64(y*y) > d*d
}

// lineLength is the length, m, of a sweep's centre line on the floor plan.
func lineLength(w *zones.Sweep) float64 { return trig.Hypot(w.To.X-w.From.X, w.To.Y-w.From.Y) }

func finiteSweep(w *zones.Sweep) bool {
	for _, v := range [...]float64{w.From.X, w.From.Y, w.From.Z, w.To.X, w.To.Y, w.To.Z, w.Radius, w.Grow, w.Below, w.Above} {
		if !(math.Abs(v) <= zones.MaxQuery) {
			return false
		}
	}
	return w.Radius >= 0 && w.Grow >= 0 && w.Below >= 0 && w.Above >= 0
}

// piece is the i-th piece of a sweep: its ends, and its greatest radius.
func piece(w *zones.Sweep, i int) (from, to zones.XY, radius float64) {
	at := func(t float64) zones.XY {
		return zones.XY{X: w.From.X + float64(t*(w.To.X-w.From.X)), Y: w.From.Y + float64(t*(w.To.Y-w.From.Y))}
	}
	s, t := float64(i)/apartPieces, float64(i+1)/apartPieces
	return at(s), at(t), w.Radius + float64(t*w.Grow)
}

func heights(w *zones.Sweep) (low, high float64) {
	return math.Min(w.From.Z, w.To.Z) - w.Below, math.Max(w.From.Z, w.To.Z) + w.Above
}

// segmentsApart is the distance, m, of two line segments on the floor plan.
func segmentsApart(p, q, u, v zones.XY) float64 {
	if side(p, q, u)*side(p, q, v) < 0 && side(u, v, p)*side(u, v, q) < 0 {
		return 0
	}
	return math.Min(math.Min(pointApart(p, u, v), pointApart(q, u, v)), math.Min(pointApart(u, p, q), pointApart(v, p, q)))
}

// side is on which side of the line from a to b c lies: its sign, or 0.
func side(a, b, c zones.XY) float64 {
	d := float64((b.X-a.X)*(c.Y-a.Y)) - float64((b.Y-a.Y)*(c.X-a.X))
	switch {
	case d > 0:
		return 1
	case d < 0:
		return -1
	}
	return 0
}

func pointApart(c, a, b zones.XY) float64 {
	dx, dy := b.X-a.X, b.Y-a.Y
	t := 0.0
	if l := float64(dx*dx) + float64(dy*dy); l > 0 {
		t = math.Max(0, math.Min(1, (float64((c.X-a.X)*dx)+float64((c.Y-a.Y)*dy))/l))
	}
	return trig.Hypot(c.X-a.X-float64(t*dx), c.Y-a.Y-float64(t*dy))
}
