package app

import (
	"fmt"

	"pinfold/watchdog"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// secondGuard notices that another guard grants or withholds permits for this
// guard's vehicle and is not named as its fellow (fellow.go): a site that was
// started twice, on one machine or on two, or a guard nobody declared. MQTT
// does not prevent it, each connection having a client id of its own. The
// vehicle's receiver follows one session only and takes up another where that
// says no, so it halts; but a person must be told why, and neither guard may go
// on as if it were alone.
//
// The finding is put to the core as a stop that this guard itself asks for: it
// latches, is named in state, command and trail, and replays. It comes again
// after a reset for as long as the other is heard.
type secondGuard struct {
	heard [secondsKept]rivalSession // the newest others, in a ring
	next  int
}

type rivalSession struct {
	session string
	permits int  // heard of it
	told    bool // a person and the trail were told of it
}

// secondsKept is how many others are told apart at a time.
const secondsKept = 4

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

// hear takes a permit that is neither the guard's own nor a fellow's, and gives
// its session where that shows, with those before, that another guard is at work.
func (s *secondGuard) hear(p *wire.Permit) *rivalSession {
	if p.Seq == wire.MaxSeq { // its last word
		return nil
	}
	for i := range s.heard {
		if r := &s.heard[i]; r.session == p.Session {
			if r.permits++; r.permits >= secondConfirm {
				return r
			}
			return nil
		}
	}
	s.heard[s.next] = rivalSession{session: p.Session, permits: 1}
	s.next = (s.next + 1) % len(s.heard)
	return nil
}

// heardPermit judges one message of the permit topic.
func (k *keeper) heardPermit(m *link.Message) {
	if m.Retained || m.TooLarge { // of any age; no guard sends either
		return
	}
	p, err := k.permits.Permit(m.Payload)
	if err != nil || p.Session == k.cfg.Session || k.fellow(m, &p) {
		return
	}
	if s := k.rival.hear(&p); s != nil {
		k.second(m, &p, s)
	}
}

// second stops the vehicle because of another guard, and says so once a session.
func (k *keeper) second(m *link.Message, p *wire.Permit, s *rivalSession) {
	news := !s.told
	s.told = true
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
