package app

import (
	"fmt"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// fellows follows the guards that the site file names beside this one. The
// vehicle needs a fresh permit of each (package receiver), so it halts by itself
// when one of them withdraws or falls silent; and once it has heard a stop, it
// wants each of them to say no before their yes counts again. So a guard whose
// fellow stops, or is gone, stops too: what is latched is then the same at every
// guard, a person sees at each why nothing moves, and resets and starts them all.
type fellows []fellow

type fellow struct {
	name    string
	session string // of its newest permit; empty before the first
	seq     uint64
	goes    bool          // its newest permit said go
	at      time.Duration // when that was heard
	silent  bool          // it was said that it is
}

// fellowSilent is how long a fellow may say nothing before it counts as gone.
// The vehicle has halted long before: a permit is good for a second at most.
const fellowSilent = time.Second

func newFellows(names []string) fellows {
	f := make(fellows, len(names))
	for i, n := range names {
		f[i].name = n
	}
	return f
}

// of finds whose permit it is; nil: of no fellow.
func (f fellows) of(name string) *fellow {
	for i := range f {
		if f[i].name == name {
			return &f[i]
		}
	}
	return nil
}

// hear takes a permit of the fellow's; why is what it withdrew by it, empty where
// it withdrew nothing. What is no newer than the last of its session is passed
// over.
func (f *fellow) hear(p *wire.Permit, at time.Duration) (why string) {
	restarted := p.Session != f.session
	if !restarted && p.Seq <= f.seq {
		return ""
	}
	went := f.goes
	f.session, f.seq, f.goes, f.at, f.silent = p.Session, p.Seq, p.Go, at, false
	switch {
	case !went || p.Go && !restarted:
		return ""
	case restarted:
		return "began a new session"
	case p.Seq == wire.MaxSeq:
		return "ended"
	}
	return "withdrew its permit"
}

// lost is whether a fellow that permitted has fallen silent; it is true once.
func (f *fellow) lost(now time.Duration) bool {
	if !f.goes || now-f.at <= fellowSilent {
		return false
	}
	f.goes, f.silent = false, true
	return true
}

// fellow judges a permit of a fellow guard; false: it is of none.
func (k *keeper) fellow(m *link.Message, p *wire.Permit) bool {
	f := k.fellows.of(p.Guard)
	if f == nil {
		return false
	}
	if !k.signing.fellow.Check(m.Payload) { // the vehicle takes it for none, too
		k.unsigned(kindPermit)
		return true
	}
	if f.session == "" || f.silent {
		k.say(k.now(), Note, fmt.Sprintf("fellow guard %s is heard (session %.16s)", f.name, p.Session))
	}
	if why := f.hear(p, m.Arrived); why != "" {
		k.withFellow(f, why)
	}
	return true
}

// fellowship looks whether a fellow fell silent, after what it said was heard.
func (k *keeper) fellowship() {
	now := k.now()
	for i := range k.fellows {
		if f := &k.fellows[i]; f.lost(now) {
			k.withFellow(f, "fell silent")
		}
	}
}

// withFellow stops where this guard permits. The stop is put to the core as one
// that this guard itself asks for: it latches, is named and replays.
func (k *keeper) withFellow(f *fellow, why string) {
	if l := k.guard.Level(); l == watchdog.Waiting || l >= watchdog.Stop {
		return
	}
	now := k.now()
	r := wire.Request{Ask: watchdog.AskStop.String(), By: fmt.Sprintf("guard itself: fellow %.20s %s", f.name, why)}
	k.step(&intake.Entry{Kind: uint8(watchdog.EvRequest), Arrived: now, Payload: r.Append(nil)})
	k.say(now, Alarm, fmt.Sprintf("fellow guard %s %s, and the vehicle needs its permit: this one stops too. Reset both, then start both", f.name, why))
}

// forAnother is whether a request is for a fellow alone: a start or a reset that
// names it. A stop and a land are for every guard.
func (k *keeper) forAnother(m *link.Message) bool {
	r, err := wire.DecodeRequest(m.Payload)
	return err == nil && r.Guard != "" && r.Guard != k.cfg.Guard && r.Ask != wire.Stop && r.Ask != wire.Land
}
