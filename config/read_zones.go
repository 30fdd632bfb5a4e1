package config

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"pinfold/watchdog"
	"pinfold/zones"
)

// declared is one zone as the files have it.
type declared struct {
	shape zones.Shape
	file  string  // as problems name it
	line  int     // 0 where it is not known
	table *table  // nil for a zone from GeoJSON
	slow  bool    // it only limits the speed: neither pen nor keep-out
	speed float64 // m/s, 0 where it has no speed limit of its own
	sound bool    // all of it was read
	drawn bool    // its rings were read, whatever else was not
}

// coordinates is the range of a position.
func coordinates() span { return span{-zones.MaxCoordinate, zones.MaxCoordinate, "m"} }

// readZones reads the inline zones, then the zone files, in the files' order.
func (l *loader) readZones(root *table) []*declared {
	var all []*declared
	for _, t := range root.tables("zone") {
		all = append(all, readZone(t))
	}
	names, at := root.texts("zones")
	if len(names) > MaxZoneFiles {
		root.report("zones", fmt.Sprintf("names %d files, more than %d", len(names), MaxZoneFiles), "put several zones into one file")
		return all
	}
	for i, name := range names {
		all = append(all, l.zoneFile(name, at[i])...)
	}
	if len(all) == 0 && !root.has("zone") && len(names) == 0 {
		l.add(root.at, "zone", "", "is missing: without a keep-in zone nothing is allowed", `add a [[zone]] with name, kind, floor, ceiling and polygon, or name a GeoJSON file: zones = "cage.geojson"`)
	}
	return all
}

// readZone reads one [[zone]].
func readZone(t *table) *declared {
	d := &declared{file: t.r.file, line: t.at.line, table: t}
	before := len(t.r.probs)
	d.shape.Name = t.text("name", "", zones.MaxName)
	if !t.has("name") {
		t.missing("name", `name the zone, like name = "cage"; every zone needs a name of its own`)
	}
	d.readKind(t)
	d.shape.Floor = t.need("floor", coordinates(), "give the height in metres at which the zone begins; 0 is the floor")
	d.shape.Ceiling = t.need("ceiling", coordinates(), "give the height in metres at which the zone ends")
	rings := len(t.r.probs)
	if t.has("polygon") {
		d.shape.Rings = append(d.shape.Rings, readRing(t, "polygon", t.m["polygon"], t.at.key("polygon")))
	} else {
		t.missing("polygon", "give the corners in metres, like polygon = [[0, 0], [7, 0], [7, 5], [0, 5]]")
	}
	if t.has("holes") {
		list, ok := t.m["holes"].([]any)
		if !ok {
			t.report("holes", "must be a list of polygons", "write it like holes = [[[1, 1], [2, 1], [2, 2]]]")
		}
		for i, v := range list {
			d.shape.Rings = append(d.shape.Rings, readRing(t, fmt.Sprintf("holes[%d]", i), v, t.at.key("holes").item(i)))
		}
	}
	d.drawn = len(t.r.probs) == rings
	d.shape.Vehicles, _ = t.texts("vehicles")
	if t.fine("vehicles") && len(d.shape.Vehicles) == 0 {
		t.report("vehicles", "is empty, so the zone is for no vehicle", "name the vehicles it is for, or leave the key out: it is then for all")
	}
	t.done()
	d.sound = len(t.r.probs) == before
	return d
}

// readKind reads what the zone is, and its speed limit. A slow zone passes for
// a keep-in where its geometry is checked.
func (d *declared) readKind(t *table) {
	word := t.word("kind", 0, "keep-in", "keep-out", "slow")
	d.slow = word == 2
	d.shape.Kind = zones.KeepIn
	if word == 1 {
		d.shape.Kind = zones.KeepOut
	}
	if !t.has("kind") {
		t.missing("kind", `write kind = "keep-in", kind = "keep-out", or kind = "slow" for a speed limit alone`)
	}
	d.speed = t.number("speed", 0, span{minSlow, maxSlow, "m/s"})
	switch {
	case d.slow && !t.has("speed"):
		t.missing("speed", "give the highest speed allowed in the zone, like speed = 0.4")
	case t.fine("speed") && d.shape.Kind == zones.KeepOut:
		t.report("speed", "is of no use where nothing may go in", `write kind = "slow" where only the speed is limited, or leave speed out`)
	}
}

// Range of a zone's speed limit, m/s.
const (
	minSlow = 0.01
	maxSlow = 1000
)

// slowZone is the zone's speed limit as it is judged. What stands on the floor
// reaches below it, so that nothing slips under.
func (d *declared) slowZone() watchdog.SlowZone {
	s := d.shape
	s.Kind = zones.KeepOut
	judged, _ := Grounded([]zones.Shape{s}, 0)
	return watchdog.SlowZone{Shape: judged[0], Limit: watchdog.Limit{On: true, Max: d.speed,
		Caution: CautionShare * d.speed, Confirm: DefaultConfirm, Answer: watchdog.ActStop}}
}

// readRing reads a list of corners.
func readRing(t *table, key string, v any, at *place) []zones.XY {
	list, ok := v.([]any)
	if !ok {
		t.r.add(at, t.name(key), show(v), "must be a list of corners", "write each corner as [x, y] in metres")
		return nil
	}
	ring := make([]zones.XY, 0, len(list))
	for i, c := range list {
		xy, ok := floats(c, 2)
		if !ok {
			t.r.add(at.item(i), fmt.Sprintf("%s[%d]", t.name(key), i), show(c), "is not a corner of two finite numbers", "write it as [x, y] in metres")
			continue
		}
		ring = append(ring, zones.XY{X: xy[0], Y: xy[1]})
	}
	return ring
}

// zoneFile reads one GeoJSON file.
func (l *loader) zoneFile(name string, at *place) []*declared {
	for _, f := range l.files[1:] {
		if f.Name == name {
			l.add(at, "zones", show(name), "is named twice", "name each zone file once")
			return nil
		}
	}
	data, err := l.read(name)
	if err != nil {
		l.blind = true
		l.add(at, "zones", show(name), "cannot be read: "+reason(err), "mend the path; a relative one is taken from where the site file is")
		return nil
	}
	l.files = append(l.files, File{Name: name, Data: append([]byte(nil), data...)})
	shapes, err := zones.ReadGeoJSON(data)
	if err != nil {
		l.blind = true
		l.geoErrors(name, data, err)
		return nil
	}
	var all []*declared
	for _, s := range shapes {
		all = append(all, &declared{shape: s, file: name, line: lineOfName(data, s.Name), sound: true, drawn: true})
	}
	return all
}

// geoErrors reports what is wrong with a zone file.
func (l *loader) geoErrors(name string, data []byte, err error) {
	var bad *zones.BadGeoJSON
	if !errors.As(err, &bad) {
		l.probs = append(l.probs, Problem{File: name, What: err.Error(), Next: "write a GeoJSON FeatureCollection of polygons in metres, each with properties name, kind, floor and ceiling"})
		return
	}
	for _, f := range bad.Faults {
		p := Problem{File: name, Line: lineOfName(data, f.Name), What: f.Says, Next: f.Try}
		if f.Feature >= 0 {
			p.Key = fmt.Sprintf("features[%d]", f.Feature)
		}
		if f.Name != "" {
			p.Value = show(f.Name)
		}
		l.probs = append(l.probs, p)
	}
}

// lineOfName is the line of a GeoJSON file on which a zone's name stands as a
// text, or 0. Two zones of one name both give the first; a part of a
// multi-polygon gives the whole.
func lineOfName(data []byte, name string) int {
	if i := strings.LastIndexByte(name, '/'); i > 0 && !bytes.Contains(data, []byte(name)) {
		name = name[:i] // a part of a multi-polygon, which zones numbers
	}
	quoted, err := json.Marshal(name)
	i := bytes.Index(data, quoted)
	if name == "" || err != nil || i < 0 {
		return 0
	}
	return 1 + bytes.Count(data[:i], []byte("\n"))
}

// zoneProblem puts a problem of package zones into a place.
func zoneProblem(file string, line int, p zones.Problem) Problem {
	out := Problem{File: file, Line: line, Key: "zone", Value: show(p.Name), What: p.Says, Next: p.Try}
	var where []string
	switch {
	case p.Ring == 0:
		where = append(where, "outer ring")
	case p.Ring > 0:
		where = append(where, fmt.Sprintf("hole %d", p.Ring))
	}
	if p.Vertex >= 0 {
		where = append(where, fmt.Sprintf("corner %d at (%g, %g)", p.Vertex, p.At.X, p.At.Y))
	}
	if len(where) > 0 {
		out.What = strings.Join(where, ", ") + ": " + p.Says
	}
	return out
}

// sketch is the zone for the check of its geometry alone: what else could not
// be read is put right, so that its rings and name are still looked at.
func (d *declared) sketch(i int) zones.Shape {
	s := d.shape
	if d.sound {
		return s
	}
	if s.Kind != zones.KeepOut {
		s.Kind = zones.KeepIn
	}
	if !d.table.fine("floor") || !d.table.fine("ceiling") {
		s.Floor, s.Ceiling = 0, 1
	}
	if !d.table.fine("name") || s.Name == "" {
		s.Name = fmt.Sprintf("zone %d", i+1)
	}
	return s
}

// checkShapes has the geometry of all zones checked together, and says whether
// all of it is sound. Zones whose rings could not be read are left out.
func (l *loader) checkShapes(all []*declared) bool {
	var shapes []zones.Shape
	var from []*declared
	sound := true
	for i, d := range all {
		if d.drawn {
			shapes, from = append(shapes, d.sketch(i)), append(from, d)
		}
		sound = sound && d.sound
	}
	if len(shapes) == 0 {
		return false
	}
	_, err := zones.New(shapes)
	if err == nil {
		return sound
	}
	var inv *zones.Invalid
	if !errors.As(err, &inv) {
		l.probs = append(l.probs, Problem{File: l.file, Key: "zone", What: err.Error(), Next: "mend the zones"})
		return false
	}
	for _, p := range inv.Problems {
		if p.Shape < 0 || p.Shape >= len(from) {
			l.probs = append(l.probs, zoneProblem(l.file, 0, p))
			continue
		}
		d := from[p.Shape]
		l.probs = append(l.probs, zoneProblem(d.file, d.lineOf(p), p))
		d.sound = false
	}
	return false
}

// lineOf is the line a problem of package zones shows on.
func (d *declared) lineOf(p zones.Problem) int {
	if d.table == nil {
		return d.line
	}
	at := d.table.at
	switch {
	case p.Fault == zones.BadBand:
		return at.key("ceiling").line
	case p.Fault == zones.DuplicateName || p.Fault == zones.BadName:
		return at.key("name").line
	case p.Ring == 0:
		return at.key("polygon").item(p.Vertex).line
	case p.Ring > 0:
		return at.key("holes").item(p.Ring - 1).item(p.Vertex).line
	}
	return d.line
}

// checkOwners sees that every vehicle a zone names exists.
func (l *loader) checkOwners(all []*declared, vehicles []*draft) {
	var known []string
	for _, v := range vehicles {
		known = append(known, v.name)
	}
	for _, d := range all {
		for _, name := range d.shape.Vehicles {
			if ownerKnown(known, name) {
				continue
			}
			l.blind = true
			next := "name a vehicle of this site: " + strings.Join(known, ", ")
			if near, ok := nearest(name, known); ok {
				next = fmt.Sprintf("did you mean %q?", near)
			}
			line := d.line
			if d.table != nil {
				line = d.table.at.key("vehicles").line
			}
			l.probs = append(l.probs, Problem{File: d.file, Line: line, Key: "zone.vehicles", Value: show(name), What: fmt.Sprintf("zone %q is for a vehicle that is not declared", d.shape.Name), Next: next})
		}
	}
}

func ownerKnown(known []string, name string) bool {
	for _, k := range known {
		if k == name {
			return true
		}
	}
	return false
}

// isFor says whether the zone is for a vehicle.
func (d *declared) isFor(vehicle string) bool {
	return len(d.shape.Vehicles) == 0 || ownerKnown(d.shape.Vehicles, vehicle)
}
