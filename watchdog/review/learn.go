package review

import (
	"fmt"
	"math"
	"path/filepath"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/zones"
)

// Lesson is what sessions teach about a site file.
type Lesson struct {
	Site     string    `json:"site"` // path
	Sessions []string  `json:"sessions"`
	Vehicles []Learned `json:"vehicles"`
	Changes  []Change  `json:"changes"` // proposed, each tighter
	Diff     string    `json:"diff"`    // unified; empty: nothing is proposed
	Safety   string    `json:"safety"`
	Proposed []byte    `json:"-"` // the site file with the changes made
}

// Learned is what was measured of one vehicle, over all sessions.
type Learned struct {
	Name         string   `json:"vehicle"`
	Permitted    float64  `json:"permitted_s"` // time in which it was permitted to move
	Reaction     Measured `json:"reaction_s"`
	Deceleration Measured `json:"deceleration_m_s2"`
	// Drift is the position error that the drifts measured at close called for, m,
	// held against the declared one with the alignment's residual in it. Its stops
	// are drifts.
	Drift     Measured `json:"drift_m"`
	Limits    []Used   `json:"limits"`
	Commands  int      `json:"commands"`
	Acked     int      `json:"acked"`
	Ack       float64  `json:"slowest_ack_s"`
	AckWithin float64  `json:"ack_within_s"`
	Downs     int      `json:"link_downs"`
	Down      float64  `json:"link_down_s"`
	Findings  []string `json:"findings"` // what is not proposed, and why
	bad       int      // drifts that are not to be relied on
}

// Measured sums up one declared value over the stops at which it could be
// measured.
type Measured struct {
	N        int     `json:"stops"`
	Mean     float64 `json:"mean"`
	Spread   float64 `json:"standard_deviation"` // of the sample; 0 below two
	Worst    float64 `json:"worst"`
	Declared float64 `json:"declared"`
	Brave    bool    `json:"brave"` // the worst was worse than declared
	// Next is the chance that the next stop is worse than the worst of these,
	// if it is one more of the same kind: 1/(N+1), whatever they are distributed
	// like (order statistics). Under other loads, floors or batteries nothing is
	// said.
	Next float64 `json:"chance_next_is_worse"`
	m2   float64 // sum of squares about the mean, as it is gathered
}

// Used is how far one limit was used.
type Used struct {
	Name string  `json:"name"`
	Unit string  `json:"unit"`
	On   bool    `json:"on"`
	Max  float64 `json:"max"`
	Most float64 `json:"most_used"`
	P999 float64 `json:"p99_9_used"` // the highest of the sessions'
}

// Change is one number in the site file.
type Change struct {
	Vehicle string `json:"vehicle"`
	Key     string `json:"key"` // below the vehicle
	Line    int    `json:"line"`
	Old     string `json:"old"`
	New     string `json:"new"`
	Why     string `json:"why"`
}

// LeastUse is the time, s, a vehicle must have been permitted to move before a
// limit is proposed from what it used.
const LeastUse = 60

// add takes one more value; less says that smaller is worse.
func (m *Measured) add(v float64, less bool) {
	if m.N == 0 || (v < m.Worst) == less && v != m.Worst {
		m.Worst = v
	}
	m.N++
	d := v - m.Mean // Welford: no loss where the spread is small beside the mean
	m.Mean += d / float64(m.N)
	m.m2 += d * (v - m.Mean)
	if m.N > 1 {
		m.Spread = math.Sqrt(m.m2 / float64(m.N-1))
	}
	m.Next = 1 / float64(m.N+1)
	m.Brave = m.Worst > m.Declared != less && m.Worst != m.Declared
}

// Learn measures over sessions how the vehicles stopped and what they used,
// holds it against the site file at path, and proposes what is tighter. A
// report whose trail does not hold teaches nothing and is refused.
func Learn(reports []*Report, path, safety string) (*Lesson, error) {
	data, err := regular(path, config.MaxSiteFile)
	if err != nil {
		return nil, fmt.Errorf("%w; give --learn a site file", err)
	}
	parse := func(data []byte) (*config.Site, error) {
		return config.Parse(path, data, func(name string) ([]byte, error) {
			if !filepath.IsAbs(name) {
				name = filepath.Join(filepath.Dir(path), name)
			}
			return regular(name, zones.MaxGeoJSON)
		})
	}
	site, err := parse(data)
	if err != nil {
		return nil, err
	}
	l := &Lesson{Site: path, Vehicles: []Learned{}, Changes: []Change{}, Safety: safety}
	for _, rep := range reports {
		if !rep.Integrity.OK || !rep.Integrity.Same {
			return nil, fmt.Errorf("review: nothing is learnt from %s: its trail does not hold, or comes to other decisions; see review %s", rep.ID, rep.Folder)
		}
		l.Sessions = append(l.Sessions, rep.ID)
	}
	e := &editor{old: site, text: string(data), parse: parse}
	for i := range site.Vehicles {
		v := &site.Vehicles[i]
		if got := gather(reports, v); got != nil {
			e.propose(i, v, got)
			l.Vehicles = append(l.Vehicles, *got)
		}
	}
	if len(l.Vehicles) == 0 {
		return nil, fmt.Errorf("review: no vehicle of %s moved in these sessions; name the site file they were run with", path)
	}
	l.Changes = append(l.Changes, e.changes...)
	l.Proposed = []byte(e.text)
	l.Diff = unified(filepath.Base(path), string(data), e.text)
	return l, nil
}

// gather sums up one vehicle; nil where no session watched it.
func gather(reports []*Report, v *config.Vehicle) *Learned {
	c := &v.Config
	l := &Learned{Name: v.Name, AckWithin: c.Timing.AckWithin.Seconds(), Findings: []string{}}
	l.Reaction.Declared = c.Stopping.Reaction.Seconds()
	l.Deceleration.Declared, _ = watchdog.OnSlope(c.Stopping.Deceleration, c.Stopping.Slope)
	l.Drift.Declared = c.Stopping.PlaceErr()
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		name, unit := id.Name()
		l.Limits = append(l.Limits, Used{Name: name, Unit: unit, On: c.Limits[id].On, Max: c.Limits[id].Max})
	}
	seen := false
	for _, rep := range reports {
		for _, d := range rep.DriftsOf(v.Name) {
			l.drift(&d)
		}
		for i := range rep.Vehicles {
			if rep.Vehicles[i].Name == v.Name {
				seen = true
				l.session(&rep.Vehicles[i])
			}
		}
	}
	if !seen {
		return nil
	}
	return l
}

func (l *Learned) drift(d *DriftAtClose) {
	if !d.Read() || d.Problem != "" {
		l.bad++
		return
	}
	l.Drift.add(d.Drift.Needed, false)
}

func (l *Learned) session(v *Vehicle) {
	l.Permitted += v.permit
	for i := range v.Stops {
		s := &v.Stops[i]
		if s.AtRest && s.Reaction >= 0 {
			l.Reaction.add(s.Reaction, false)
		}
		if s.AtRest && s.Deceleration > 0 {
			l.Deceleration.add(s.Deceleration, true)
		}
	}
	for i := range l.Limits {
		l.Limits[i].Most = max(l.Limits[i].Most, v.Limits[i].Most)
		l.Limits[i].P999 = max(l.Limits[i].P999, v.Limits[i].P999)
	}
	l.Commands += v.Link.Commands
	l.Acked += v.Link.Acked
	l.Ack = max(l.Ack, v.Link.Slowest)
	l.Downs += v.Link.Downs
	l.Down += v.Link.Down
}
