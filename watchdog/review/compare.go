package review

import "time"

// Compared is one vehicle in one session, to be held beside others.
type Compared struct {
	Session   string    `json:"session"`
	Folder    string    `json:"folder"`
	Started   time.Time `json:"started"`
	Vehicle   string    `json:"vehicle"`
	Duration  float64   `json:"duration_s"`
	Permitted float64   `json:"permitted_s"`
	Stops     int       `json:"stops"`
	Cautions  int       `json:"cautions"`          // stretches at caution
	Least     float64   `json:"least_clearance_m"` // smallest that stayed clear, so without approaches that ended in a stop; -1 never known
	Reaction  float64   `json:"worst_reaction_s"`  // slowest measured; -1 none was
	Declared  float64   `json:"declared_reaction_s"`
	Brave     bool      `json:"brave"`     // slower than declared
	Integrity string    `json:"integrity"` // sealed, open, differs or broken
	Outside   bool      `json:"outside"`   // a body left its pen while permitted or stopping, of any vehicle
}

// Compare gives a row for each vehicle of each report, in their order.
func Compare(reports []*Report) []Compared {
	rows := []Compared{}
	for _, rep := range reports {
		for i := range rep.Vehicles {
			v := &rep.Vehicles[i]
			c := Compared{Session: rep.ID, Folder: rep.Folder, Started: rep.Started, Vehicle: v.Name, Duration: rep.Duration,
				Permitted: v.permit, Stops: len(v.Stops), Cautions: v.Cautions, Least: v.Least, Reaction: -1,
				Declared: v.Declared.Reaction, Integrity: rep.Integrity.word(), Outside: rep.Outside()}
			for j := range v.Stops {
				if s := &v.Stops[j]; s.AtRest {
					c.Reaction = max(c.Reaction, s.Reaction)
				}
			}
			c.Brave = v.Declared.Predict && c.Reaction > c.Declared
			rows = append(rows, c)
		}
	}
	return rows
}

// word is what a trail is, in one word: broken where it does not hold, differs
// where the core comes to other decisions, open where it was never sealed.
func (in *Integrity) word() string {
	switch {
	case !in.OK:
		return "broken"
	case !in.Same:
		return "differs"
	case !in.Sealed:
		return "open"
	}
	return "sealed"
}
