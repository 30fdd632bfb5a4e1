package metrics

import (
	"math"

	"github.com/prometheus/client_golang/prometheus"

	"pinfold/watchdog"
)

// gauge is a metric that is read off a snapshot; ok is false where it is not
// known, and nothing is told then.
type gauge struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
	of   func(s *watchdog.Snapshot) (v float64, ok bool)
}

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("pinfold_"+name, help, labels, nil)
}

func known(v float64) (float64, bool) { return v, true }

func yes(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// gauges are those of each vehicle.
func gauges() []gauge {
	g := func(name, help string, of func(s *watchdog.Snapshot) (float64, bool)) gauge {
		return gauge{desc(name, help, "vehicle"), prometheus.GaugeValue, of}
	}
	n := func(name, help string, of func(c *watchdog.Counts) uint64) gauge {
		return gauge{desc(name, help, "vehicle"), prometheus.CounterValue,
			func(s *watchdog.Snapshot) (float64, bool) { return known(float64(of(&s.Counts))) }}
	}
	return []gauge{
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

// whole are the metrics with more labels than the vehicle, and those of the
// whole guard.
type whole struct {
	level, cause, link, beat                              *prometheus.Desc
	trailOK, trailBytes, trailBound, trailFree, trailLost *prometheus.Desc
	trailLines, trailItems, clockSteps, clockStepped      *prometheus.Desc
}

func wholes() whole {
	return whole{
		level:      desc("level", "1 for the level that the vehicle is at.", "vehicle", "level"),
		cause:      desc("cause", "1 while this cause holds, by the zone or limit it is of.", "vehicle", "cause", "name"),
		link:       desc("link_up", "1 while the vehicle's connection to the broker is up.", "vehicle"),
		beat:       desc("loop_age_seconds", "Since the vehicle's loop judged anything.", "vehicle"),
		trailOK:    desc("trail_ok", "1 while everything given to the trail is or will be durable."),
		trailBytes: desc("trail_size_bytes", "All sessions in the trail's folder together."),
		trailBound: desc("trail_bound_bytes", "What the site file bounds them to."),
		trailFree:  desc("trail_free_bytes", "Free on the trail's disk."),
		trailLost:  desc("trail_lost_total", "Records and messages that will never be in the trail."),
		trailLines: desc("trail_records_total", "Records durable in the trail."),
		trailItems: desc("trail_messages_total", "Messages durable in the trail's intake."),

		clockSteps:   desc("clock_steps_total", "How often the wall clock was stepped by more than 128 ms; nothing is judged by it."),
		clockStepped: desc("clock_stepped_seconds", "By how much it was the last time."),
	}
}

// Describe implements prometheus.Collector.
func (m *Set) Describe(ch chan<- *prometheus.Desc) { prometheus.DescribeByCollect(m, ch) }

// Collect implements prometheus.Collector.
func (m *Set) Collect(ch chan<- prometheus.Metric) {
	w, all := wholes(), gauges()
	send := func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, kind, v, labels...)
	}
	for i := range m.vehicles {
		m.vehicle(&m.vehicles[i], &w, all, send)
	}
	t := m.trail()
	send(w.trailOK, prometheus.GaugeValue, yes(t.OK))
	send(w.trailBytes, prometheus.GaugeValue, float64(t.Bytes))
	if t.Bound > 0 {
		send(w.trailBound, prometheus.GaugeValue, float64(t.Bound))
	}
	if t.Free >= 0 {
		send(w.trailFree, prometheus.GaugeValue, float64(t.Free))
	}
	send(w.trailLost, prometheus.CounterValue, float64(t.Lost))
	send(w.trailLines, prometheus.CounterValue, float64(t.Lines))
	send(w.trailItems, prometheus.CounterValue, float64(t.Items))
	send(w.clockSteps, prometheus.CounterValue, float64(t.Steps))
	send(w.clockStepped, prometheus.GaugeValue, t.Stepped.Seconds())
}

func (m *Set) vehicle(v *vehicle, w *whole, all []gauge,
	send func(d *prometheus.Desc, kind prometheus.ValueType, v float64, labels ...string)) {
	send(w.link, prometheus.GaugeValue, yes(v.link.Load()), v.name)
	if at := v.beat.Load(); at > 0 {
		send(w.beat, prometheus.GaugeValue, max(0, (m.now().Seconds()-float64(at)/1e9)), v.name)
	}
	s := v.last.Load()
	level := watchdog.Waiting
	if s != nil {
		level = s.Level
	}
	for l := watchdog.Waiting; l <= watchdog.Land; l++ {
		send(w.level, prometheus.GaugeValue, yes(l == level), v.name, l.String())
	}
	if s == nil {
		return
	}
	seen := map[[2]string]bool{}
	for i := range s.Causes {
		c := &s.Causes[i]
		if key := [2]string{c.Word, c.Name}; !seen[key] {
			seen[key] = true
			send(w.cause, prometheus.GaugeValue, 1, v.name, c.Word, c.Name)
		}
	}
	for i := range all {
		if x, ok := all[i].of(s); ok && !math.IsNaN(x) {
			send(all[i].desc, all[i].kind, x, v.name)
		}
	}
}
