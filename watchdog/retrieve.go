package watchdog

import (
	"fmt"
	"math"
	"time"

	"pinfold/watchdog/pose/trig"
	"pinfold/zones"
)

// Bounds of a retrieval: how a vehicle that rests outside its pen, or too near
// its edge to start, is brought back.
const (
	// RetrieveFor is how long one lasts at most.
	RetrieveFor = 30 * time.Second
	// WalkingPace is the highest speed, m/s, in any direction; a lower speed
	// limit comes first (about the mean of adults on foot; common practice, no
	// source).
	WalkingPace = 1.4
	// RetrieveSlack is how far, m, the room may seem to fall, beside the
	// declared position error, before it counts.
	RetrieveSlack = 0.05
)

// retrieval is a start that was granted to a vehicle whose place alone forbade
// it. It ends with a stop, whatever ends it: what comes after is a reset, and a
// start of its own.
//
// Only the causes of place (a zone, the distance from home) that were violated
// when it began are tolerated, each until it ends for the first time. The room
// is that of the bare body on its nominal way until rest; at no time may it be
// less than the most it has been, but for the slack. So the vehicle can stand,
// or go back; one that turns outwards is stopped at once, since its place of
// rest counts and not only where it is.
type retrieval struct {
	on    bool
	until time.Duration
	most  float64 // m, the most room so far
}

// ofPlace says whether a retrieval may tolerate s.
func (s *subject) ofPlace() bool { return s.kind == CauseZone || s.kind == CauseDistance }

// misplaced says whether a vehicle is where only a retrieval can bring it back
// from: outside, where a stop is latched; else where no start is granted.
func (g *Guard) misplaced() bool {
	for _, i := range g.active {
		s := &g.subjects[i]
		if s.ofPlace() && s.answer >= ActStop && s.run > 0 && (g.latch == ActNone || s.outside) {
			return true
		}
	}
	return false
}

// beginRetrieval lowers what is latched and lets the vehicle go back.
func (g *Guard) beginRetrieval(by string, now time.Duration) {
	if g.latch != ActNone {
		g.lower(by, now)
	}
	for _, i := range g.active {
		s := &g.subjects[i]
		s.tolerated = s.ofPlace() && s.run > 0
	}
	g.retrieve = retrieval{on: true, until: now + RetrieveFor, most: g.wayRoom()}
}

// endRetrieval is called when anything is raised.
func (g *Guard) endRetrieval() {
	if !g.retrieve.on {
		return
	}
	g.retrieve = retrieval{}
	for i := range g.subjects {
		g.subjects[i].tolerated = false
	}
}

// judgeRetrieval stops a retrieval that is over or not what was granted.
func (g *Guard) judgeRetrieval(now time.Duration) {
	if !g.retrieve.on {
		return
	}
	pace := math.Min(WalkingPace, g.cfg.limitOr(LimitSpeed, WalkingPace))
	v := g.cur.Velocity
	speed, room := v.Norm(), g.wayRoom()
	least := g.retrieve.most - RetrieveSlack - g.cfg.Stopping.PlaceErr()
	c := Cause{Kind: CauseRetrieval}
	switch {
	case !g.cur.HasVelocity:
		c.Name, c.Value, c.Limit, c.Unit = retrieveSpeed, Unbounded, pace, "m/s"
	case !(speed <= pace):
		c.Name, c.Value, c.Limit, c.Unit = retrievePace, bounded(speed), pace, "m/s"
	case !(room >= least && room > -Unbounded):
		c.Name, c.Value, c.Limit, c.Unit = retrieveRoom, bounded(room), bounded(least), "m"
	case now >= g.retrieve.until:
		c.Name, c.Value, c.Limit, c.Unit = retrieveTime, RetrieveFor.Seconds(), RetrieveFor.Seconds(), "s"
	case g.backInside(now):
		c.Name, c.Value, c.Unit = retrieveDone, bounded(g.nearest().Clearance), "m"
	default:
		g.retrieve.most = math.Max(g.retrieve.most, room)
		return
	}
	c.Word, c.Text = c.Kind.String(), retrieveSentence(&c)
	g.raise(c, ActStop, now)
}

// Names of what ends a retrieval.
const (
	retrieveSpeed = "retrieve speed"
	retrievePace  = "retrieve pace"
	retrieveRoom  = "retrieve room"
	retrieveTime  = "retrieve time"
	retrieveDone  = "retrieve done"
)

func retrieveSentence(c *Cause) string {
	switch c.Name {
	case retrieveSpeed:
		return "its speed is unknown, so nobody knows that it comes back slowly"
	case retrievePace:
		return fmt.Sprintf("comes back at %.2f m/s, faster than %.2f m/s", c.Value, c.Limit)
	case retrieveRoom:
		return "goes further out instead of coming back"
	case retrieveTime:
		return fmt.Sprintf("was not back within %.0f s", c.Limit)
	}
	return "is back inside: reset, then start"
}

// backInside says whether nothing is tolerated any more, and the vehicle rests
// or has all the room that calls for no caution.
func (g *Guard) backInside(now time.Duration) bool {
	for _, i := range g.active {
		if s := &g.subjects[i]; s.ofPlace() && s.run > 0 {
			return false
		}
	}
	return g.atRest(now) || g.nearest().Clearance > g.cfg.ZoneCaution
}

// wayRoom is the clearance, m, of the bare body on its nominal way until rest:
// what the pose says, without error and margin. A distance from home counts
// like a zone's edge.
func (g *Guard) wayRoom() float64 {
	w := g.bodyNow()
	w.To = g.reach.Sweep.To
	if s := &g.cfg.Stopping; s.Predict && g.cfg.Kind == Multirotor {
		vz := g.cur.Velocity.Z
		w.To.Z += math.Copysign(StoppingDistance(math.Abs(vz), g.reach.Reaction, s.Vertical), vz)
	}
	w.To.Z = g.aboveGround(w.To.Z, w.Below)
	room := g.cfg.Zones.Clearance(&w).Clearance
	if l := g.cfg.Limits[LimitDistance]; l.On {
		room = math.Min(room, l.Max-math.Max(g.fromHome(w.From), g.fromHome(w.To)))
	}
	return room
}

// aboveGround is z, or the least height of the centre of a body that reaches
// below it by below.
func (g *Guard) aboveGround(z, below float64) float64 {
	if !g.cfg.HasGround {
		return z
	}
	return math.Max(z, g.cfg.Ground+below)
}

func (g *Guard) fromHome(p zones.XYZ) float64 {
	return trig.Hypot(p.X-g.cfg.Home.X, p.Y-g.cfg.Home.Y)
}

// limitOr is a limit's value, or otherwise where it is off.
func (c *Config) limitOr(id LimitID, otherwise float64) float64 {
	if l := c.Limits[id]; l.On {
		return l.Max
	}
	return otherwise
}
