package rehearse

import (
	"context"
	"fmt"
	"slices"

	"pinfold/config"
	"pinfold/watchdog"
)

// SitePair draws cases of two vehicles of a site file that are kept apart, each
// in its own pen and by its own declaration, as Site does for one.
type SitePair struct {
	Break  Break // of both
	names  [2]string
	scenes [2][]scene
}

// NewSitePair makes a SitePair. It refuses two that are not kept apart.
func NewSitePair(a, b *config.Vehicle) (*SitePair, error) {
	d := &SitePair{names: [2]string{a.Name, b.Name}}
	for i, v := range [2]*config.Vehicle{a, b} {
		o, ok := keptFrom(v, d.names[1-i])
		if !ok {
			return nil, fmt.Errorf("rehearse: the site file does not keep %q apart from %q; add [apart] with a distance", v.Name, d.names[1-i])
		}
		var err error
		if d.scenes[i], err = scenesOf(v); err != nil {
			return nil, err
		}
		for k := range d.scenes[i] {
			d.scenes[i][k].config.Others = []watchdog.Other{o}
		}
	}
	return d, nil
}

// keptFrom is what a vehicle is to keep from another.
func keptFrom(v *config.Vehicle, name string) (watchdog.Other, bool) {
	i := slices.IndexFunc(v.Config.Others, func(o watchdog.Other) bool { return o.Name == name })
	if i < 0 {
		return watchdog.Other{}, false
	}
	return v.Config.Others[i], true
}

// PairCase draws the case of a seed.
func (d *SitePair) PairCase(seed uint64, attempt int) (*PairCase, error) {
	a, b := d.scenes[0], d.scenes[1]
	n := uint64(len(a))
	return drawPair(&[2]scene{a[seed%n], b[seed/n%uint64(len(b))]}, seed, attempt, &d.Break), nil
}

// Pair is what came of two vehicles that are kept apart. Lengths in metres.
type Pair struct {
	Names    [2]string    `json:"vehicles"`
	Distance float64      `json:"distance"` // declared
	Yields   string       `json:"yields"`   // who asks for more room; empty: neither
	Lead     float64      `json:"lead"`     // how much more
	Runs     int          `json:"runs"`
	Void     int          `json:"void"`    // seeds that found no place for both to start from
	Stops    int          `json:"stops"`   // runs in which one was stopped for the other
	Both     int          `json:"both"`    // of those, both were
	Led      int          `json:"led"`     // of Stops, the one that yields was not parked
	First    int          `json:"first"`   // of those, it was stopped no later than the other
	Near     int          `json:"near"`    // runs in which they came nearer than declared
	Left     int          `json:"left"`    // runs in which one left its pen
	Closest  float64      `json:"closest"` // between the two bodies; 0 where Runs is
	Seed     uint64       `json:"closest_seed"`
	Spare    float64      `json:"spare"` // median of the closest beyond the distance, of runs with a stop for the other
	Leaks    []PairResult `json:"leaks"` // the first of them
	driven   float64      // s, of both
}

// Met says whether the runs came to anything: whether one was ever stopped for
// the other.
func (p *Pair) Met() bool { return p.Stops > 0 || p.Near > 0 }

// ofPair is how many runs of each pair there are: a fifth of a vehicle's, and at
// least MinWhatIf, or all where it is asked for alone.
func (p *Plan) ofPair() int {
	if p.Pair != ([2]string{}) {
		return p.Runs
	}
	return max(min(p.Runs, MinWhatIf), p.Runs/5)
}

// pairs are the pairs that are to be rehearsed.
func (p *Plan) pairs(site *config.Site) (all []*SitePair, err error) {
	if p.Pair != ([2]string{}) {
		d, err := PairOf(site, p.Pair)
		return []*SitePair{d}, err
	}
	for i := range site.Vehicles {
		for k := range i {
			a, b := &site.Vehicles[k], &site.Vehicles[i]
			if _, kept := keptFrom(a, b.Name); !kept {
				continue
			}
			d, err := NewSitePair(a, b)
			if err != nil {
				return nil, err
			}
			all = append(all, d)
		}
	}
	return all, nil
}

// PairOf is the pair of two vehicles of a site by their names.
func PairOf(site *config.Site, names [2]string) (*SitePair, error) {
	var two [2]*config.Vehicle
	for i, n := range names {
		v, ok := site.Vehicle(n)
		if !ok {
			return nil, fmt.Errorf("rehearse: the site has no vehicle %q", n)
		}
		two[i] = v
	}
	if names[0] == names[1] {
		return nil, fmt.Errorf("rehearse: %q is one vehicle; name two", names[0])
	}
	return NewSitePair(two[0], two[1])
}

// rehearsePair makes the runs of a pair, on all processors, and counts them in
// the order of their seeds.
func rehearsePair(ctx context.Context, src *SitePair, p *Plan, each func(int)) (*Pair, error) {
	src.Break = p.Break
	var t PairTally
	for done, n := 0, 0; done < p.ofPair(); done += n {
		n = min(turnSize, p.ofPair()-done)
		made, err := pairTurn(ctx, src, p.First+uint64(done), n)
		if err != nil {
			return nil, err
		}
		for i := range made {
			t.Add(&made[i].res, made[i].c)
		}
		each(n)
		if p.UntilLeak && len(t.Leaks) > 0 {
			break
		}
	}
	return src.pairOf(&t), nil
}

// pairRun is one run of two vehicles.
type pairRun struct {
	res PairResult
	c   *PairCase
	err error
}

// pairTurn makes n runs from a seed on.
func pairTurn(ctx context.Context, src PairSource, first uint64, n int) ([]pairRun, error) {
	made := make([]pairRun, n)
	spread(ctx, n, func() func(int) {
		return func(i int) {
			m := &made[i]
			m.res, m.c, m.err = RunPairSeed(src, first+uint64(i), Options{})
		}
	})
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	for i := range made {
		if made[i].err != nil {
			return nil, made[i].err
		}
	}
	return made, nil
}

func (d *SitePair) pairOf(t *PairTally) *Pair {
	slices.Sort(t.Rooms)
	p := &Pair{Names: d.names, Runs: t.Runs, Void: t.Void, Stops: t.Apart, Both: t.Both, Led: t.Led, First: t.Yielded,
		Near: t.Near, Left: t.Left, Closest: t.Closest, Seed: t.Seed, Spare: Quantile(t.Rooms, 0.5),
		Leaks: append([]PairResult{}, t.Leaks...), driven: 2 * t.Time.Seconds()}
	for i := range d.scenes {
		o := &d.scenes[i][0].config.Others[0]
		p.Distance = o.Distance
		if o.Lead > 0 {
			p.Yields, p.Lead = d.names[i], o.Lead
		}
	}
	return p
}
