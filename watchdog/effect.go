package watchdog

import "time"

// EffectKind says what the shell must do.
type EffectKind uint8

// Kinds of effect.
const (
	DoPermit  EffectKind = iota + 1 // publish Effect.Permit
	DoCommand                       // publish Effect.Command
	DoState                         // publish the snapshot
	DoRecord                        // write Effect.Record to the trail
)

// Effect is one thing the shell must do.
type Effect struct {
	Kind    EffectKind
	Permit  Permit
	Command Command
	Record  Record
}

// Permit is what the vehicle needs to move.
type Permit struct {
	Seq   uint64
	Go    bool
	Stamp int64         // ns, the sender's stamp of the newest pose judged; 0 before the first
	Valid time.Duration // how old Stamp may be on the sender's clock
}

// Command tells the vehicle to stop or to land.
type Command struct {
	ID     string
	Seq    uint64 // counts the repeats, from 1
	Action Action // ActStop or ActLand
	Cause  CauseKind
	Name   string // zone or limit
	Value  float64
	Limit  float64
	Stamp  int64 // ns, sender's stamp of the pose that caused it
	Valid  time.Duration
}

// RecordKind names a record in the trail. Words, as they stand in the file.
type RecordKind string

// Records the core asks for.
const (
	RecLevel   RecordKind = "level"   // Body is LevelChange
	RecOpen    RecordKind = "opened"  // Body is Episode, still open
	RecEpisode RecordKind = "episode" // Body is Episode, closed
	RecCommand RecordKind = "command" // Body is CommandSent
	RecAck     RecordKind = "ack"     // Body is Acked
	RecStopped RecordKind = "stopped" // Body is Stopped: how the vehicle answered a stop
	RecRequest RecordKind = "request" // Body is RequestHeard
	RecFault   RecordKind = "fault"   // Body is FaultSeen: a kind of bad message, once
	RecLink    RecordKind = "link"    // Body is LinkChange
	RecConfig  RecordKind = "config"  // Body is ConfigTaken: a tighter config is in force
	RecAlign   RecordKind = "align"   // Body is AlignHeard
	RecClose   RecordKind = "closing" // Body is Counts
)

// Record is one line of evidence. Where Durable, the shell must answer with
// EvDurable and the same Token once the record is on disk for certain.
type Record struct {
	Kind    RecordKind
	At      time.Duration
	Durable bool
	Token   uint64
	Body    any
}

// LevelChange says why the level changed.
type LevelChange struct {
	From  string `json:"from"`
	To    string `json:"to"`
	Cause *Cause `json:"cause,omitempty"`
	By    string `json:"by,omitempty"`
}

// CommandSent is a command at its first sending.
type CommandSent struct {
	ID     string `json:"id"`
	Action string `json:"action"`
	Cause  Cause  `json:"cause"`
}

// Acked is the first acknowledgement of a command.
type Acked struct {
	ID    string  `json:"id"`
	After float64 `json:"after_s"` // s since the command was first sent
}

// Stopped says how the vehicle answered a stop or land, once it is at rest.
type Stopped struct {
	Action       string  `json:"action"`
	Cause        Cause   `json:"cause"`
	Speed        float64 `json:"speed_m_s"`         // horizontal, when the stop was called
	Acked        float64 `json:"acked_s"`           // s from call to acknowledgement; -1 never
	Rest         float64 `json:"rest_s"`            // s from call to rest
	Distance     float64 `json:"distance_m"`        // straight from where it was called to rest
	Allowed      float64 `json:"allowed_m"`         // the declared stopping distance at the call
	Deceleration float64 `json:"deceleration_m_s2"` // measured mean between 80 % and 20 % of the speed; 0 too slow to tell
	Edge         float64 `json:"edge_m"`            // from the body's edge to the nearest edge, at rest
	EdgeZone     string  `json:"edge_zone"`         // whose edge that is
}

// RequestHeard is a request with what became of it.
type RequestHeard struct {
	Ask      string   `json:"ask"`
	By       string   `json:"by"`
	Retrieve bool     `json:"retrieve,omitempty"` // a start that brings the vehicle back
	Outcome  string   `json:"outcome"`            // accepted, effective or refused
	Why      []string `json:"why,omitempty"`
}

// FaultSeen is the first message of one kind of fault.
type FaultSeen struct {
	Kind   string `json:"kind"`
	Field  string `json:"field,omitempty"`
	Detail string `json:"detail,omitempty"`
}

// ConfigTaken is a config that was taken while running.
type ConfigTaken struct {
	Hash string `json:"hash"` // of the site file
}

// LinkChange is the link to the broker, or the trail's own health.
type LinkChange struct {
	What string `json:"what"`
	Up   bool   `json:"up"`
}
