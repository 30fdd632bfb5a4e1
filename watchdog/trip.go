package watchdog

import (
	"math"
	"time"
)

// delays is what passes between a pose's instant and the end of the vehicle's
// permission, but for the declared reaction.
type delays struct {
	age  time.Duration // of the pose
	late time.Duration // by how much the stop may be called later than at the next judgement
	trip time.Duration // longest measured round trip through the broker; 0 none was
}

// until is how long after the pose's instant the vehicle may go on as if
// permitted, if its permit is withdrawn at the next judgement. A permit goes
// from the guard to the broker and on to the vehicle, as long a way as the
// guard's own round trip.
//
// However slow the link is, what is added for it ends where the permit does:
// the newest one that may be on its way carries the stamp of the pose that is
// judged, and by the vehicle's own clock it is good for PermitValid after that
// stamp. Where the stop may come later, newer poses may have been permitted
// until then; so it is for a link that is lost at the stop, where that is covered.
func (d delays) until(c *Config) time.Duration {
	until := d.age + d.late + JudgeEvery
	ends := c.Timing.PermitValid
	if d.late > 0 {
		ends += d.age + d.late
	}
	if more := d.trip - c.Stopping.Trip; more > 0 {
		until = max(until, min(until+more, ends))
	}
	if c.Stopping.CoverLoss {
		until = max(until, ends)
	}
	return until
}

// slower is by how much a message to the vehicle may take longer than is
// declared where the round trip was measured as trip: as long as a permit is good
// for at most, since over a slower link than that no vehicle has one.
func (c *Config) slower(trip time.Duration) time.Duration {
	return max(0, min(trip-c.Stopping.Trip, c.Timing.PermitValid))
}

// MaxTrip bounds the measured round trip. What takes longer never comes.
const MaxTrip = 10 * time.Second

// onTrip takes what the shell measured. It counts from the next judgement on.
func (g *Guard) onTrip(trip time.Duration) {
	if trip < 0 { // nobody can have measured that
		trip = MaxTrip
	}
	g.trip = min(trip, MaxTrip)
}

// judgeTrip holds the measured round trip against its budget.
func (g *Guard) judgeTrip(now time.Duration) {
	most := g.cfg.Timing.TripMost
	if most == 0 {
		return // a budget never goes while running
	}
	g.observe(g.other(CauseLinkSlow), most > 0 && g.trip > most, g.trip.Seconds(), most.Seconds(), now)
}

// budget is the budget in seconds; none at all is the loosest.
func budget(t *Timing) float64 {
	if t.TripMost == 0 {
		return math.Inf(1)
	}
	return t.TripMost.Seconds()
}
