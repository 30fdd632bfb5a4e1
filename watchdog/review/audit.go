package review

import (
	"fmt"
	"math"
	"slices"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/trail"
)

// Audit reviews the session in folder: it proves the trail, sums up its
// records, and steps the core through the intake once more, so that the report
// shows what the guard saw. safety is what the report says about its own limits
// and must not be empty.
func Audit(folder, safety string) (*Report, error) {
	if safety == "" {
		return nil, fmt.Errorf("review: a report without its safety words is not made")
	}
	proof := make(chan *trail.Report, 1)
	failed := make(chan error, 1)
	go func() { // beside the replay: it reads the same files and shares nothing
		p, err := trail.Verify(folder, "")
		proof <- p
		failed <- err
	}()
	rep, err := audit(folder)
	p, verr := <-proof, <-failed
	if err != nil {
		if p != nil && !p.OK() {
			return nil, fmt.Errorf("%w; what verify says: %w", err, p.Err())
		}
		return nil, err
	}
	if verr != nil {
		return nil, verr
	}
	rep.Safety = safety
	rep.prove(p)
	rep.notLeft()
	rep.Drifts = drifts(folder, rep.ID, rep.Integrity.Head)
	rep.driftMissing()
	rep.Story = rep.story()
	return rep, nil
}

func audit(folder string) (*Report, error) {
	sum, err := Read(folder)
	if err != nil {
		return nil, err
	}
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	a, err := prepare(r)
	if err != nil {
		return nil, err
	}
	m := r.Meta()
	rep := &Report{Session: *sum, Started: m.Started, Version: m.Version, Duration: sum.last.Seconds(),
		Vehicles: []Vehicle{}, Cautions: []string{}, Missing: []string{}}
	for _, c := range a.site.Cautions {
		rep.Cautions = append(rep.Cautions, c.String())
	}
	var all []*collector
	for _, name := range m.Vehicles {
		v, ok := a.site.Vehicle(name)
		if !ok {
			return nil, fmt.Errorf("review: the session's site file has no vehicle %q", name)
		}
		c := newCollector(v, rep.Duration)
		c.left = a.left
		c.carried = a.motorsOff[name]
		all = append(all, c)
	}
	a.each = func(s step) error { return all[s.vehicle].step(&s) }
	same, err := a.run(r)
	if err != nil {
		return nil, err
	}
	rep.Integrity.Same, rep.Integrity.Records, rep.Integrity.First = same.Same, same.Records, same.First
	for _, c := range all {
		rep.Vehicles = append(rep.Vehicles, c.finish(rep.Duration))
	}
	return rep, nil
}

// notLeft says of how many stops it is not known when they left: an older session,
// or the link was down.
func (rep *Report) notLeft() {
	n := 0
	for i := range rep.Vehicles {
		for j := range rep.Vehicles[i].Stops {
			if rep.Vehicles[i].Stops[j].Left < 0 {
				n++
			}
		}
	}
	if n > 0 {
		rep.Missing = append(rep.Missing, "When "+count(n, "command", "commands")+
			" left for the broker: the link was down, or a program of an older version ran the session, which did not record it.")
	}
}

func (rep *Report) prove(p *trail.Report) {
	in := &rep.Integrity
	in.OK, in.Sealed, in.Public, in.Head = p.OK(), p.Sealed, p.Public, p.Head
	in.Lines, in.Frames, in.Items, in.Lost = p.Lines, p.Frames, p.Items, p.Lost
	in.Problems, in.Notes = []string{}, append([]string{}, p.Notes...)
	for _, x := range p.Problems {
		in.Problems = append(in.Problems, x.String())
	}
}

// newCollector gathers one vehicle's part of the report.
func newCollector(v *config.Vehicle, duration float64) *collector {
	cfg := &v.Config
	c := &collector{cfg: cfg, thin: newThinner(duration), shapes: cfg.Zones.Shapes(), onset: map[string]float64{},
		v: Vehicle{Name: v.Name, Kind: cfg.Kind.String(), Shapes: v.Shapes, Levels: map[string]float64{},
			Stops: []Chain{}, Near: []NearMiss{}, Ties: []Tie{begun(cfg)}, Least: -1}}
	for i := range cfg.Slow {
		c.v.Slow = append(c.v.Slow, cfg.Slow[i].Shape)
	}
	c.v.Pose.Faults = map[string]uint64{}
	slope, _ := watchdog.OnSlope(cfg.Stopping.Deceleration, cfg.Stopping.Slope)
	c.v.Declared = Declared{Predict: cfg.Stopping.Predict, Reaction: cfg.Stopping.Reaction.Seconds(),
		Deceleration: slope, AckWithin: cfg.Timing.AckWithin.Seconds(), MaxAge: cfg.Pose.MaxAge.Seconds(),
		Radius: cfg.Radius, Caution: cfg.ZoneCaution}
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		name, unit := id.Name()
		l := cfg.Limits[id]
		c.v.Limits = append(c.v.Limits, LimitUse{Name: name, Unit: unit, On: l.On, Max: l.Max, Caution: l.Caution})
		c.used = append(c.used, newTally(usedTop(id, &l)))
	}
	c.interval, c.waits = newTally(1), newTally(1)
	return c
}

// usedTop is the value up to which a limit's use is resolved in the tally; what
// is larger counts as the largest.
func usedTop(id watchdog.LimitID, l *watchdog.Limit) float64 {
	if l.On {
		return 4 * max(l.Max, 1e-3)
	}
	switch id {
	case watchdog.LimitTilt:
		return 180
	case watchdog.LimitTurn, watchdog.LimitDistance:
		return 1000
	}
	return 50
}

// tally counts values from 0 to top in even steps, so that percentiles of any
// number of them take a bounded room. Its answers are exact to a step, and its
// largest is exact.
type tally struct {
	top   float64
	count []uint32
	n     uint64
	most  float64
}

const tallySteps = 10000

func newTally(top float64) *tally { return &tally{top: top, count: make([]uint32, tallySteps+1)} }

func (t *tally) add(v float64) {
	if math.IsNaN(v) {
		return
	}
	t.n++
	t.most = max(t.most, v)
	t.count[min(max(int(v/t.top*tallySteps), 0), tallySteps)]++
}

// at is the value that the share q of all is not above.
func (t *tally) at(q float64) float64 {
	need, seen := uint64(math.Ceil(q*float64(t.n))), uint64(0)
	for i, c := range t.count {
		if seen += uint64(c); seen >= need && c > 0 {
			return min(float64(i+1)*t.top/tallySteps, t.most)
		}
	}
	return t.most
}

func (t *tally) spread() Spread {
	return Spread{P50: t.at(0.5), P99: t.at(0.99), P999: t.at(0.999), Max: t.most}
}

// closest sorts near misses, the closest first, and keeps the first most.
func closest(all []NearMiss, most int) []NearMiss {
	slices.SortStableFunc(all, func(a, b NearMiss) int {
		switch {
		case a.Clearance < b.Clearance:
			return -1
		case a.Clearance > b.Clearance:
			return 1
		}
		return 0
	})
	return all[:min(len(all), most)]
}
