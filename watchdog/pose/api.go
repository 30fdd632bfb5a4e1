package pose

import "time"

// MaxStamp bounds a stamp, ns, either way: the difference of any two then fits
// int64, and permits carry it back (the wire has the same bound). As seconds
// since 1970 it ends in the year 2116.
const MaxStamp int64 = 4_611_686_018_000_000_000

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
	// Lag is how far the velocity trails the truth: about half the window of
	// the slope it was fitted to; where the tracker reports it, zero, or the
	// turn rate's where a lever arm had to be taken out.
	Lag      time.Duration
	Tilt     float64 // rad, 0..π, between the body's up axis and the vertical
	TurnRate float64 // rad/s about the vertical, signed; zero where HasTurnRate is false
	// HasTurnRate is false for the first samples after a start or a gap: the
	// turn rate is then unknown, never zero.
	HasTurnRate bool
	Orientation Quat // body (x forward, y left, z up) to site frame
}
