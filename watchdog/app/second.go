package app

import (
	"fmt"
	"time"

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
//
// More sessions than are told apart, in turns, are another guard at work just as
// well: so many do not each die after one permit. However many come, a person and
// the trail are told of one of them at a time (secondEvery).
type secondGuard struct {
	heard  [secondsKept]rivalSession // the newest others, in a ring
	next   int
	own    rivalSession // of this guard's own session, said by somebody else
	told   bool
	toldAt time.Duration // when a person was last told
}

type rivalSession struct {
	session string
	permits int           // heard of it
	first   time.Duration // when the first of them was
	told    bool          // a person and the trail were told of it
}

// secondsKept is how many others are told apart at a time.
const secondsKept = 4

// secondsWindow is how soon a session must be pushed out by newer ones, unconfirmed,
// to show that more are at work than are told apart.
const secondsWindow = 10 * time.Second

// secondEvery is how often a person is told of another session, at most.
const secondEvery = 10 * time.Second

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
func (s *secondGuard) hear(p *wire.Permit, at time.Duration) *rivalSession {
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
	r := &s.heard[s.next]
	s.next = (s.next + 1) % len(s.heard)
	crowd := r.permits > 0 && r.permits < secondConfirm && at-r.first <= secondsWindow
	*r = rivalSession{session: p.Session, permits: 1, first: at}
	if !crowd {
		return nil
	}
	return r
}

// news says whether a person is to be told of a session, and notes that one is.
func (s *secondGuard) news(r *rivalSession, now time.Duration) bool {
	if r.told || s.told && now-s.toldAt < secondEvery {
		return false
	}
	r.told, s.told, s.toldAt = true, true, now
	return true
}

// heardPermit judges one message of the permit topic.
func (k *keeper) heardPermit(m *link.Message) {
	if m.Retained || m.TooLarge { // of any age; no guard sends either
		return
	}
	p, err := k.permits.Permit(m.Payload)
	own := p.Session == k.cfg.Session
	if err != nil || own && p.Seq <= k.permitNo || !own && k.fellow(m, &p) {
		return // its own come back to it
	}
	s := &k.rival.own
	if !k.signing.fellow.Check(m.Payload) { // the vehicle takes it for none
		k.unsigned(kindPermit)
		if own {
			return
		}
	}
	if !own {
		s = k.rival.hear(&p, m.Arrived)
	}
	if s != nil {
		k.second(m, &p, s, own)
	}
}

// second stops the vehicle because of another guard, and says so once a session.
// own: it speaks under this guard's session, with numbers that this one has not
// come to.
func (k *keeper) second(m *link.Message, p *wire.Permit, s *rivalSession, own bool) {
	now := k.now()
	news := k.rival.news(s, now)
	if news || k.guard.Level() < watchdog.Stop {
		r := wire.Request{Ask: watchdog.AskStop.String(), By: fmt.Sprintf("guard itself: second guard at work, session %.16s", p.Session)}
		k.step(&intake.Entry{Kind: uint8(watchdog.EvRequest), Arrived: m.Arrived, Payload: r.Append(nil)})
	}
	if !news {
		return
	}
	k.trail.Event(k.cfg.Vehicle, "second-guard", now, Second{Guard: p.Guard, Session: p.Session, Seq: p.Seq, Go: p.Go})
	if own {
		k.say(now, Alarm, fmt.Sprintf("somebody else says permits under this guard's own session (permit %d, and this guard is at %d): stopped. Find out who publishes on the broker; keep them out by its access list or by signatures (docs/link.md), then start the guard anew, since the vehicle may be past this session's numbers", p.Seq, k.permitNo))
		return
	}
	k.say(now, Alarm, fmt.Sprintf("another guard is at work for this vehicle (guard %s, session %s): both stop it. End one of them; then reset, then start", p.Guard, p.Session))
}
