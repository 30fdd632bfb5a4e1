package console

import "pinfold/watchdog"

// Site is what does not change from frame to frame. Lengths in metres, site
// frame; angles in degrees.
type Site struct {
	Name     string    `json:"name"`
	Safety   string    `json:"safety"`
	Session  string    `json:"session"`
	Vehicles []Vehicle `json:"vehicles"`
	// MayMove says whether there is a token: without one nobody can start or reset
	// here.
	MayMove bool `json:"may_move"`
	Reports bool `json:"reports"` // past sessions can be looked at
}

// whole has lists that are empty where there are none: the page goes through them.
func (s Site) whole() Site {
	s.Vehicles = append([]Vehicle{}, s.Vehicles...)
	for i := range s.Vehicles {
		v := &s.Vehicles[i]
		v.Zones, v.Limits = append([]Zone{}, v.Zones...), append([]Limit{}, v.Limits...)
	}
	return s
}

// Vehicle is one vehicle and where it may be.
type Vehicle struct {
	Name   string  `json:"name"`
	Kind   string  `json:"kind"`
	Radius float64 `json:"radius"`
	Height float64 `json:"height"`
	Zones  []Zone  `json:"zones"` // as declared
	Limits []Limit `json:"limits"`
	Room   float64 `json:"room"` // m of clearance below which the level is caution

	Judged []string `json:"-"` // names of the zones as judged, by Hit.Zone
}

// Zone is one zone as declared: rings of [x, y], the first the outer one.
type Zone struct {
	Name    string         `json:"name"`
	Kind    string         `json:"kind"`
	Floor   float64        `json:"floor"`
	Ceiling float64        `json:"ceiling"`
	Rings   [][][2]float64 `json:"rings"`
}

// Limit is one limit that is on.
type Limit struct {
	Name    string  `json:"name"`
	Unit    string  `json:"unit"`
	Max     float64 `json:"max"`
	Caution float64 `json:"caution"`
}

// LimitsOf lists the limits of c that are on.
func LimitsOf(c *watchdog.Config) (all []Limit) {
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		if l := c.Limits[id]; l.On {
			name, unit := id.Name()
			all = append(all, Limit{name, unit, l.Max, l.Caution})
		}
	}
	return all
}
