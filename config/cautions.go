package config

import (
	"fmt"
	"math"
	"time"

	"pinfold/watchdog"
	"pinfold/zones"
)

// Heights from which air law is named.
const (
	// airLawHeight is the 120 m of EU 2019/947 UAS.OPEN.010(2); 14 CFR 107.51
	// has 400 ft.
	airLawHeight = 120.0
	// tallHall is where a pen is taken for one under the open sky where the
	// file does not say whether it is enclosed (common practice, no source).
	tallHall = 10.0
)

const askAuthority = "ask your own aviation authority and whoever answers for the site; Pinfold decides nothing here"

// caution notes a caution at a key, or at the table where it is not there.
func (t *table) caution(l *loader, key, what, next string) {
	v := ""
	if val, ok := t.m[key]; ok {
		v = show(val)
	}
	l.caution(t.at.key(key), t.name(key), v, what, next)
}

// siteCautions looks at what concerns the whole site.
func (l *loader) siteCautions(keys *siteKeys, s *Site, all []*declared) {
	highest, flies := math.Inf(-1), false
	for _, v := range s.Vehicles {
		if v.Config.Kind != watchdog.Multirotor {
			continue
		}
		flies = true
		for _, z := range v.Shapes {
			if z.Kind == zones.KeepIn {
				highest = math.Max(highest, z.Ceiling)
			}
		}
	}
	if flies && !keys.enclosed && (keys.saysEnclosed || highest > tallHall) {
		l.caution(keys.at.key("enclosed"), "site.enclosed", "", "is not true, and a place that is roofless or open at a side often counts as outdoors, where air law holds", askAuthority+"; write enclosed = true where roof and sides are closed or netted")
	}
	for _, d := range all {
		if !d.slow && d.shape.Kind == zones.KeepIn && d.shape.Floor < -maxSunk {
			l.cautions = append(l.cautions, Problem{File: d.file, Line: d.line, Key: "zone.floor", Value: show(d.shape.Floor), What: fmt.Sprintf("zone %q begins more than %s m below the floor at z = 0: it is judged exactly as written, and no floor is assumed", d.shape.Name, num(maxSunk)), Next: "let z = 0 be the floor, unless this is a pit"})
		}
	}
}

// vehicleCautions looks at one vehicle.
func (l *loader) vehicleCautions(d *draft, own []*declared) {
	c, t := &d.cfg, d.table
	if c.Radius == 0 || c.Height == 0 {
		key := "radius"
		if c.Radius != 0 {
			key = "height"
		}
		t.caution(l, key, "makes the vehicle a point: a real body reaches past the edge before its centre does", "give the real size, unless a recording is compared with bare rules")
	}
	l.airCaution(d, own)
	l.stopCautions(d)
	l.limitCautions(d)
	l.poseCautions(d)
}

// airCaution speaks up where a vehicle may go higher than air law names.
func (l *loader) airCaution(d *draft, own []*declared) {
	if d.cfg.Kind != watchdog.Multirotor {
		return
	}
	top := math.Inf(-1)
	for _, z := range own {
		if z.shape.Kind == zones.KeepIn {
			top = math.Max(top, z.shape.Ceiling)
		}
	}
	if h := d.cfg.Limits[watchdog.LimitHeight]; h.On {
		top = math.Min(top, h.Max)
	}
	if top > airLawHeight {
		d.limits.caution(l, "height", fmt.Sprintf("lets %q rise to %s m; EU 2019/947 UAS.OPEN.010(2) names 120 m above the closest point of the surface, 14 CFR 107.51 names 400 ft above ground, and a local z is not height above ground", d.name, num(top)), askAuthority)
	}
}

// stopCautions looks at the declared stop.
func (l *loader) stopCautions(d *draft) {
	s, t := &d.cfg.Stopping, d.stopping
	if !s.Predict {
		t.caution(l, "predict", "is false: a stop is called only when the vehicle is already over the edge", "use this for comparing recordings, never for a vehicle that moves")
		return
	}
	if s.Reaction == 0 {
		t.caution(l, "reaction", "is zero: no vehicle begins to brake at once", "measure the time from the permit's withdrawal to the first braking")
	}
	if s.Margin == 0 {
		t.caution(l, "margin", "is zero: the stop ends on the very edge where everything is as declared", "keep some free, like margin = 0.10")
	}
	if s.Acceleration == 0 {
		t.caution(l, "acceleration", "is not declared: the vehicle is taken to gain no speed during its reaction", "declare what it can gain in m/s², if only a little")
	}
	tilt := d.cfg.Limits[watchdog.LimitTilt]
	if lean := math.Atan(s.Deceleration/watchdog.Gravity) / degree; d.cfg.Kind == watchdog.Multirotor && tilt.On && lean > tilt.Max {
		key := "deceleration"
		if d.tiltStop {
			key = "tilt"
		}
		t.caution(l, key, fmt.Sprintf("needs the vehicle to lean back by %.1f deg, more than its tilt limit of %s deg: braking would break the limit", lean, num(tilt.Max)), "raise the tilt limit, or declare a gentler braking")
	}
}

// limitCautions looks at the limits.
func (l *loader) limitCautions(d *draft) {
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		key, _ := id.Name()
		if lim := d.cfg.Limits[id]; lim.On && lim.Answer == watchdog.ActCaution {
			d.limits.caution(l, key, "is answered with a caution only: exceeding it never stops the vehicle", `write answer = "stop" where it should`)
		}
	}
	for _, key := range []string{"climb", "descent"} {
		if d.cfg.Kind == watchdog.Multirotor && d.cfg.Stopping.Predict && !d.limits.has(key) {
			d.limits.caution(l, key, "has no limit: the height band this check prints is that of level flight", "give the highest vertical speed in m/s")
		}
	}
}

// slowAge is the age above which a pose is old for indoor use (common
// practice, no source).
const slowAge = 250 * time.Millisecond

// poseCautions looks at what the pose is trusted with.
func (l *loader) poseCautions(d *draft) {
	p, t := &d.cfg.Pose, d.pose
	if !t.has("align") {
		t.caution(l, "align", "is not given: the frame the tracker started in is taken for the site frame", "tie the tracker to the room with align, every time it starts")
	}
	if p.MaxAge > slowAge {
		t.caution(l, "max_age", fmt.Sprintf("lets the vehicle go on for %v without a pose", p.MaxAge), "use the shortest the tracker keeps to, some 100ms at 200 Hz")
	}
	if p.MaxSpeed == 0 {
		t.caution(l, "max_speed", "is zero or has no speed limit to follow from: a pose that jumps is not noticed", "give the speed in m/s the vehicle cannot exceed")
	}
	if p.FrozenAfter == 0 {
		t.caution(l, "frozen_after", "is zero: a tracker that repeats its last pose is not noticed", `give a time, like "200ms"`)
	}
}
