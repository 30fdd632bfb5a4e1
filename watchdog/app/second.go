package app

import (
	"fmt"

	"pinfold/watchdog"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// secondGuard notices that another guard grants or withholds permits for this
// guard's vehicle: a site that was started twice, on one machine or on two. MQTT
// does not prevent it, each connection having a client id of its own. The
// vehicle's receiver follows one session only and takes up another where that
// says no, so it halts; but a person must be told why, and neither guard may go
// on as if it were alone.
//
// The finding is put to the core as a stop that this guard itself asks for: it
// latches, is named in state, command and trail, and replays. It comes again
// after a reset for as long as the other is heard.
type secondGuard struct {
	permits wire.Decoder
	session string // of the newest permit of another guard
	heard   int    // permits of that session
	told    string // session that a person and the trail were told of
}

// secondConfirm is how many permits of one session make a second guard: a
// single one may be the last word of a guard that is just ending.
const secondConfirm = 2

// Second is the body of the record of another guard at work.
type Second struct {
	Guard   string `json:"guard"`
	Session string `json:"session"`
	Seq     uint64 `json:"seq"`
	Go      bool   `json:"go"`
}

// hear takes a message of the permit topic; ok is true where it shows, with
// those before, that another guard is at work.
func (s *secondGuard) hear(m *link.Message, own string) (p wire.Permit, ok bool) {
	if m.Retained || m.TooLarge { // of any age; no guard sends either
		return p, false
	}
	p, err := s.permits.Permit(m.Payload)
	if err != nil || p.Session == own || p.Seq == wire.MaxSeq { // its last word
		return p, false
	}
	if p.Session != s.session {
		s.session, s.heard = p.Session, 0
	}
	s.heard++
	return p, s.heard >= secondConfirm
}

// second judges one message of the permit topic.
func (k *keeper) second(m *link.Message) {
	p, ok := k.rival.hear(m, k.cfg.Session)
	if !ok {
		return
	}
	news := k.rival.told != p.Session
	if news {
		k.rival.told = p.Session
	}
	if news || k.guard.Level() < watchdog.Stop {
		r := wire.Request{Ask: watchdog.AskStop.String(), By: fmt.Sprintf("guard itself: second guard at work, session %.16s", p.Session)}
		k.step(&intake.Entry{Kind: uint8(watchdog.EvRequest), Arrived: m.Arrived, Payload: r.Append(nil)})
	}
	if news {
		now := k.now()
		k.trail.Event(k.cfg.Vehicle, "second-guard", now, Second{Guard: p.Guard, Session: p.Session, Seq: p.Seq, Go: p.Go})
		k.say(now, Alarm, fmt.Sprintf("another guard is at work for this vehicle (guard %s, session %s): both stop it. End one of them; then reset, then start", p.Guard, p.Session))
	}
}
