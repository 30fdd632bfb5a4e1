package config

import (
	"fmt"
	"math"
	"time"

	"pinfold/watchdog"
	"pinfold/zones"
)

// draft is one vehicle as read, before its zones are known to be sound.
type draft struct {
	name     string
	table    *table
	pose     *table // [vehicle.pose], for later cautions
	stopping *table
	limits   *table
	cfg      watchdog.Config
	tiltStop bool // deceleration was given as a tilt
	rank     int  // of two that come too near the lower one yields
	sound    bool // nothing was wrong with it

	signing   Signing
	alignFile string // as the file names it; empty: none
}

// DefaultZoneCaution is the clearance, m, below which the level is caution
// where the file does not say (common practice, no source).
const DefaultZoneCaution = 0.30

// degree in radians.
const degree = math.Pi / 180

func (l *loader) readVehicles(root *table) []*draft {
	list := root.tables("vehicle")
	if !root.has("vehicle") {
		l.add(root.at, "vehicle", "", "is missing", "add a [[vehicle]] with name, kind, radius and height")
	}
	if len(list) > MaxVehicles {
		root.report("vehicle", fmt.Sprintf("is given %d times, more than %d", len(list), MaxVehicles), "watch the others from another site file and guard")
		return nil
	}
	var all []*draft
	for _, t := range list {
		d := l.readVehicle(t)
		for _, o := range all {
			if o.name == d.name && d.name != "" {
				t.report("name", fmt.Sprintf("is already the name of the vehicle on line %d", o.table.at.line), "give every vehicle a name of its own")
			}
		}
		d.sound = d.sound && t.fine("name")
		all = append(all, d)
	}
	return all
}

// readVehicle reads one [[vehicle]] and the tables below it.
func (l *loader) readVehicle(t *table) *draft {
	before := len(t.r.probs)
	d := &draft{table: t, name: t.text("name", "", MaxName)}
	d.readName()
	c := &d.cfg
	c.Vehicle = d.name
	c.Kind = watchdog.Kind(1 + t.word("kind", 0, "rover", "multirotor"))
	if !t.has("kind") {
		t.missing("kind", `write kind = "rover" or kind = "multirotor": it decides the safe state`)
	}
	c.Radius = t.need("radius", span{0, 100, "m"}, "give half the body's greatest width in metres, guards and cargo included")
	c.Height = t.need("height", span{0, 100, "m"}, "give the body's height in metres")
	if home, ok := t.numbers("home", 2, coordinates()); ok {
		c.Home = zones.XY{X: home[0], Y: home[1]}
	}
	d.rank = t.whole("rank", 0, span{1, maxRank, ""})
	c.ZoneCaution = t.number("zone_caution", DefaultZoneCaution, span{0, 1e4, "m"})
	d.limits = readLimits(t, c)
	d.stopping, d.tiltStop = readStopping(t, c)
	readTiming(t, c)
	d.pose = l.readPose(t, d)
	d.signing = l.readSigning(t, c.Fields.CBOR)
	t.done()
	d.across()
	d.sound = len(t.r.probs) == before
	return d
}

func (d *draft) readName() {
	t := d.table
	switch {
	case !t.has("name"):
		t.missing("name", `name the vehicle, like name = "wren"; the name is a level of its topics`)
	case t.fine("name") && !isName(d.name):
		t.report("name", "is not usable as a level of a topic", nameRule)
	case d.name == everyone:
		t.report("name", "stands for every vehicle on the wire", "choose another name")
	}
}

// across checks what stands in different tables of the vehicle.
func (d *draft) across() {
	c, t := &d.cfg, d.table
	if c.Stopping.Predict && !d.limits.has("speed") && !d.limits.wrong {
		t.r.add(d.limits.at, "vehicle.limits.speed", "", "is missing, and where the velocity is unknown the stopping distance is taken from it", "give the highest speed allowed in m/s, or set predict = false for an audit of bare rules")
	}
	if d.limits.has("distance") && !t.has("home") {
		t.missing("home", "give home = [x, y] in metres, from which limits.distance is measured")
	}
	permit := t.sub("permit")
	if d.pose.r.bad[d.pose.at.key("max_age")] || permit.r.bad[permit.at.key("valid")] {
		return
	}
	if age, valid := c.Pose.MaxAge, c.Timing.PermitValid; age > valid {
		d.pose.report("max_age", fmt.Sprintf("is longer than the permit is valid (%v): the vehicle would halt on a pose the watchdog still trusts", valid), "shorten max_age, or lengthen valid in [vehicle.permit], which may be at most 1s")
	}
}

// Bounds of the timing, as watchdog.Config has them.
const (
	ms = time.Millisecond
	// MaxPermitValid bounds the permit's validity: for so long a vehicle goes
	// on after the watchdog died.
	MaxPermitValid = time.Second
)

// readTiming reads [vehicle.permit] and [vehicle.timing].
func readTiming(vehicle *table, c *watchdog.Config) {
	d := watchdog.DefaultTiming()
	p := vehicle.sub("permit")
	d.PermitEvery = p.duration("every", d.PermitEvery, 5*ms, time.Second)
	d.PermitValid = p.duration("valid", d.PermitValid, 20*ms, MaxPermitValid)
	if d.PermitValid <= d.PermitEvery && !p.r.bad[p.at.key("every")] && !p.r.bad[p.at.key("valid")] {
		p.report("valid", fmt.Sprintf("is not longer than the time between two permits (%v): the vehicle would halt between them", d.PermitEvery), "let a permit be valid for at least twice the time between two")
	}
	p.done()
	t := vehicle.sub("timing")
	d.CommandEvery = t.duration("command_every", d.CommandEvery, 20*ms, time.Second)
	d.AckWithin = t.duration("ack_within", d.AckWithin, 50*ms, 10*time.Second)
	d.StateEvery = t.duration("state_every", d.StateEvery, 20*ms, 10*time.Second)
	d.Stall = t.duration("stall", d.Stall, 50*ms, 10*time.Second)
	d.CautionDwell = t.duration("caution_dwell", d.CautionDwell, 0, time.Minute)
	d.TrustedFor = t.duration("trusted_for", d.TrustedFor, 0, time.Minute)
	d.RestFor = t.duration("rest_for", d.RestFor, 0, 10*time.Second)
	d.RestSpeed = t.number("rest_speed", d.RestSpeed, span{1e-3, 10, "m/s"})
	d.ObeySlack = t.number("obey_slack", d.ObeySlack, span{0, 10, "m/s"})
	d.ObeyTolerance = t.number("obey_tolerance", d.ObeyTolerance, span{0.01, 1, ""})
	d.ObeyConfirm = t.whole("obey_confirm", d.ObeyConfirm, span{1, 1000, "samples"})
	t.done()
	c.Timing = d
}
