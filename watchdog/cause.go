package watchdog

import (
	"time"

	"pinfold/zones"
)

// CauseKind says why a level was raised.
type CauseKind uint8

// Kinds of cause. The limits follow CauseZone in the order of LimitID, the
// reasons of distrust follow CausePoseNone in the order of pose.Distrust.
const (
	CauseZone CauseKind = iota + 1
	CauseHeight
	CauseSpeed
	CauseClimb
	CauseDescent
	CauseTilt
	CauseTurn
	CauseDistance
	CauseSession
	CausePoseNone
	CausePoseStale
	CausePoseLate
	CausePoseFrozen
	CausePoseJump
	CausePoseConfidence
	CausePoseRate
	CausePoseVelocity
	CauseTrackerRestarted
	CauseClockStep
	CauseLinkLost
	CauseLinkSlow
	CauseStalled
	CauseTrailDown
	CauseNotAcknowledged
	CauseNotObeyed
	CauseOperator
	CauseClosing
	CauseRetrieval
	CauseZoneSpeed
	CauseApart
)

// String gives the cause's word on the wire and in the trail.
func (k CauseKind) String() string {
	switch k {
	case CauseZone:
		return "zone"
	case CauseHeight, CauseSpeed, CauseClimb, CauseDescent, CauseTilt, CauseTurn, CauseDistance, CauseSession:
		name, _ := LimitID(k - CauseHeight).Name()
		return name
	case CausePoseNone:
		return "pose-none"
	case CausePoseStale:
		return "pose-stale"
	case CausePoseLate:
		return "pose-late"
	case CausePoseFrozen:
		return "pose-frozen"
	case CausePoseJump:
		return "pose-jump"
	case CausePoseConfidence:
		return "pose-confidence"
	case CausePoseRate:
		return "pose-rate"
	case CausePoseVelocity:
		return "pose-velocity"
	case CauseTrackerRestarted:
		return "tracker-restarted"
	case CauseClockStep:
		return "clock-step"
	}
	return k.shellString()
}

func (k CauseKind) shellString() string {
	switch k {
	case CauseLinkLost:
		return "link-lost"
	case CauseLinkSlow:
		return "link-slow"
	case CauseStalled:
		return "guard-stalled"
	case CauseTrailDown:
		return "trail-down"
	case CauseNotAcknowledged:
		return "not-acknowledged"
	case CauseNotObeyed:
		return "not-obeyed"
	case CauseOperator:
		return "operator"
	case CauseClosing:
		return "guard-closing"
	case CauseRetrieval:
		return "retrieval"
	case CauseZoneSpeed:
		return "zone-speed"
	case CauseApart:
		return "apart"
	}
	return "unknown"
}

// Cause is a cause with its numbers. Value and Limit stand in Unit; for a zone
// Value is how far the reach passes the edge (m, positive is outside) and
// Limit is 0.
type Cause struct {
	Kind  CauseKind `json:"-"`
	Word  string    `json:"cause"`
	Name  string    `json:"name"`
	Value float64   `json:"value"`
	Limit float64   `json:"limit"`
	Unit  string    `json:"unit"`
	Text  string    `json:"text"` // one sentence a person understands
}

// Episode is one continuous stretch of one cause, with its worst value. It
// runs from the first violating sample to the first good one.
type Episode struct {
	Cause      string        `json:"cause"`
	Name       string        `json:"name"`
	From       time.Duration `json:"from_ns"`       // session instant
	To         time.Duration `json:"to_ns"`         // session instant; of the newest sample while open
	FromStamp  int64         `json:"from_stamp_ns"` // ns, sender's clock
	ToStamp    int64         `json:"to_stamp_ns"`
	Worst      float64       `json:"worst"` // in Unit; larger is worse
	WorstStamp int64         `json:"worst_stamp_ns"`
	Limit      float64       `json:"limit"`
	Unit       string        `json:"unit"`
	Breach     float64       `json:"breach_m"` // zones: how deep the body itself was outside; 0 never
	Samples    int           `json:"samples"`  // violating samples
	Open       bool          `json:"open"`     // still violating when the session ended
	Text       string        `json:"text"`
}

// Unbounded stands in causes and episodes for a value that nothing bounds, such
// as how far a vehicle of unknown speed may come. No value is larger, none is
// not finite.
const Unbounded = 1e9

// bounded makes v a number that can be written down: what is not a number is
// as bad as can be.
func bounded(v float64) float64 {
	if !(v <= Unbounded) {
		return Unbounded
	}
	return max(v, -Unbounded)
}

// subject is one thing that is watched: the pen, a keep-out, a limit, a reason
// of distrust, the link.
type subject struct {
	kind    CauseKind
	pen     bool // the pen as a whole
	zone    int  // index into the zones, -1 where it is none
	name    string
	unit    string
	limit   float64
	caution float64 // value from which it is near its limit
	confirm int
	answer  Action
	atLimit bool // reaching the limit already violates ("on the line is outside")

	listed    bool    // stands in Guard.active
	round     uint64  // the judgement that last looked at it
	run       int     // violating samples in a row
	holding   bool    // confirmed: an episode is open
	near      bool    // was inside the caution band, not longer ago than the dwell
	inBand    bool    // is inside it by the newest judgement
	nearValue float64 // newest value inside it
	nearUntil time.Duration
	tolerated bool // by the retrieval that is on
	commanded bool // a command was sent for it since the last reset
	value     float64
	outside   bool    // zones: the body itself is outside now, or on the line
	breach    float64 // m, zones: how deep
	ep        Episode
}

// cut is a zone's name as it stands in causes.
func cut(z *zones.Shape) string { return clip(z.Name, MaxName) }

// shown is the value to be told of: of what is only near its limit, the one
// that was.
func (s *subject) shown() float64 {
	if s.near && !s.holding {
		return s.nearValue
	}
	return s.value
}

func (s *subject) idle() bool { return s.run == 0 && !s.holding && !s.near }

func (s *subject) violates(v float64) bool {
	if s.atLimit {
		return !(v < s.limit) // NaN violates
	}
	return !(v <= s.limit)
}

// newSubjects lists everything c watches, the pen first. zoneSubject maps a
// zone's index to its subject; keep-in zones share the pen's.
func newSubjects(c *Config) (all []subject, zoneSubject []int) {
	shapes := c.Zones.Shapes()
	const kinds = int(NumLimits) + int(CauseNotObeyed-CausePoseNone+1)
	all = make([]subject, 0, 1+len(shapes)+kinds+len(c.Slow)+len(c.Others)) // a keep-in zone leaves its place empty
	zoneSubject = make([]int, 0, len(shapes))
	all = append(all, subject{kind: CauseZone, pen: true, zone: -1, name: "pen"})
	for i := range shapes {
		z := &shapes[i]
		if z.Kind != zones.KeepOut {
			zoneSubject = append(zoneSubject, 0)
			continue
		}
		zoneSubject = append(zoneSubject, len(all))
		all = append(all, subject{kind: CauseZone, zone: i, name: cut(z)})
	}
	for i := range all {
		all[i].unit, all[i].answer, all[i].atLimit = "m", ActStop, true
		all[i].caution = -c.ZoneCaution
	}
	for id := LimitID(0); id < NumLimits; id++ {
		all = append(all, limitSubject(c, id))
	}
	for k := CausePoseNone; k <= CauseNotObeyed; k++ {
		all = append(all, subject{kind: k, zone: -1, unit: k.unit(), answer: c.answerTo(k)})
	}
	return append(append(all, slowSubjects(c)...), apartSubjects(c)...), zoneSubject
}

// ofState says whether the cause is about where the vehicle is and how it moves,
// so that it is asked for before a start.
func (k CauseKind) ofState() bool { return k < CausePoseNone || k == CauseZoneSpeed || k == CauseApart }

func limitSubject(c *Config, id LimitID) subject {
	l := c.Limits[id]
	name, unit := id.Name()
	s := subject{kind: CauseHeight + CauseKind(id), zone: -1, name: name, unit: unit,
		limit: l.Max, caution: l.Caution, confirm: l.Confirm, answer: c.answer(l.Answer)}
	return s
}

// unit is that of the value of a cause that is neither a zone nor a limit;
// empty where it has none.
func (k CauseKind) unit() string {
	switch k {
	case CausePoseStale, CausePoseLate, CauseLinkSlow, CauseStalled, CauseNotAcknowledged:
		return "s"
	case CauseNotObeyed:
		return "m/s"
	}
	return ""
}

// answer turns what a rover cannot do into what it can.
func (c *Config) answer(a Action) Action {
	if a == ActLand && c.Kind == Rover {
		return ActStop
	}
	return a
}

// answerTo is the answer to a cause that is neither a zone nor a limit.
func (c *Config) answerTo(k CauseKind) Action {
	switch k {
	case CauseLinkLost, CauseLinkSlow, CauseStalled:
		return ActStop
	case CauseTrailDown:
		return ActCaution
	}
	return c.answer(ActLand)
}
