package walk

import "pinfold/zones"

// About is what a trail's signed record with a List in it is about.
const About = "walk"

// MaxItems bounds a list, so that it fits one signed line of a trail.
const MaxItems = 80

// MaxWhy bounds a reason, bytes.
const MaxWhy = 120

// Shows is what a list says of itself.
const Shows = "that the guard calls the stop there, by this tracker; not that the vehicle obeys, nor that the edge is where the net or the stair is"

// List is what a walk came to: the record of it in the trail.
type List struct {
	Vehicle  string  `json:"vehicle"`
	Site     string  `json:"site"`                // hash of the site file
	Tie      string  `json:"alignment,omitempty"` // hash of the alignment file in force at the end
	Residual float64 `json:"residual_m"`          // how far off that may be
	By       string  `json:"by"`
	Shows    string  `json:"shows"`
	Done     bool    `json:"done"`  // every item was seen to
	Ended    string  `json:"ended"` // why it ended; empty: it was still going on
	Items    []Item  `json:"items"`
}

// Item is one line of the list.
type Item struct {
	No      int     `json:"no"`
	Kind    Kind    `json:"kind"`
	Name    string  `json:"name"`           // of the zone, or the limit
	Side    int     `json:"side,omitempty"` // of the zone, from 1; sides only
	Text    string  `json:"text"`
	Outcome Outcome `json:"outcome"`
	Why     string  `json:"why,omitempty"` // skipped, or not walked: the reason
	// What was measured at the stop; only where it was walked, or called too late.
	Distance float64 `json:"distance_m,omitempty"` // sides, floors, ceilings: from the body's outside to the edge, by the tracker; negative is past it
	Value    float64 `json:"value,omitempty"`      // limits: the newest value, in Unit
	Max      float64 `json:"max,omitempty"`        // limits
	Unit     string  `json:"unit,omitempty"`
	Speed    float64 `json:"speed_m_s,omitempty"` // of the person, on the level
	After    float64 `json:"after_ms,omitempty"`  // from the pose to its stop, both as a bystander on the broker heard them; negative: that pose was not heard
	// Elsewhere counts the stops that were called for something else on the way.
	Elsewhere int `json:"elsewhere,omitempty"`

	at    zones.XYZ // m, site frame, where to carry it to
	way   []zones.XY
	z     float64 // m, floors and ceilings
	edges bool    // it has a place: way or z
	out   bool    // of a keep-out
	limit int     // watchdog.LimitID
	index int     // of the zone, in the set that is judged
}

// Kind is what an item is about.
type Kind string

// Kinds of item.
const (
	Side    Kind = "edge"    // a side of a zone
	Floor   Kind = "floor"   // the lower end of a zone
	Ceiling Kind = "ceiling" // the upper end of a zone
	Slow    Kind = "slow"    // a slow zone, entered too fast
	Limit   Kind = "limit"
	Apart   Kind = "apart" // another vehicle
)

// Outcome is what became of an item.
type Outcome string

// Outcomes. Open is what a list that was broken off has left.
const (
	Open      Outcome = "open"
	Walked    Outcome = "walked"
	Late      Outcome = "too late"   // the stop was called when the body was past the edge already
	Skipped   Outcome = "skipped"    // by the person, who said why
	NotWalked Outcome = "not walked" // a hand cannot show it
)

// Count is how many items came to o.
func (l *List) Count(o Outcome) (n int) {
	for i := range l.Items {
		if l.Items[i].Outcome == o {
			n++
		}
	}
	return n
}

// OK says that everything a hand can show was walked, and in time.
func (l *List) OK() bool {
	return l.Done && l.Count(Walked) > 0 && l.Count(Open)+l.Count(Late)+l.Count(Skipped) == 0
}

// Measured says whether a stop was called for it.
func (it *Item) Measured() bool { return it.Outcome == Walked || it.Outcome == Late }

// At is where an item is to be shown, m, site frame.
func (it *Item) At() zones.XYZ { return it.at }
