package config

import (
	"fmt"

	"pinfold/watchdog"
)

// Ranges of keeping apart, m.
const (
	minApart = 0.01
	maxApart = 1e3
	maxRank  = 100
	// DefaultLead is how much more room the vehicle of lower rank asks for, m,
	// where the file does not say (common practice, no source).
	DefaultLead = 0.30
)

// apartKeys is what [apart] says.
type apartKeys struct {
	given          bool
	distance, lead float64
	at             *place
}

// readApart reads [apart], which holds between every two vehicles of the file.
func readApart(root *table) apartKeys {
	t := root.sub("apart")
	k := apartKeys{given: t.given, at: t.at}
	if !t.given {
		return k
	}
	k.distance = t.need("distance", span{minApart, maxApart, "m"}, "give the least distance in metres between two bodies, at any time and at rest")
	k.lead = t.number("lead", DefaultLead, span{0, maxApart, "m"})
	t.done()
	return k
}

// keepApart gives every vehicle the others it keeps apart from. Who of two has
// the lower rank yields.
func (l *loader) keepApart(k *apartKeys, all []*draft) {
	for _, d := range all {
		t := d.table
		switch {
		case !k.given && t.has("rank"):
			t.report("rank", "has no bearing: nothing says how far vehicles keep apart", "add [apart] with a distance, or remove rank")
		case k.given && d.stopping.fine("predict") && !d.cfg.Stopping.Predict:
			d.stopping.report("predict", "is off, and vehicles are kept apart by what is predicted", "let predict be true, or remove [apart]")
			d.sound = false
		}
	}
	switch {
	case !k.given:
		return
	case len(all) < 2:
		l.add(k.at, "apart", "", "keeps nothing apart: the file has one vehicle", "remove [apart], or add the other vehicle")
		return
	}
	for i, d := range all {
		l.rankOf(k, d, all[:i])
	}
	if k.distance == 0 {
		return // reported
	}
	for _, d := range all {
		for _, o := range all {
			if o.name == d.name {
				continue
			}
			other := watchdog.Other{Name: o.name, Distance: k.distance}
			if d.rank < o.rank {
				other.Lead = k.lead
			}
			d.cfg.Others = append(d.cfg.Others, other)
		}
	}
}

// rankOf insists on a rank of its own where one of two is to yield.
func (l *loader) rankOf(k *apartKeys, d *draft, before []*draft) {
	t := d.table
	if k.lead == 0 || t.r.bad[t.at.key("rank")] {
		return
	}
	if !t.has("rank") {
		t.missing("rank", "give every vehicle a rank of its own: of two that come too near the lower one stops first; or let apart.lead be 0, and both stop together")
		return
	}
	for _, o := range before {
		if o.rank == d.rank && o.name != d.name {
			t.report("rank", fmt.Sprintf("is also the rank of %q: neither would yield", o.name), "give every vehicle a rank of its own, or let apart.lead be 0")
			return
		}
	}
}
