package rehearse

import (
	"context"
	"fmt"

	"pinfold/config"
	"pinfold/sim/judge"
	"pinfold/zones"
)

// Report is a rehearsal of a whole site. Lengths in metres.
type Report struct {
	Safety   string    `json:"safety"`
	Site     string    `json:"site"`
	Hash     string    `json:"hash"`         // of the site file
	Seed     uint64    `json:"seed"`         // first
	Runs     int       `json:"runs"`         // asked for, of each vehicle
	If       string    `json:"if,omitempty"` // what does not hold throughout, as ParseBreak reads it
	IfName   string    `json:"-"`
	Driven   float64   `json:"vehicle_seconds"`
	Vehicles []Vehicle `json:"vehicles"`
	Pairs    []Pair    `json:"pairs"` // that are kept apart
}

// Vehicle is what came of one vehicle.
type Vehicle struct {
	Name         string   `json:"name"`
	Kind         string   `json:"kind"`
	Margin       float64  `json:"margin"`
	Radius       float64  `json:"radius"`
	Acceleration float64  `json:"acceleration"` // m/s², declared; 0: it was driven at constant velocity
	Outcome      Outcome  `json:"as_declared"`
	Edges        []Edge   `json:"edges"`
	Room         Room     `json:"room"`
	Leaks        []Result `json:"leaks"`
	WhatIf       []WhatIf `json:"what_if"`
	Weak         *WhatIf  `json:"weak"` // what costs most room where it does not hold

	Spots  []Spot        `json:"-"` // where runs as declared ended, some of them
	Shapes []zones.Shape `json:"-"` // its zones
}

// Outcome counts the runs of one vehicle.
type Outcome struct {
	Runs    int     `json:"runs"`
	Bred    int     `json:"bred"` // of runs
	Void    int     `json:"void"` // seeds, and children, that found no place to start from
	Stops   int     `json:"stops"`
	Left    int     `json:"left"`        // left the pen
	Over    int     `json:"over"`        // exceeded a limit of height or distance
	Short   int     `json:"short"`       // came to rest within the margin
	Closest float64 `json:"closest"`     // m, least room at rest; negative by the depth outside
	Run     Line    `json:"closest_run"` // that run
	Leak    Line    `json:"first_leak"`  // first run that left or exceeded; empty: none
	After   int     `json:"first_after"` // the how manieth run it was; 0: none
}

// Edge is what came of the runs that ended nearest to one edge or limit. Where
// there was none, nothing was shown of it.
type Edge struct {
	Name    string  `json:"name"`
	Runs    int     `json:"runs"`
	Closest float64 `json:"closest"` // 0 where Runs is
	Left    int     `json:"left"`
	Short   int     `json:"short"`
	Leaks   []Line  `json:"leaks"` // the first of them
	Run     Line    `json:"run"`   // the closest
}

// Room is the price: what is left to the edge at rest, beyond the margin.
type Room struct {
	All      Price `json:"all"`         // of runs drawn by chance
	Declared Price `json:"as_declared"` // vehicles that stop exactly as declared
	Worst    Price `json:"worst"`       // and errors at their worst
}

// WhatIf is the vehicle with one declaration that does not hold.
type WhatIf struct {
	Break   string  `json:"break"`
	If      string  `json:"if"` // as ParseBreak reads it
	Key     string  `json:"key"`
	Outcome Outcome `json:"outcome"`
	Lost    float64 `json:"lost"` // m, how much less room than as declared the closest run had
}

// Plan says what is rehearsed.
type Plan struct {
	Runs      int // of each vehicle as declared
	WhatIf    int // for each what-if; where zero a tenth of Runs, and at least MinWhatIf
	First     uint64
	UntilLeak bool
	Break     Break               // what does not hold throughout; then there are no other what-ifs
	Pair      [2]string           // these two alone, Runs of them; empty: every vehicle, and then every pair
	Each      func(done, all int) // of all runs; nil nobody
}

// MinWhatIf is how many runs a what-if has at least.
const MinWhatIf = 400

func (p *Plan) whatIf() int {
	if p.WhatIf > 0 {
		return p.WhatIf
	}
	return max(MinWhatIf, p.Runs/10)
}

// bred is how many of n runs are bred.
func (p *Plan) bred(n int) int {
	if p.UntilLeak {
		return n * 3 / 4 // what finds one soonest
	}
	return n / 2
}

// whatIfs says whether declarations are broken one by one.
func (p *Plan) whatIfs() bool { return !p.UntilLeak && p.Break.Word == "" }

// OK says whether everything was contained as declared, and anything was run.
func (r *Report) OK() bool {
	for i := range r.Vehicles {
		o := &r.Vehicles[i].Outcome
		if o.Left > 0 || o.Over > 0 || o.Short > 0 || o.Runs == 0 {
			return false
		}
	}
	for i := range r.Pairs {
		if p := &r.Pairs[i]; p.Near > 0 || p.Left > 0 {
			return false
		}
	}
	return len(r.Vehicles) > 0 || len(r.Pairs) > 0 && r.Pairs[0].Runs > 0
}

// Verdict says in a sentence what was shown.
func (r *Report) Verdict() string {
	switch {
	case !r.OK():
		return "NOT CONTAINED: see above."
	case r.If != "":
		return "Everything stopped in time, although a declaration did not hold. It holds as far as the others do."
	}
	return "As declared, everything stopped in time. It holds as far as the declared numbers do."
}

// Rehearse rehearses every vehicle of a site, and every two that are kept apart.
func Rehearse(ctx context.Context, site *config.Site, p Plan) (*Report, error) {
	r := &Report{Site: site.Name, Hash: site.Hash, Seed: p.First, Runs: p.Runs, If: p.Break.Word, IfName: p.Break.Name, Pairs: []Pair{}}
	pairs, err := p.pairs(site)
	if err != nil {
		return r, err
	}
	vehicles := site.Vehicles
	if p.Pair != ([2]string{}) {
		vehicles = nil
	}
	all, done := len(vehicles)*p.Runs+len(pairs)*p.ofPair(), 0
	if p.whatIfs() {
		all += len(vehicles) * len(Breaks()) * p.whatIf()
	}
	each := func(n int) {
		done += n
		if p.Each != nil {
			p.Each(done, all)
		}
	}
	for i := range vehicles {
		v, driven, err := rehearseOne(ctx, &vehicles[i], &p, each)
		if err != nil {
			return r, err
		}
		r.Vehicles = append(r.Vehicles, *v)
		r.Driven += driven
	}
	for _, src := range pairs {
		o, err := rehearsePair(ctx, src, &p, each)
		if err != nil {
			return r, err
		}
		r.Pairs = append(r.Pairs, *o)
		r.Driven += o.driven
	}
	return r, nil
}

func rehearseOne(ctx context.Context, cfg *config.Vehicle, p *Plan, each func(int)) (*Vehicle, float64, error) {
	src, err := NewSite(cfg)
	if err != nil {
		return nil, 0, err
	}
	src.Break = p.Break
	s := &cfg.Config.Stopping
	v := &Vehicle{Name: cfg.Name, Kind: cfg.Config.Kind.String(), Margin: s.Margin, Radius: cfg.Config.Radius, Acceleration: s.Acceleration, Leaks: []Result{}}
	t, err := Batch{First: p.First, Runs: p.Runs, Bred: p.bred(p.Runs), UntilLeak: p.UntilLeak, Each: each}.Make(ctx, src, s.Margin)
	if err != nil {
		return nil, 0, err
	}
	driven := t.Time.Seconds()
	v.Outcome, v.Edges = outcomeOf(t), edgesOf(t, src.scenes[0].pen.targets)
	v.Spots, v.Shapes = t.Spots, cfg.Config.Zones.Shapes()
	v.Room.All = PriceOf(t.Rooms, func(*Rest) bool { return true })
	v.Leaks = append(v.Leaks, t.Leaks...)
	v.Room.Declared = PriceOf(t.Rooms, func(r *Rest) bool { return r.Corner == Declared })
	v.Room.Worst = PriceOf(t.Rooms, func(r *Rest) bool { return r.Corner == Worst })
	if !p.whatIfs() {
		return v, driven, nil
	}
	more, err := v.whatIfs(ctx, src, p, each)
	return v, driven + more, err
}

// whatIfs breaks one declaration after the other.
func (v *Vehicle) whatIfs(ctx context.Context, src *Site, p *Plan, each func(int)) (driven float64, err error) {
	for _, b := range Breaks() {
		src.Break = b
		t, err := Batch{First: p.First, Runs: p.whatIf(), Bred: p.bred(p.whatIf()), Each: each}.Make(ctx, src, v.Margin)
		if err != nil {
			return 0, err
		}
		driven += t.Time.Seconds()
		w := WhatIf{Break: b.Name, If: b.Word, Key: "stopping." + b.Key, Outcome: outcomeOf(t)}
		w.Lost = v.Outcome.Closest - w.Outcome.Closest
		v.WhatIf = append(v.WhatIf, w)
	}
	for i := range v.WhatIf {
		if w := &v.WhatIf[i]; v.Weak == nil || w.Lost > v.Weak.Lost {
			v.Weak = w
		}
	}
	return driven, nil
}

func outcomeOf(t *Tally) Outcome {
	o := Outcome{Runs: t.Runs, Bred: t.Bred, Void: t.Void + t.Barren, After: t.First, Stops: t.Stops, Left: t.Left, Over: t.Over, Short: t.Short}
	for i, e := range t.Sorted() {
		if i == 0 || e.Closest < o.Closest {
			o.Closest, o.Run = e.Closest, e.Run
		}
	}
	if len(t.Leaks) > 0 {
		o.Leak = t.Leaks[0].Run
	}
	return o
}

// edgesOf are the edges that runs came to, and then those that none did.
func edgesOf(t *Tally, aims []target) (all []Edge) {
	seen := map[judge.Place]bool{}
	for _, e := range t.Sorted() {
		seen[e.Place] = true
		all = append(all, Edge{Name: placeName(e.Place), Runs: e.Runs, Closest: e.Closest, Left: e.Left, Short: e.Short,
			Leaks: append([]Line{}, e.Leaks...), Run: e.Run})
	}
	for i := range aims {
		at := aims[i].place
		switch aims[i].what {
		case atHeight, atDistance:
			at.Edge = limitEdge
		case atGap:
			continue
		}
		if !seen[at] {
			seen[at] = true
			all = append(all, Edge{Name: placeName(at), Leaks: []Line{}})
		}
	}
	return all
}

// placeName names a place as a person looks for it in the site file: edges
// count from 1, at the corner they begin at.
func placeName(p judge.Place) string {
	switch {
	case p.Edge == limitEdge:
		return p.Region
	case p.Edge == judge.Ceiling:
		return p.Region + ", ceiling"
	case p.Edge == judge.Floor:
		return p.Region + ", floor"
	}
	return fmt.Sprintf("%s, edge %d", p.Region, p.Edge+1)
}
