package pose

import "time"

// Vec is a vector in metres, or metres per second; the field's name says which.
type Vec struct{ X, Y, Z float64 }

// Quat is a Hamilton quaternion, body to world.
type Quat struct{ W, X, Y, Z float64 }

// Sample is one message of the tracker, decoded and checked by itself (finite,
// in range, unit quaternion within 1 %), still in the tracker frame.
type Sample struct {
	Stamp         int64 // ns, sender's own clock
	Seq           uint64
	HasSeq        bool
	Position      Vec // m, tracker frame
	Orientation   Quat
	Velocity      Vec // m/s, tracker frame
	HasVelocity   bool
	Confidence    float64 // 0..1
	HasConfidence bool
	Tracker       string // id that changes when the tracker restarts; empty where not told
}

// Pose is a sample carried into the site frame, with what was derived from it.
type Pose struct {
	Stamp    int64         // ns, sender's own clock
	Arrived  time.Duration // local instant of arrival
	Position Vec           // m, site frame, the body's centre
	Velocity Vec           // m/s, site frame; zero where HasVelocity is false
	// HasVelocity is false for the first samples after a start or a gap: the
	// velocity is then unknown, never zero.
	HasVelocity bool
	// Lag is how far the velocity trails the truth: half the window of the
	// slope it was fitted to, zero where the tracker reports it.
	Lag      time.Duration
	Tilt     float64 // rad, 0..π, between the body's up axis and the vertical
	Yaw      float64 // rad, heading in the site frame, counter-clockwise from x
	TurnRate float64 // rad/s about the vertical, signed
}

// Distrust is a set of reasons not to trust the pose. The zero value, none, is
// only reached through Track.Accept: a Track that has seen nothing reports
// NoPose.
type Distrust uint16

// Reasons, each a bit.
const (
	NoPose    Distrust = 1 << iota // nothing was ever accepted
	Stale                          // the newest pose is older than max_age
	Late                           // messages arrive late against the sender's clock: a backlog
	Frozen                         // bit-identical for too long
	Jumped                         // moved further than the vehicle can
	Unsure                         // confidence below the least
	Slow                           // rate below the least
	Disagrees                      // reported and derived velocity disagree
	Restarted                      // the tracker restarted: the alignment is void
	ClockStep                      // the sender's stamps leapt ahead of the local clock
)

// FaultKind says why a message was refused. The zero value is no fault kind.
type FaultKind uint8

// Kinds of refused messages; each is counted and reported once.
const (
	TooLarge    FaultKind = iota + 1 // longer than MaxPayload
	NotJSON                          // not one JSON value
	Missing                          // a field is absent or null
	WrongType                        // a field has another JSON type
	Duplicate                        // a key stands twice
	NotFinite                        // NaN, infinite, or a number no float64 holds
	OutOfRange                       // finite, but not a possible value
	NotUnit                          // the quaternion's norm is off by more than 1 %
	StampBack                        // stamp not after the last kept one
	SeqBack                          // seq not after the last kept one
	RetainedMsg                      // delivered as retained: old by definition
)

// MaxPayload is the longest message taken, bytes.
const MaxPayload = 16 << 10

// Fault is a refused message: which kind, which field, and what stood there.
type Fault struct {
	Kind   FaultKind
	Field  string // JSON pointer, or empty
	Detail string
}
