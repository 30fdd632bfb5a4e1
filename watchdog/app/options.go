package app

import (
	"errors"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/console"
)

// Options of a run.
type Options struct {
	Site    *config.Site
	Version string // of the program, for the trail
	// TrailDir is where the session's folder goes, and the key that seals it;
	// empty: where the site file says.
	TrailDir string
	// Say is told what a person should read, from the loops: it must return at
	// once. Nil: nobody reads.
	Say func(Line)
	// Watch is shown every snapshot that is published, from the vehicle's
	// loop: it must copy what it keeps and return at once. Nil: nobody watches.
	Watch func(vehicle int, s *watchdog.Snapshot)
	// Reload asks for the site file to be read again, by Load.
	Reload <-chan struct{}
	Load   func() (*config.Site, error)
	// Console is what the page needs beside what the site file says.
	Console Console
	// Notify tells the service manager; nil: there is none.
	Notify Notifier
	// Wall is the wall clock, which is only written down, and tells whether an
	// alignment is from before the start; nil is time.Now.
	Wall func() time.Time
	// MotorsOff: a person carries the vehicles along their edges. Nothing is ever
	// permitted, and stops are called without a start (watchdog.Config.MotorsOff).
	MotorsOff bool
	// Evidence is what the caller wants in the session's trail, signed; each is
	// answered when it is durable, or will never be. Nil: nothing.
	Evidence <-chan Evidence
	// Ready is called once every loop has judged for the first time.
	Ready func(Session)

	page *console.Server // shown what is said; nil: there is none
}

// Evidence is a record of the caller's.
type Evidence struct {
	Vehicle string
	About   string // what it is, as trail.Signed has it
	Record  any
	Answer  chan<- error // has room for one
}

// Line is one thing a person should read.
type Line struct {
	At      time.Duration // session instant
	Weight  Weight
	Vehicle string // empty: about the whole guard
	Level   string // the level now, where the line is about one
	Text    string
}

// Weight is how much a line matters to whoever reads nothing else.
type Weight uint8

// The weights, the least first.
const (
	Note    Weight = iota // in the course of things
	Caution               // something should be looked into
	Alarm                 // something was stopped, or keeps the guard from permitting
	Failure               // the guard itself failed
)

// Session names what is running.
type Session struct {
	ID     string
	Folder string // of the trail
	Key    string // public key of the seal, hex
}

// Result is how a run ended.
type Result struct {
	Session Session
	Head    string // of the sealed trail, hex; empty where it could not be sealed
}

// ErrPanic is the answer of Run after the core panicked: the vehicles were told
// to stop, the session is closed, and the program must end with ExitPanic.
var ErrPanic = errors.New("the judgement failed inside; every vehicle was told to stop")

// Exit statuses beside 0, 1 and 2 (DESIGN §5): one for each way of ending that
// somebody must look into.
const (
	ExitPanic = 3 // the core panicked
)

// Bounds of waiting.
const (
	linkWait   = 2 * time.Second         // for the broker before the first judgement
	closeWait  = 400 * time.Millisecond  // for acknowledgements of the last stop
	trailClose = 5 * time.Second         // for the seal
	lastWord   = 300 * time.Millisecond  // for each last publish
	flowAfter  = 1500 * time.Millisecond // connected and no pose: a new connection; real trackers are silent for a second now and then
	flowMost   = 5 * time.Minute         // the longest such patience
)
