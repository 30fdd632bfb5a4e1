package review

import (
	"time"

	"pinfold/watchdog"
	"pinfold/zones"
)

// Report is one session, audited. Times are session instants in seconds,
// lengths in metres in the site frame, unless a name says otherwise.
type Report struct {
	Session
	Started  time.Time `json:"started"` // wall clock, an annotation
	Version  string    `json:"version"` // of the program that ran
	Duration float64   `json:"duration_s"`
	Story    []string  `json:"story"` // what happened, in three sentences
	Vehicles []Vehicle `json:"vehicles"`
	// Drifts are how far trackers had drifted at close, oldest first. They are
	// not in the session, which was sealed before, but beside it.
	Drifts    []DriftAtClose `json:"drifts"`
	Cautions  []string       `json:"cautions"` // of the site file as it was loaded
	Integrity Integrity      `json:"integrity"`
	Missing   []string       `json:"missing"` // what this report cannot say, and why
	Safety    string         `json:"safety"`
}

// Vehicle is what the session came to for one vehicle.
type Vehicle struct {
	Name     string             `json:"name"`
	Kind     string             `json:"kind"`
	Declared Declared           `json:"declared"`
	Limits   []LimitUse         `json:"limits"`
	Levels   map[string]float64 `json:"levels_s"` // s spent at each level
	Stops    []Chain            `json:"stops"`
	Near     []NearMiss         `json:"near_misses"` // closest first
	Ties     []Tie              `json:"alignments"`  // the one at the start first
	Pose     PoseHealth         `json:"pose"`
	Link     LinkHealth         `json:"link"`
	Cautions int                `json:"cautions"`          // stretches at caution
	Least    float64            `json:"least_clearance_m"` // smallest that stayed clear, so without approaches that ended in a stop; -1 never known

	Shapes []zones.Shape `json:"-"` // as declared
	Slow   []zones.Shape `json:"-"` // zones with a speed of their own
	Track  Track         `json:"-"`
	permit float64       // s at clear or caution
}

// Declared is what the site file promises about stopping.
type Declared struct {
	Predict      bool    `json:"predict"`
	Reaction     float64 `json:"reaction_s"`
	Deceleration float64 `json:"deceleration_m_s2"` // on the declared slope
	AckWithin    float64 `json:"ack_within_s"`
	MaxAge       float64 `json:"max_age_s"`
	Radius       float64 `json:"radius_m"`
	Caution      float64 `json:"zone_caution_m"`
}

// LimitUse is one limit and how far it was used while the vehicle was permitted
// to move.
type LimitUse struct {
	Name    string  `json:"name"`
	Unit    string  `json:"unit"`
	On      bool    `json:"on"`
	Max     float64 `json:"max"`
	Caution float64 `json:"caution"`
	Most    float64 `json:"most_used"`
	P999    float64 `json:"p99_9_used"` // 99.9th percentile of the samples
}

// Chain is how one stop or land went, from the cause to rest. A time is -1
// where the thing never happened or cannot be told.
type Chain struct {
	At     float64        `json:"at_s"` // when it was called
	Action string         `json:"action"`
	Cause  watchdog.Cause `json:"cause"`
	Speed  float64        `json:"speed_m_s"` // horizontal, when it was called

	// The links of the chain, s before (negative) or after the call.
	Onset   float64 `json:"onset_s"`   // the first violating judgement of the episode that led to it
	Arrived float64 `json:"arrived_s"` // arrival of the newest pose at the call
	Age     float64 `json:"pose_age_s"`
	Left    float64 `json:"published_s"` // the command was first written to the connection
	Acked   float64 `json:"acked_s"`
	Falling float64 `json:"falling_s"` // the first pose 10 % slower than at the call
	Rest    float64 `json:"rest_s"`

	// How far it had come from where it was at the call, m.
	AckedAt   float64 `json:"acked_m"`
	FallingAt float64 `json:"falling_m"`
	Distance  float64 `json:"distance_m"`

	Allowed      float64 `json:"allowed_m"`         // declared stopping distance at the call
	Within       float64 `json:"within_s"`          // time the declaration leaves until rest
	Reaction     float64 `json:"reaction_s"`        // measured: call to braking, see Chain.measure
	Deceleration float64 `json:"deceleration_m_s2"` // measured mean between 80 % and 20 %
	Edge         float64 `json:"edge_m"`            // left to the nearest edge, at rest
	EdgeZone     string  `json:"edge_zone"`
	Miss         float64 `json:"miss_m"` // predicted rest to actual rest, horizontal

	From      zones.XYZ `json:"from"`
	Predicted zones.XYZ `json:"predicted"`
	Actual    zones.XYZ `json:"actual"`
	AtRest    bool      `json:"at_rest"` // Actual, Rest, Distance and what follows are known

	t80, t20 float64 // s, session instants; 0 not yet
}

// NearMiss is a stretch of caution that ended clear by itself.
type NearMiss struct {
	At        float64   `json:"at_s"`
	Clearance float64   `json:"clearance_m"` // smallest, room left before a stop
	Zone      string    `json:"zone"`
	Place     zones.XYZ `json:"place"`
}

// PoseHealth is how the poses came.
type PoseHealth struct {
	Samples  uint64            `json:"samples"`
	Dropped  uint64            `json:"dropped"`
	Refused  uint64            `json:"refused"`
	Faults   map[string]uint64 `json:"faults"`       // refused, by kind
	Rate     float64           `json:"rate_hz"`      // samples a second between the first and the last
	Interval Spread            `json:"interval_s"`   // between arrivals
	Wait     Spread            `json:"wait_s"`       // from arrival to judgement
	Silence  float64           `json:"silence_s"`    // longest between two arrivals
	Silent   float64           `json:"silence_at_s"` // when it began
}

// LinkHealth is how the link and the acknowledgements were.
type LinkHealth struct {
	Downs    int     `json:"downs"`
	Down     float64 `json:"down_s"`
	Commands int     `json:"commands"`
	Acked    int     `json:"acked"`
	Slowest  float64 `json:"slowest_ack_s"`
	Bad      uint64  `json:"unreadable"` // messages on other topics that could not be read
}

// Spread sums up many durations, s.
type Spread struct {
	P50  float64 `json:"p50"`
	P99  float64 `json:"p99"`
	P999 float64 `json:"p99_9"`
	Max  float64 `json:"max"`
}

// Integrity is what proving the trail and judging it again came to.
type Integrity struct {
	OK       bool     `json:"ok"`
	Sealed   bool     `json:"sealed"`
	Public   string   `json:"public_key"`
	Head     string   `json:"head"`
	Lines    uint64   `json:"lines"`
	Frames   int      `json:"frames"`
	Items    uint64   `json:"messages"`
	Lost     uint64   `json:"lost"`
	Problems []string `json:"problems"`
	Notes    []string `json:"notes"`
	// Same says that the core, given the intake again, came to the decisions in
	// the trail, bit for bit.
	Same    bool   `json:"same_decisions"`
	Records uint64 `json:"records_compared"`
	First   string `json:"first_difference,omitempty"`
}
