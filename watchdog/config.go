package watchdog

import (
	"fmt"
	"math"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// Kind is the kind of vehicle; it decides the safe state.
type Kind uint8

// The zero Kind is no vehicle, so that a forgotten field is refused.
const (
	Rover      Kind = iota + 1 // safe state: stand still
	Multirotor                 // safe state with a good pose: hold, then land; without: land
)

// String gives the word used in the site file.
func (k Kind) String() string {
	switch k {
	case Rover:
		return "rover"
	case Multirotor:
		return "multirotor"
	}
	return "unknown"
}

// Action is what a cause calls for, in rising order.
type Action uint8

// Actions. ActNone is only found in a limit that is off.
const (
	ActNone Action = iota
	ActCaution
	ActStop
	ActLand
)

// String gives the word used in messages and in the site file.
func (a Action) String() string {
	switch a {
	case ActCaution:
		return "caution"
	case ActStop:
		return "stop"
	case ActLand:
		return "land"
	}
	return "none"
}

// LimitID names a limit.
type LimitID uint8

// The limits, with the unit their values stand in.
const (
	LimitHeight   LimitID = iota // m above the floor, of the body's centre
	LimitSpeed                   // m/s, horizontal
	LimitClimb                   // m/s upwards
	LimitDescent                 // m/s downwards
	LimitTilt                    // deg between the body's up axis and the vertical
	LimitTurn                    // deg/s about the vertical, either way
	LimitDistance                // m from home, horizontal
	LimitSession                 // s since start
	NumLimits
)

// Name gives the limit's word and its unit.
func (l LimitID) Name() (name, unit string) {
	switch l {
	case LimitHeight:
		return "height", "m"
	case LimitSpeed:
		return "speed", "m/s"
	case LimitClimb:
		return "climb", "m/s"
	case LimitDescent:
		return "descent", "m/s"
	case LimitTilt:
		return "tilt", "deg"
	case LimitTurn:
		return "turn", "deg/s"
	case LimitDistance:
		return "distance", "m"
	case LimitSession:
		return "session", "s"
	}
	return "unknown", ""
}

// Limit bounds one value. The value itself may reach Max; beyond it is a
// violation.
type Limit struct {
	On      bool
	Max     float64 // in the limit's unit
	Caution float64 // caution from here on; equal to Max means no caution band
	Confirm int     // violating judgements in a row before it counts; 0 and 1 are both the first. See later
	Answer  Action  // ActCaution, ActStop or ActLand
}

// later is how long after its first violating judgement a limit may count. What
// is predicted (height, distance from home, the way into a slow zone) is judged
// at every pose and every JudgeEvery without one, and is predicted for as much
// longer: it is called while it can still be kept. Other limits are judged at
// every pose: for them Confirm counts samples.
func (l *Limit) later() time.Duration { return time.Duration(max(1, l.Confirm)-1) * JudgeEvery }

// Stopping declares how the vehicle stops. See Reach for the derivation.
type Stopping struct {
	// Predict is false only for an audit of bare rules: the reachable set is
	// then the body where it is, and a stop is called when it is too late.
	Predict bool
	// Reaction is the time from the permit's withdrawal to first braking, link
	// and actuators, and on top what even the fastest pose takes from its instant
	// to its arrival: a guard without the tracker's clock cannot see that part.
	Reaction time.Duration
	// Trip is the part of Reaction that is for a permit's way through the broker,
	// at most Reaction. A measured round trip that is longer adds what is more.
	Trip         time.Duration
	Deceleration float64 // m/s², horizontal, on the level; > 0 where Predict
	Vertical     float64 // m/s², upwards or downwards braking; > 0 for a multirotor where Predict
	Acceleration float64 // m/s², what the vehicle can gain in any direction during the reaction; 0 = none declared
	Slope        float64 // steepest downhill grade as rise over run, >= 0
	// CoverLoss makes the reach cover the whole validity of a permit: the
	// vehicle then stays inside even if watchdog, broker or network die right
	// after a permit was given. It costs PermitValid times the speed in room.
	CoverLoss   bool
	Margin      float64 // m, kept free on every side
	PositionErr float64 // m, declared: the tracker's own error
	AlignErr    float64 // m, residual of the alignment in force
	VelocityErr float64 // m/s, error of the velocity
}

// PlaceErr is how far off a position may be, m: the tracker's error and the
// alignment's.
func (s *Stopping) PlaceErr() float64 { return s.PositionErr + s.AlignErr }

// Timing has the core's own periods.
type Timing struct {
	PermitEvery   time.Duration // a permit at least this often
	PermitValid   time.Duration // how old the judged pose may be on the vehicle's clock
	CommandEvery  time.Duration // repeat of an unacknowledged command
	AckWithin     time.Duration // a command unacknowledged for longer is not obeyed; a slow link adds to it: see ackSlow
	StateEvery    time.Duration
	TripMost      time.Duration // budget of the round trip through the broker; 0 none
	Stall         time.Duration // a Step later than this after its deadline is a stalled guard
	CautionDwell  time.Duration // a caution is shown at least this long
	TrustedFor    time.Duration // pose trusted this long before reset or start
	RestFor       time.Duration // slow this long counts as at rest
	RestSpeed     float64       // m/s
	ObeySlack     float64       // m/s over the declared braking before it counts as not obeyed
	ObeyTolerance float64       // share of the declared deceleration that must be reached, (0, 1]
	ObeyConfirm   int           // samples in a row
}

// DefaultTiming gives the periods of DESIGN §3 and §4; those without a source
// there are common practice, no source.
func DefaultTiming() Timing {
	return Timing{
		PermitEvery: 50 * time.Millisecond, PermitValid: 250 * time.Millisecond,
		CommandEvery: 80 * time.Millisecond, AckWithin: 500 * time.Millisecond,
		StateEvery: 200 * time.Millisecond, Stall: 250 * time.Millisecond,
		CautionDwell: 500 * time.Millisecond, TrustedFor: 2 * time.Second,
		RestFor: 300 * time.Millisecond, RestSpeed: 0.12,
		ObeySlack: 0.20, ObeyTolerance: 0.8, ObeyConfirm: 3,
	}
}

// JudgeEvery is the longest time between two judgements of the reach while a
// permit is in force: at the next pose, or this long after the last one. The
// reach covers it.
const JudgeEvery = 10 * time.Millisecond

// Config is everything a Guard needs to judge one vehicle. It is immutable
// once given to New.
type Config struct {
	Guard, Session string
	Hash           string // of the site file this came from, for the trail
	Vehicle        string
	Kind           Kind
	Radius         float64 // m, horizontal half width of the body
	Height         float64 // m, of the body, its centre in the middle
	// Ground is the height of the floor in the site frame, where HasGround:
	// nothing can go below it, so the reachable set ends there.
	Ground      float64
	HasGround   bool
	Home        zones.XY
	Zones       *zones.Set
	Slow        []SlowZone
	Others      []Other // vehicles it keeps apart from
	ZoneCaution float64 // m of clearance below which the level is caution
	Fields      pose.Fields
	Pose        pose.Config
	Tie         Tie
	Limits      [NumLimits]Limit
	Stopping    Stopping
	Timing      Timing
	NonceSeed   [16]byte // random, drawn by the shell once a session
	// MotorsOff is for a person who carries the vehicle along its edges. No permit
	// is ever granted and no start taken; a stop is called, latched and commanded
	// all the same where a cause calls for one, so that it can be seen. Nobody
	// obeys, so nothing is said of how it was answered; and Others do not count.
	MotorsOff bool
}

// handheld leaves out what a vehicle in a person's hands cannot be held to: one
// at a time is carried, and nobody speaks for the others.
func (c *Config) handheld() {
	if c.MotorsOff {
		c.Others = nil
	}
}

// bound is one number's closed range.
type bound struct {
	name    string
	value   float64
	min     float64
	max     float64
	applies bool
}

// Validate says what makes the config unusable, or nil. It is the gate: after
// it every number is finite and in range.
func (c *Config) Validate() error {
	if c.Vehicle == "" || c.Guard == "" || c.Session == "" {
		return fmt.Errorf("watchdog: guard, session and vehicle each need a name")
	}
	if len(c.Vehicle) > MaxName || len(c.Guard) > MaxName || len(c.Session) > MaxSession {
		return fmt.Errorf("watchdog: vehicle %q: names of vehicle and guard have at most %d bytes, the session %d", c.Vehicle, MaxName, MaxSession)
	}
	if c.Kind != Rover && c.Kind != Multirotor {
		return fmt.Errorf("watchdog: vehicle %q: kind %d is neither rover nor multirotor", c.Vehicle, c.Kind)
	}
	if !hasPen(c.Zones) {
		return fmt.Errorf("watchdog: vehicle %q has no keep-in zone, so it may be nowhere: declare one", c.Vehicle)
	}
	for _, b := range c.bounds() {
		if b.applies && !(b.value >= b.min && b.value <= b.max) {
			return fmt.Errorf("watchdog: vehicle %q: %s = %v is not within %v to %v", c.Vehicle, b.name, b.value, b.min, b.max)
		}
	}
	if err := c.validateLimits(); err != nil {
		return err
	}
	if err := c.validateSlow(); err != nil {
		return err
	}
	return c.validateOthers()
}

func hasPen(z *zones.Set) bool {
	if z == nil {
		return false
	}
	for _, s := range z.Shapes() {
		if s.Kind == zones.KeepIn {
			return true
		}
	}
	return false
}

func (c *Config) bounds() []bound {
	s, t := &c.Stopping, &c.Timing
	return []bound{
		{"radius", c.Radius, 0, 100, true},
		{"height", c.Height, 0, 100, true},
		{"ground", c.Ground, -1e5, 1e5, c.HasGround},
		{"home x", c.Home.X, -1e5, 1e5, true},
		{"home y", c.Home.Y, -1e5, 1e5, true},
		{"zone caution", c.ZoneCaution, 0, 1e4, true},
		{"reaction", s.Reaction.Seconds(), 0, 10, true},
		{"link's part of the reaction", s.Trip.Seconds(), 0, s.Reaction.Seconds(), true},
		{"deceleration", s.Deceleration, 1e-3, 1e3, s.Predict},
		{"vertical deceleration", s.Vertical, 1e-3, 1e3, s.Predict && c.Kind == Multirotor},
		{"acceleration", s.Acceleration, 0, 1e3, true},
		{"slope", s.Slope, 0, 10, true},
		{"margin", s.Margin, 0, 100, true},
		{"position error", s.PositionErr, 0, 100, true},
		{"alignment error", s.AlignErr, 0, pose.MaxResidual, true},
		{"alignment tolerance", c.Tie.Most, 0, pose.MaxResidual, true},
		{"velocity error", s.VelocityErr, 0, 100, true},
		{"permit period", t.PermitEvery.Seconds(), 0.005, 1, true},
		{"permit validity", t.PermitValid.Seconds(), 0.02, 1, true},
		{"command repeat", t.CommandEvery.Seconds(), 0.02, 1, true},
		{"ack time", t.AckWithin.Seconds(), 0.05, 10, true},
		{"state period", t.StateEvery.Seconds(), 0.02, 10, true},
		{"budget of the round trip", t.TripMost.Seconds(), 0, 10, true},
		{"stall time", t.Stall.Seconds(), 0.05, 10, true},
		{"caution dwell", t.CautionDwell.Seconds(), 0, 60, true},
		{"trusted time", t.TrustedFor.Seconds(), 0, 60, true},
		{"rest time", t.RestFor.Seconds(), 0, 10, true},
		{"rest speed", t.RestSpeed, 1e-3, 10, true},
		{"obey slack", t.ObeySlack, 0, 10, true},
		{"obey tolerance", t.ObeyTolerance, 0.01, 1, true},
		{"obey confirmation", float64(t.ObeyConfirm), 1, 1000, true},
	}
}

func (c *Config) validateLimits() error {
	for id := LimitID(0); id < NumLimits; id++ {
		name, unit := id.Name()
		if l := &c.Limits[id]; l.On {
			if err := c.validateLimit(l, name, unit); err != nil {
				return err
			}
		}
	}
	if c.Stopping.Predict {
		if _, ok := OnSlope(c.Stopping.Deceleration, c.Stopping.Slope); !ok {
			return fmt.Errorf("watchdog: vehicle %q: a deceleration of %v m/s² holds nothing on a grade of %v: the vehicle would never stop", c.Vehicle, c.Stopping.Deceleration, c.Stopping.Slope)
		}
	}
	return nil
}

func (c *Config) validateLimit(l *Limit, name, unit string) error {
	switch {
	case !(l.Max >= 0 && l.Max <= 1e6):
		return fmt.Errorf("watchdog: vehicle %q: limit %s = %v %s is not a usable number", c.Vehicle, name, l.Max, unit)
	case !(l.Caution >= 0 && l.Caution <= l.Max):
		return fmt.Errorf("watchdog: vehicle %q: caution of %s = %v %s is not within 0 to %v", c.Vehicle, name, l.Caution, unit, l.Max)
	case l.Confirm < 0 || l.Confirm > 1000:
		return fmt.Errorf("watchdog: vehicle %q: confirmation of %s = %d samples is not within 0 to 1000", c.Vehicle, name, l.Confirm)
	case l.Answer < ActCaution || l.Answer > ActLand:
		return fmt.Errorf("watchdog: vehicle %q: answer of %s is none of caution, stop, land", c.Vehicle, name)
	}
	return nil
}

// degrees per radian.
const degPerRad = 180 / math.Pi
