package wire

// Stamps are int64 nanoseconds in Go and decimal seconds with up to nine
// decimals on the wire; they pass through both ways exactly (stamp.go). What
// their zero means is the sender's business: a stamp is only ever compared
// with another reading of the same clock.
//
// Floats are finite on the wire. Value, Limit and the *float64 fields print as
// null when they are not finite (or nil) and null reads back as NaN (or nil):
// unknown, never zero.

// Permit is the periodic message without which the vehicle must halt itself.
// The zero Permit is a withdrawal.
type Permit struct {
	Guard   string  `json:"guard"`   // name of the watchdog that grants it
	Session string  `json:"session"` // id of the watchdog's session
	Seq     uint64  `json:"seq"`     // rises with each permit of a session, from 1
	Go      bool    `json:"go"`      // false: halt
	Stamp   int64   `json:"stamp"`   // ns (wire: s), the sender's stamp of the newest pose judged, sender's clock
	Valid   float64 `json:"valid"`   // s, how old that stamp may be on the sender's clock, 0..MaxValid
}

// Command is sent once per cause and repeated until acknowledged.
type Command struct {
	ID     string  `json:"id"`     // unique for good; the ack names it
	Seq    uint64  `json:"seq"`    // counts the repeats, from 1
	Action string  `json:"action"` // Stop or Land
	Cause  string  `json:"cause"`
	Zone   string  `json:"zone"`  // zone or limit name, or empty
	Value  float64 `json:"value"` // in the unit of the cause; NaN: unknown
	Limit  float64 `json:"limit"` // in the unit of the cause; NaN: unknown
	Stamp  int64   `json:"stamp"` // ns (wire: s), sender's stamp of the pose that caused it, 0 without one
	Valid  float64 `json:"valid"` // s, 0..MaxValid; for records: a stop is obeyed at any age
}

// Actions of a Command and an Ack.
const (
	Stop = "stop"
	Land = "land"
)

// Ack is the vehicle's answer to a command.
type Ack struct {
	ID     string `json:"id"`
	Stamp  int64  `json:"stamp"`  // ns (wire: s), the vehicle's own clock
	Action string `json:"action"` // what the vehicle does now: Stop or Land
}

// Unnamed is who asked for a stop or a land whose name could not be taken.
const Unnamed = "?"

// Request is what an operator asks.
type Request struct {
	Ask   string `json:"ask"`   // start, stop, land or reset
	By    string `json:"by"`    // who asks, for the trail; may be empty
	Nonce string `json:"nonce"` // from the current state; empty is enough for stop and land
	// Retrieve asks for a start that brings a vehicle back from outside its pen.
	// Absent on the wire means false.
	Retrieve bool `json:"retrieve,omitempty"`
	// Guard is whom a start or a reset is for, where a vehicle has several guards;
	// absent on the wire where it is for whoever hears it. A stop and a land are
	// for all of them, whatever it says.
	Guard string `json:"guard,omitempty"`
}

// State is for people and displays; never a permission.
type State struct {
	Guard     string   `json:"guard"`
	Session   string   `json:"session"`
	Seq       uint64   `json:"seq"`
	Vehicle   string   `json:"vehicle"`
	Level     string   `json:"level"` // waiting, clear, caution, stop, land
	Go        bool     `json:"go"`
	Causes    []Cause  `json:"causes"`    // holding now, worst first
	Latched   []Cause  `json:"latched"`   // what raised the stop or land that is still latched
	Clearance *float64 `json:"clearance"` // m until rest; null when unknown
	Speed     *float64 `json:"speed"`     // m/s, horizontal; null when unknown
	Height    *float64 `json:"height"`    // m
	Tilt      *float64 `json:"tilt"`      // deg
	PoseAge   *float64 `json:"pose_age"`  // s; null before the first pose
	Nonce     string   `json:"nonce"`     // for the next start or reset
	Blocked   []string `json:"blocked"`   // what a reset or start still lacks, in words
	Trail     string   `json:"trail"`     // head of the trail, hex, newest known durable
	// Wall is the guard's wall clock, RFC 3339, by which a person tells how old a
	// state is that the broker kept; nothing is judged by it. Absent where the
	// sender does not say.
	Wall string `json:"wall,omitempty"`
	// Aligned is the alignment file in force and AlignSent the newest that was
	// sent, as hex SHA-256; AlignSaid is what became of that: accepted, effective,
	// or why it was refused. Absent on the wire where there is none.
	Aligned   string `json:"aligned,omitempty"`
	AlignSent string `json:"align_sent,omitempty"`
	AlignSaid string `json:"align_said,omitempty"`
	// What a message of the guard to the broker and back took within the last
	// minute, s: median, 99 of 100, longest. Absent where nothing was measured.
	TripP50   *float64 `json:"trip_p50,omitempty"`
	TripP99   *float64 `json:"trip_p99,omitempty"`
	TripWorst *float64 `json:"trip_worst,omitempty"`
	// SiteSaid is what became of the newest site file that the guard was told to
	// read again: taken, or why it was not and the old one stays in force. Absent
	// on the wire where there was none.
	SiteSaid string `json:"site_said,omitempty"`
	// TrailSaid is what a person should know of the trail: why it cannot be
	// written, what will go wrong unless somebody acts, or that the wall clock was
	// stepped. Absent on the wire where there is nothing.
	TrailSaid string `json:"trail_said,omitempty"`
}

// Cause says why a level was raised.
type Cause struct {
	Cause string  `json:"cause"`
	Name  string  `json:"name"` // zone or limit
	Value float64 `json:"value"`
	Limit float64 `json:"limit"`
	Unit  string  `json:"unit"`
	Text  string  `json:"text"` // one sentence a person understands
}
