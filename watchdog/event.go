package watchdog

import (
	"time"

	"pinfold/watchdog/pose"
)

// EventKind says what happened. Its numbers are written into the intake of a
// trail and never change.
type EventKind uint8

// Kinds of event.
const (
	EvTick    EventKind = iota + 1 // nothing but the passing of time: a deadline was reached
	EvPose                         // a message on the pose topic, as it arrived
	EvAck                          // the vehicle acknowledged command Text
	EvRequest                      // an operator asks
	EvLink                         // the link to the broker came up or went down
	EvDurable                      // the record with Token is durable, or (Failed) will never be
	EvBad                          // a message on another topic that could not be read; Text says why
	EvTrail                        // the trail's health changed: Up false means it cannot record
	EvClose                        // the session ends: stop first
	EvOther                        // another guard says where its vehicle can come to
	EvAlign                        // somebody brings an alignment file; see onAlign
	EvTrip                         // the round trip through the broker was measured; see onTrip
)

// Ask is what an operator requests.
type Ask uint8

// Requests. The zero Ask is none and is refused.
const (
	AskStart Ask = iota + 1
	AskStop
	AskLand
	AskReset
)

// String gives the word on the wire.
func (a Ask) String() string {
	switch a {
	case AskStart:
		return "start"
	case AskStop:
		return "stop"
	case AskLand:
		return "land"
	case AskReset:
		return "reset"
	}
	return "none"
}

// ParseAsk reads the word on the wire; ok is false for any other.
func ParseAsk(word string) (a Ask, ok bool) {
	for a = AskStart; a <= AskReset; a++ {
		if a.String() == word {
			return a, true
		}
	}
	return 0, false
}

// Bounds of texts, in bytes. What is longer is cut where it comes from outside
// and refused where it comes from the config: a receiver refuses a command with
// a longer name or id.
const (
	MaxName    = 64  // names of vehicles, guards, operators; and of anything in a command or cause
	MaxSession = 40  // so that a command's id, session and number, is within MaxName
	MaxText    = 200 // what a message or the shell says went wrong
)

// clip cuts s to most bytes, at the start of a UTF-8 character.
func clip(s string, most int) string {
	if len(s) <= most {
		return s
	}
	n := most
	for n > 0 && s[n]&0xC0 == 0x80 {
		n--
	}
	return s[:n]
}

// Event is one thing that happened to the vehicle's guard.
type Event struct {
	Kind     EventKind
	Arrived  time.Duration // instant of arrival, for messages
	Payload  []byte        // EvPose: the message; EvAlign: the file; not kept after Step
	Sample   *pose.Sample  // EvPose, in place of Payload: one read already, from a recording
	Retained bool          // EvPose, EvRequest, EvAlign: delivered as retained
	TooLarge bool          // EvPose: longer than the link carries; Payload is cut
	Text     string        // EvAck: the command's id; EvBad: what was wrong; EvClose: why
	Ask      Ask           // EvRequest
	By       string        // EvRequest, EvAlign: who asks
	Nonce    string        // EvRequest, EvAlign
	Local    bool          // EvAlign: from the site's own files, by who runs the guard; needs no nonce
	Retrieve bool          // EvRequest, AskStart: bring it back; see RetrieveFor
	Other    OtherReach    // EvOther
	Trip     time.Duration // EvTrip: the longest of the last minute
	Up       bool          // EvLink, EvTrail
	Token    uint64        // EvDurable
	Failed   bool          // EvDurable
}
