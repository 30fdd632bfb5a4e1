package rehearse

import (
	"slices"
)

// Price is what the judgement costs in room, over some runs that came to rest
// after a stop for a zone.
type Price struct {
	Runs     int     `json:"runs"`
	Median   float64 `json:"median"`   // m, room left to the edge at rest, beyond the declared margin
	Most     float64 `json:"most"`     // m, of 95 % of them
	Share    float64 `json:"share"`    // share of runs within Allowance
	Stopping float64 `json:"stopping"` // m, median of the declared stopping distances
}

// Allowance is the room, m, that may be left for nothing where the declared
// stopping distance is d: 5 cm and a tenth of it.
func Allowance(d float64) float64 { return 0.05 + 0.1*d }

// PriceOf is the price of those runs that count.
func PriceOf(all []Rest, counts func(*Rest) bool) (p Price) {
	var rooms, stops []float64
	for i := range all {
		r := &all[i]
		if !counts(r) {
			continue
		}
		rooms, stops = append(rooms, r.Room), append(stops, r.Allowed)
		if r.Room <= Allowance(r.Allowed) {
			p.Share++
		}
	}
	if p.Runs = len(rooms); p.Runs == 0 {
		return p
	}
	p.Share /= float64(p.Runs)
	slices.Sort(rooms)
	slices.Sort(stops)
	p.Median, p.Most, p.Stopping = Quantile(rooms, 0.5), Quantile(rooms, 0.95), Quantile(stops, 0.5)
	return p
}
