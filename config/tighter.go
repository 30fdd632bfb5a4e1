package config

import (
	"fmt"
	"math"
	"reflect"

	"pinfold/watchdog"
)

// Tighter says whether next may be taken while old is running: nil where
// nothing in it is looser. The error is a Problems with every loosening, and
// every change that only a stop and a start can make (what a pose means, the
// broker, the trail, a vehicle that comes or goes).
//
// It errs towards refusing: a keep-in zone is tighter only where it lies
// within the old one of its name, a keep-out zone only where the new one of
// its name covers it, a later caution counts as looser, and nothing about the
// pose can change. What it lets through watchdog.Guard.Tighten takes too.
func Tighter(old, next *Site) error {
	if old == nil || next == nil {
		return Problems{{What: "there is no site to compare", Next: "load both sites first"}}
	}
	c := &comparison{file: next.Path}
	c.same("site.guard", old.Guard, next.Guard)
	c.same("site.fellows", old.Fellows, next.Fellows)
	c.same("broker", old.Broker.unbudgeted(), next.Broker.unbudgeted())
	c.same("trail", old.Trail, next.Trail)
	c.same("metrics", old.Metrics, next.Metrics)
	c.same("console", old.Console, next.Console)
	for i := range old.Vehicles {
		o := &old.Vehicles[i]
		c.vehicle = o.Name
		if n, ok := next.Vehicle(o.Name); ok {
			c.vehicles(o, n)
		} else {
			c.looser("vehicle", o.Name, "none", "is gone: it would no longer be watched")
		}
	}
	for i := range next.Vehicles {
		if n := &next.Vehicles[i]; !known(old, n.Name) {
			c.vehicle = n.Name
			c.looser("vehicle", "none", n.Name, "is new")
		}
	}
	return c.probs.err()
}

func known(s *Site, name string) bool {
	_, ok := s.Vehicle(name)
	return ok
}

// comparison collects what is looser.
type comparison struct {
	file    string
	vehicle string // the one being compared; empty for the site
	probs   Problems
}

const restartNext = "stop the vehicles, then stop and start the watchdog to take it"

func (c *comparison) looser(key string, old, next any, what string) {
	if c.vehicle != "" {
		what = fmt.Sprintf("%s (vehicle %q, was %v)", what, c.vehicle, old)
	} else {
		what = fmt.Sprintf("%s (was %v)", what, old)
	}
	c.probs = append(c.probs, Problem{File: c.file, Key: key, Value: fmt.Sprint(next), What: what, Next: restartNext})
}

// same insists on what only a start can change.
func (c *comparison) same(key string, old, next any) {
	if !reflect.DeepEqual(old, next) {
		c.looser(key, brief(old), brief(next), "cannot change while running")
	}
}

// brief is v on one short line.
func brief(v any) string { return short(fmt.Sprintf("%v", v)) }

// least insists on next >= old, most on next <= old.
func (c *comparison) least(key string, old, next float64) {
	if !(next >= old) {
		c.looser(key, num(old), num(next), "is looser: it may only grow while running")
	}
}

func (c *comparison) most(key string, old, next float64) {
	if !(next <= old) {
		c.looser(key, num(old), num(next), "is looser: it may only shrink while running")
	}
}

func (c *comparison) vehicles(o, n *Vehicle) {
	a, b := &o.Config, &n.Config
	c.same("vehicle.kind", a.Kind, b.Kind)
	c.least("vehicle.radius", a.Radius, b.Radius)
	c.least("vehicle.height", a.Height, b.Height)
	c.least("vehicle.zone_caution", a.ZoneCaution, b.ZoneCaution)
	c.same("vehicle.signing", o.Signing, n.Signing)
	c.same("vehicle.home", a.Home, b.Home)
	c.same("zone.floor", floor{a.HasGround, a.Ground}, floor{b.HasGround, b.Ground})
	c.limits(a, b)
	c.stopping(&a.Stopping, &b.Stopping)
	c.timing(&a.Timing, &b.Timing)
	c.pose(a, b)
	c.zones(a, b)
	c.slow(a, b)
	c.apart(a, b)
}

// floor is what bounds the reach below.
type floor struct {
	bounds bool
	height float64
}

func (f floor) String() string {
	if !f.bounds {
		return "no floor"
	}
	return "a floor at " + num(f.height) + " m"
}

// unbudgeted is the broker without its budget, which may shrink while running.
func (b Broker) unbudgeted() Broker {
	b.Budget = 0
	return b
}

// budget is that of the round trip, s; none at all is the loosest.
func budget(t *watchdog.Timing) float64 {
	if t.TripMost == 0 {
		return math.Inf(1)
	}
	return t.TripMost.Seconds()
}

func (c *comparison) limits(a, b *watchdog.Config) {
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		name, _ := id.Name()
		key := "vehicle.limits." + name
		o, n := a.Limits[id], b.Limits[id]
		switch {
		case !o.On:
			continue
		case !n.On:
			c.looser(key, num(o.Max), "none", "is gone")
			continue
		}
		c.most(key+".max", o.Max, n.Max)
		c.most(key+".caution", o.Caution, n.Caution)
		c.most(key+".confirm", float64(max(o.Confirm, 1)), float64(max(n.Confirm, 1)))
		if n.Answer < o.Answer {
			c.looser(key+".answer", o.Answer, n.Answer, "is a weaker answer")
		}
	}
}

func (c *comparison) stopping(o, n *watchdog.Stopping) {
	const key = "vehicle.stopping."
	if o.Predict && !n.Predict {
		c.looser(key+"predict", true, false, "is looser: the stop would come too late")
	}
	c.most(key+"link", o.Trip.Seconds(), n.Trip.Seconds())
	c.least(key+"reaction", o.Reaction.Seconds(), n.Reaction.Seconds())
	if o.CoverLoss && !n.CoverLoss {
		c.looser(key+"cover_loss", true, false, "is looser: the loss of the watchdog is no longer covered")
	}
	c.most(key+"deceleration", o.Deceleration, n.Deceleration)
	c.most(key+"vertical", o.Vertical, n.Vertical)
	c.least(key+"acceleration", o.Acceleration, n.Acceleration)
	c.least(key+"slope", o.Slope, n.Slope)
	c.least(key+"margin", o.Margin, n.Margin)
	c.least(key+"position_error", o.PositionErr, n.PositionErr)
	c.least(key+"velocity_error", o.VelocityErr, n.VelocityErr)
}

func (c *comparison) timing(o, n *watchdog.Timing) {
	const p, t = "vehicle.permit.", "vehicle.timing."
	c.most(p+"every", o.PermitEvery.Seconds(), n.PermitEvery.Seconds())
	c.most(p+"valid", o.PermitValid.Seconds(), n.PermitValid.Seconds())
	c.most(t+"command_every", o.CommandEvery.Seconds(), n.CommandEvery.Seconds())
	c.most(t+"ack_within", o.AckWithin.Seconds(), n.AckWithin.Seconds())
	c.most(t+"state_every", o.StateEvery.Seconds(), n.StateEvery.Seconds())
	c.most("broker.budget", budget(o), budget(n))
	c.most(t+"stall", o.Stall.Seconds(), n.Stall.Seconds())
	c.least(t+"caution_dwell", o.CautionDwell.Seconds(), n.CautionDwell.Seconds())
	c.least(t+"trusted_for", o.TrustedFor.Seconds(), n.TrustedFor.Seconds())
	c.least(t+"rest_for", o.RestFor.Seconds(), n.RestFor.Seconds())
	c.most(t+"rest_speed", o.RestSpeed, n.RestSpeed)
	c.most(t+"obey_slack", o.ObeySlack, n.ObeySlack)
	c.least(t+"obey_tolerance", o.ObeyTolerance, n.ObeyTolerance)
	c.most(t+"obey_confirm", float64(o.ObeyConfirm), float64(n.ObeyConfirm))
}

// tie passes over another alignment file where the guard may take one while
// running: it asks for it by itself, see watchdog.EvAlign.
func (c *comparison) tie(a, b *watchdog.Config) {
	const key = "vehicle.pose.align"
	if a.Tie.Renew && b.Tie.Renew {
		c.most(key+".tolerance", a.Tie.Most, b.Tie.Most)
		return
	}
	c.same(key+".file", a.Tie, b.Tie)
	c.same(key, a.Pose.Align, b.Pose.Align)
	c.least(key+".residual", a.Stopping.AlignErr, b.Stopping.AlignErr)
}

// pose insists that a pose keeps its meaning and its trust: the history it is
// judged by was gathered under the old settings.
func (c *comparison) pose(a, b *watchdog.Config) {
	const key = "vehicle.pose"
	c.same(key+".fields", a.Fields, b.Fields)
	o, n := a.Pose, b.Pose
	c.same(key+".axes", o.Axes, n.Axes)
	c.same(key+".mount", o.Mount, n.Mount)
	c.tie(a, b)
	c.same(key+".max_age", o.MaxAge, n.MaxAge)
	n.Axes, n.Mount, n.Align, n.MaxAge = o.Axes, o.Mount, o.Align, o.MaxAge
	if n.MaxSpeed > 0 && n.MaxSpeed < o.MaxSpeed {
		n.MaxSpeed = o.MaxSpeed // follows from a lower speed limit; the running jump test stays, see watchdog.Tighten
	}
	c.same(key, o, n)
}
