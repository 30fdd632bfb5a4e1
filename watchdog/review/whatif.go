package review

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"pinfold/config"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/trail"
	"pinfold/zones"
)

// WhatIf is one session as it was judged, and as another site file judges it.
type WhatIf struct {
	Session  string          `json:"session"`
	Site     string          `json:"site"` // path of the other site file
	Differs  bool            `json:"differs"`
	Vehicles []WhatIfVehicle `json:"vehicles"`
	// Same says that the session, judged by its own site file, comes to the
	// decisions in its trail; First is the first that it does not come to. Where
	// it does not, what is compared is not what happened.
	Same  bool   `json:"same_decisions"`
	First string `json:"first_difference,omitempty"`
	// Problem is the first thing that is wrong with the session's trail; empty: it
	// holds.
	Problem string `json:"trail_problem,omitempty"`
}

// WhatIfVehicle is one vehicle's part. Times are session instants, s.
type WhatIfVehicle struct {
	Name  string       `json:"name"`
	Stops []WhatIfStop `json:"stops"` // in the order of time
	// Permitted is for how long the vehicle was permitted to move, s; by the
	// other site file Other.
	Permitted float64 `json:"permitted_s"`
	Other     float64 `json:"permitted_other_s"`
	// Refused are requests that became effective and that the other site file
	// would have refused.
	Refused []Note `json:"refused"`
	// Parted is the first instant at which the two differ; -1 never. After it
	// what the vehicle did is no longer what it would have done.
	Parted float64 `json:"parted_s"`
}

// Fate is what another site file makes of a stop.
type Fate string

// Fates of a stop.
const (
	FateSame     Fate = "same"     // called at the same instant, for the same cause
	FateCause    Fate = "cause"    // called at the same instant, for another cause or with another action
	FateEarlier  Fate = "earlier"  // called before, at most Together
	FateLater    Fate = "later"    // called after, at most Together, while the vehicle was being stopped
	FateGone     Fate = "gone"     // not called
	FateNew      Fate = "new"      // called only by the other site file
	FateStanding Fate = "standing" // not called: the other site file had stopped the vehicle long before
)

// Together is how far apart in time two calls may be and still be the same
// stop, called earlier or later.
const Together = 3 * time.Second

// WhatIfStop is one stop, or one pair of stops.
type WhatIfStop struct {
	Fate  Fate    `json:"fate"`
	Was   *Called `json:"was"`      // as it happened; null: it did not
	Other *Called `json:"would_be"` // by the other site file; null: it would not
	Gain  float64 `json:"earlier_s"`
	After bool    `json:"after_parting"` // the two had parted before: see WhatIfVehicle.Parted
}

// Called is a stop or land as it was called.
type Called struct {
	At     float64 `json:"at_s"`
	Action string  `json:"action"`
	Cause  string  `json:"cause"`
	Name   string  `json:"name"`
	Speed  float64 `json:"speed_m_s"` // horizontal
	at     time.Duration
	until  time.Duration // reset; 0: it stands to the end
}

// Judge steps the session in folder through its own guards and, beside them,
// through guards made from site. vehicle is the only one to compare; empty are
// all of the session.
//
// A request carries the nonce that its guard showed, and an acknowledgement the
// id of its command: each is handed over with what the other guard shows in its
// place, so that an operator's acts count in both. A site file that was taken
// while running counts only in the session's own judgement; where the vehicles
// of a site keep apart, the reach of the others is the one that was recorded.
func Judge(folder string, site *config.Site, vehicle string) (*WhatIf, error) {
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	a, err := prepare(r)
	if err != nil {
		return nil, err
	}
	var all []*parallel
	found := false
	for _, name := range a.meta.Vehicles {
		p := (*parallel)(nil)
		if vehicle == "" || vehicle == name {
			found = true
			if p, err = newParallel(a, site, name); err != nil {
				return nil, err
			}
		}
		all = append(all, p)
	}
	if !found {
		return nil, fmt.Errorf("review: the session has no vehicle %q; it has %v", vehicle, a.meta.Vehicles)
	}
	a.each = func(s step) error {
		if p := all[s.vehicle]; p != nil {
			return p.step(&s)
		}
		return nil
	}
	same, err := a.run(r)
	if err != nil {
		return nil, err
	}
	out := &WhatIf{Session: a.meta.Session, Site: site.Path, Same: same.Same, First: same.First}
	for _, p := range all {
		if p == nil {
			continue
		}
		out.Vehicles = append(out.Vehicles, p.finish())
		out.Differs = out.Differs || p.out.Parted >= 0
	}
	out.Problem, err = wrong(folder)
	return out, err
}

// SiteFor loads the site file at path for the session in folder. Files that it
// names and that do not stand beside it are the session's own copies of that
// name.
func SiteFor(folder, path string) (*config.Site, error) {
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	data, err := regular(path, config.MaxSiteFile)
	if err != nil {
		return nil, fmt.Errorf("%w; give --site a site file", err)
	}
	dir := filepath.Dir(path)
	return config.Parse(path, data, func(name string) ([]byte, error) {
		beside := name
		if !filepath.IsAbs(name) {
			beside = filepath.Join(dir, name)
		}
		data, err := regular(beside, zones.MaxGeoJSON)
		if !errors.Is(err, fs.ErrNotExist) {
			return data, err
		}
		for _, f := range r.Meta().Files {
			if intake.FileName(f.Name) == intake.FileName(name) {
				return r.File(f.Name)
			}
		}
		return nil, err
	})
}

// regular reads a file of at most most bytes; one byte more of a longer one, so
// that its length tells.
func regular(path string, most int64) ([]byte, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, err
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s is not a file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, most+1))
}
