package config

import (
	"strings"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// finish gives vehicle d its zones and adds it to the site, where everything
// it needs is sound.
func (l *loader) finish(s *Site, keys *siteKeys, d *draft, all []*declared, sound bool) {
	var own []*declared
	var shapes []zones.Shape
	var slow []watchdog.SlowZone
	pens := 0
	for _, z := range all {
		if !z.isFor(d.name) {
			continue
		}
		if z.speed > 0 {
			slow = append(slow, z.slowZone())
		}
		if z.slow {
			continue
		}
		own, shapes = append(own, z), append(shapes, z.shape)
		if z.shape.Kind == zones.KeepIn {
			pens++
		}
	}
	if pens == 0 && len(all) > 0 && !l.blind && d.table.fine("name") {
		l.add(d.table.at, "vehicle", show(d.name), "has no keep-in zone: nothing is allowed to it", "add a zone of kind keep-in for it")
		return
	}
	if !sound || !d.sound || pens == 0 || l.blind {
		return
	}
	c := &d.cfg
	c.Guard, c.Hash = keys.guard, s.Hash
	c.Timing.TripMost = s.Broker.Budget
	judged, ground := Grounded(shapes, keys.allowance)
	set, err := zones.New(judged)
	if err != nil {
		l.add(d.table.at, "zone", "", err.Error(), "mend the zones")
		return
	}
	c.Zones, c.HasGround, c.Slow = set, ground, slow
	if !l.gate(d) {
		return
	}
	room := Room{Vehicle: d.name}
	if !l.quick {
		room = l.measure(d, own)
	}
	l.vehicleCautions(d, own)
	s.Vehicles = append(s.Vehicles, Vehicle{Name: d.name, Config: *c, Shapes: shapes, AlignFile: d.alignFile, Signing: d.signing})
	s.rooms = append(s.rooms, room)
}

// gate has the packages that will use the config check it too. What they
// refuse should have been refused before, with its line.
func (l *loader) gate(d *draft) bool {
	c := d.cfg
	c.Session = "check"
	err := c.Validate()
	if err == nil {
		_, err = pose.NewTrack(c.Pose)
	}
	if err != nil {
		what := strings.TrimPrefix(strings.TrimPrefix(err.Error(), "watchdog: "), "pose: ")
		l.add(d.table.at, "vehicle", show(d.name), "is not accepted: "+what, "mend this value")
	}
	return err == nil
}
