package metrics

import (
	"math"

	"pinfold/watchdog"
)

// metric is one that is read off a snapshot; ok is false where it is not known, and
// nothing is told then.
type metric struct {
	name, help string
	kind       kind
	of         func(s *watchdog.Snapshot) (v float64, ok bool)
}

func known(v float64) (float64, bool) { return v, true }

func yes(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// perVehicle are those of each vehicle.
func perVehicle() []metric {
	g := func(name, help string, of func(s *watchdog.Snapshot) (float64, bool)) metric {
		return metric{name, help, gauge, of}
	}
	n := func(name, help string, of func(c *watchdog.Counts) uint64) metric {
		return metric{name, help, counter, func(s *watchdog.Snapshot) (float64, bool) { return known(float64(of(&s.Counts))) }}
	}
	return []metric{
		g("permit", "1 while the vehicle may move.", func(s *watchdog.Snapshot) (float64, bool) { return known(yes(s.Go)) }),
		g("pose_age_seconds", "Age of the newest pose by the guard's clock.",
			func(s *watchdog.Snapshot) (float64, bool) { return s.PoseAge.Seconds(), s.Judged }),
		g("pose_trusted", "1 while the pose is trusted and tied to the room.",
			func(s *watchdog.Snapshot) (float64, bool) { return yes(s.Trust == 0 && !s.Void), s.Judged }),
		g("clearance_meters", "Room left until rest to the nearest edge; negative: too little.",
			func(s *watchdog.Snapshot) (float64, bool) {
				return s.Nearest.Clearance, placed(s) && !math.IsInf(s.Nearest.Clearance, 0)
			}),
		g("speed_meters_per_second", "Horizontal speed.",
			func(s *watchdog.Snapshot) (float64, bool) { return s.Speed, s.Judged && s.Pose.HasVelocity }),
		g("height_meters", "Height of the body's centre in the site frame.",
			func(s *watchdog.Snapshot) (float64, bool) { return s.Pose.Position.Z, placed(s) }),
		g("tilt_radians", "Tilt from upright.", func(s *watchdog.Snapshot) (float64, bool) { return s.Pose.Tilt, s.Judged }),
		g("reaction_seconds", "Reaction time that the reach counts with: pose age, lag, link, actuators.",
			func(s *watchdog.Snapshot) (float64, bool) { return s.Reach.Reaction, s.Judged }),
		g("stopping_distance_meters", "Horizontal way until rest at the present speed, as declared.",
			func(s *watchdog.Snapshot) (float64, bool) { return s.Reach.Along, s.Judged }),
		n("poses_judged_total", "Poses judged.", func(c *watchdog.Counts) uint64 { return c.Samples }),
		n("poses_unordered_total", "Poses read but not after the newest one.", func(c *watchdog.Counts) uint64 { return c.Dropped }),
		n("poses_refused_total", "Pose messages that could not be read.", func(c *watchdog.Counts) uint64 { return c.Refused }),
		n("messages_bad_total", "Messages on other topics that could not be read.", func(c *watchdog.Counts) uint64 { return c.Bad }),
		n("episodes_total", "Episodes of any limit or zone.", func(c *watchdog.Counts) uint64 { return c.Episodes }),
		n("stops_total", "Stops and landings called.", func(c *watchdog.Counts) uint64 { return c.Stops }),
	}
}

// placed says whether the vehicle has a place in the room.
func placed(s *watchdog.Snapshot) bool { return s.Judged && !s.Void }

// page is one answer in the making.
type page struct{ all []*family }

// family begins one of the guard's own.
func (p *page) family(k kind, name, help string, labels ...string) *family {
	f := &family{name: "pinfold_" + name, help: help, kind: k, labels: labels}
	p.all = append(p.all, f)
	return f
}

// text is all that there is to tell.
func (m *Set) text() []byte {
	var p page
	m.tellVehicles(&p)
	m.tellSnapshots(&p)
	m.tellTrail(&p)
	m.tellSession(&p)
	return appendFamilies(nil, append(append(p.all, runtimeFamilies()...), processFamilies()...))
}

// tellVehicles is about loops, links and messages.
func (m *Set) tellVehicles(p *page) {
	link := p.family(gauge, "link_up", "1 while the vehicle's connection to the broker is up.", "vehicle")
	beat := p.family(gauge, "loop_age_seconds", "Since the vehicle's loop judged anything.", "vehicle")
	unsigned := p.family(counter, "messages_unsigned_total",
		"Messages that counted as none, since they lacked the signature that the site file asks for, by kind.", "kind", "vehicle")
	judged := p.family(buckets, "judgement_seconds", "From the arrival of a pose to its judgement, permit and commands handed over.", "vehicle")
	for i := range m.vehicles {
		v := &m.vehicles[i]
		link.add(yes(v.link.Load()), v.name)
		if at := v.beat.Load(); at > 0 {
			beat.add(max(0, m.now().Seconds()-float64(at)/1e9), v.name)
		}
		for k, kind := range m.kinds {
			unsigned.add(float64(v.unsigned[k].Load()), kind, v.name)
		}
		v.judged.tell(judged, v.name)
	}
}

// tellSnapshots is about where the vehicles are and how they stand.
func (m *Set) tellSnapshots(p *page) {
	levels := p.family(gauge, "level", "1 for the level that the vehicle is at.", "level", "vehicle")
	causes := p.family(gauge, "cause", "1 while this cause holds, by the zone or limit it is of.", "cause", "name", "vehicle")
	of := perVehicle()
	var families []*family
	for _, x := range of {
		families = append(families, p.family(x.kind, x.name, x.help, "vehicle"))
	}
	for i := range m.vehicles {
		name, s, level := m.vehicles[i].name, m.vehicles[i].last.Load(), watchdog.Waiting
		if s != nil {
			level = s.Level
		}
		for l := watchdog.Waiting; l <= watchdog.Land; l++ {
			levels.add(yes(l == level), l.String(), name)
		}
		if s == nil {
			continue
		}
		seen := map[[2]string]bool{}
		for i := range s.Causes {
			c := &s.Causes[i]
			if key := [2]string{c.Word, c.Name}; !seen[key] {
				seen[key] = true
				causes.add(1, c.Word, c.Name, name)
			}
		}
		for i := range of {
			if v, ok := of[i].of(s); ok && !math.IsNaN(v) {
				families[i].add(v, name)
			}
		}
	}
}

// tellTrail is about the evidence and the clock that is written into it.
func (m *Set) tellTrail(p *page) {
	t := m.trail()
	p.family(gauge, "trail_ok", "1 while everything given to the trail is or will be durable.").add(yes(t.OK))
	p.family(gauge, "trail_size_bytes", "All sessions in the trail's folder together.").add(float64(t.Bytes))
	if t.Bound > 0 {
		p.family(gauge, "trail_bound_bytes", "What the site file bounds them to.").add(float64(t.Bound))
	}
	if t.Free >= 0 {
		p.family(gauge, "trail_free_bytes", "Free on the trail's disk.").add(float64(t.Free))
	}
	p.family(counter, "trail_lost_total", "Records and messages that will never be in the trail.").add(float64(t.Lost))
	p.family(counter, "trail_records_total", "Records durable in the trail.").add(float64(t.Lines))
	p.family(counter, "trail_messages_total", "Messages durable in the trail's intake.").add(float64(t.Items))
	p.family(counter, "clock_steps_total", "How often the wall clock was stepped by more than 128 ms; nothing is judged by it.").add(float64(t.Steps))
	p.family(gauge, "clock_stepped_seconds", "By how much it was the last time.").add(t.Stepped.Seconds())
}

// tellSession is about the program and its site file.
func (m *Set) tellSession(p *page) {
	reloads := p.family(counter, "reloads_total", "Site files read again while running, by whether they were taken.", "result")
	reloads.add(float64(m.refused.Load()), "refused")
	reloads.add(float64(m.taken.Load()), "taken")
	p.family(gauge, "session_start_time_seconds", "When the session began, seconds since the epoch, by the guard's wall clock.").
		add(float64(m.began.UnixMilli()) / 1e3)
	p.family(gauge, "build_info", "1, with the program's version.", "version").add(1, m.version)
}
