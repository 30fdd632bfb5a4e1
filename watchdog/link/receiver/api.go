package receiver

import (
	"errors"
	"fmt"
	"time"

	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// Bounds of a receiver.
const (
	// MaxValid is the longest validity any permit is given.
	MaxValid = time.Duration(wire.MaxValid * float64(time.Second))
	// MaxGuards is how many guards a vehicle may be made to obey.
	MaxGuards = 8
	// sessionsKept is how many displaced sessions are remembered for each guard.
	sessionsKept = 8
	// commandsKept is how many commands are remembered, to tell late copies.
	commandsKept = 32
)

// Action is what the vehicle has to do.
type Action uint8

// Actions, from none to the strongest. None without Go in a Verdict means:
// stand still where you are.
const (
	None Action = iota
	Stop
	Land
)

// String gives the word on the wire, "none" for None.
func (a Action) String() string {
	switch a {
	case Stop:
		return wire.Stop
	case Land:
		return wire.Land
	}
	return "none"
}

// Verdict answers whether the vehicle may move. The zero Verdict is no.
type Verdict struct {
	Go     bool          // the vehicle may move
	Action Action        // None with Go; otherwise what to do instead: Stop or Land
	Why    string        // why not, one clause; empty with Go
	Age    time.Duration // of the permit in force on the vehicle's clock; with several guards, of the oldest; 0 without one
}

// Options of a Receiver. The zero value obeys any one guard, with the validity
// that it declares.
type Options struct {
	// Guards are the names of the watchdogs that all have to permit; none means
	// one guard of whatever name.
	Guards []string
	// Valid caps the validity of every permit further; 0 means MaxValid.
	Valid time.Duration
	// Lost is what to do when the permit ends without a command: Stop, which is
	// also what None means here, or Land.
	Lost Action
	// Key is what permits and commands have to be signed with, and acks then are;
	// nil: they are not.
	Key *sign.Key
	// Topics are the vehicle's, as wire.Topics gives them. With a Key they must be
	// there, since a signature is good for one topic alone.
	Topics wire.TopicSet
}

// check says what is wrong with the options, and what to write instead.
func (o *Options) check() error {
	if len(o.Guards) > MaxGuards {
		return fmt.Errorf("receiver: %d guards, at most %d; name fewer", len(o.Guards), MaxGuards)
	}
	for i, name := range o.Guards {
		if err := wire.CheckName(name); err != nil {
			return fmt.Errorf("receiver: guard %d: %w", i+1, err)
		}
		for _, other := range o.Guards[:i] {
			if other == name {
				return fmt.Errorf("receiver: guard %q is named twice; name it once", name)
			}
		}
	}
	if o.Valid < 0 || o.Valid > MaxValid {
		return fmt.Errorf("receiver: validity %v is out of range; give 0 (no further cap) to %v", o.Valid, MaxValid)
	}
	if o.Key != nil && (o.Topics.Permit == "" || o.Topics.Command == "" || o.Topics.AllCommand == "" || o.Topics.Ack == "") {
		return errors.New("receiver: a key without the topics it is for; give Options.Topics, from wire.Topics")
	}
	if o.Lost > Land {
		return fmt.Errorf("receiver: unknown action %d for a lost permit; give Stop or Land", o.Lost)
	}
	return nil
}

// Counts tells what has been heard since the start.
type Counts struct {
	Permits   uint64 // accepted, be it to go or to halt
	Commands  uint64 // read, copies included
	Malformed uint64 // could not be read, on any topic
	Retained  uint64 // permits refused as retained
	Future    uint64 // permits with a stamp ahead of the vehicle's clock
	Foreign   uint64 // permits of another guard, or of a session not taken up
	Old       uint64 // permits whose number was not higher than the last
	Unsigned  uint64 // without the key's signature, on any topic; 0 without a key
}
