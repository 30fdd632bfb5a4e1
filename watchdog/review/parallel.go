package review

import (
	"fmt"
	"strings"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/intake"
)

// parallel steps a second guard, made from another site, beside the one that
// ran.
type parallel struct {
	guard   *watchdog.Guard
	was     side
	other   side
	waits   map[uint64]uint64 // token of the session's guard to the other's
	refused []pendingAsk      // by the other in this step
	out     WhatIfVehicle
}

// side is how one guard stands, and what it called.
type side struct {
	level   watchdog.Level
	since   time.Duration // of level
	free    time.Duration // spent permitted
	command string        // id of the newest
	stops   []Called
}

type pendingAsk struct {
	ask string
	why string
}

func newParallel(a *again, site *config.Site, name string) (*parallel, error) {
	v, ok := site.Vehicle(name)
	if !ok {
		var have []string
		for i := range site.Vehicles {
			have = append(have, site.Vehicles[i].Name)
		}
		return nil, fmt.Errorf("review: %s has no vehicle %q, which the session watched; it has %s: name the vehicle as the session does",
			site.Path, name, strings.Join(have, ", "))
	}
	cfg, err := a.config(site, name)
	if err != nil {
		return nil, err
	}
	g, err := watchdog.New(cfg)
	if err != nil {
		return nil, err
	}
	return &parallel{guard: g, waits: map[uint64]uint64{},
		out: WhatIfVehicle{Name: v.Name, Stops: []WhatIfStop{}, Refused: []Note{}, Parted: -1}}, nil
}

// step takes a step of the session's guard and does the like with the other.
func (p *parallel) step(s *step) error {
	asked := p.was.take(s.guard, s.effects, s.item.At)
	// A deadline that only the other guard has would have woken the loop. Those
	// that both have, the loop met when it did.
	for d := p.guard.Deadline(); d < s.due && d < s.item.At; d = p.guard.Deadline() {
		p.run(&watchdog.Event{Kind: watchdog.EvTick, Arrived: d}, d, 0)
	}
	if s.item.Kind == intake.KindConfig {
		return nil
	}
	e := intake.Entry{Kind: s.item.Kind, Flags: s.item.Flags, Arrived: s.item.Arrived, Payload: s.item.Payload}
	ev, err := e.Event()
	if err != nil {
		return err
	}
	if !p.translate(&ev, s) {
		return nil
	}
	p.run(&ev, s.item.At, asked)
	p.refusals(s)
	return nil
}

// translate gives the event the nonce, id or token that the other guard knows;
// false where it is about nothing there.
func (p *parallel) translate(ev *watchdog.Event, s *step) bool {
	switch ev.Kind {
	case watchdog.EvRequest, watchdog.EvAlign:
		if ev.Nonce == s.nonce {
			ev.Nonce = p.guard.Snapshot().Nonce
		}
	case watchdog.EvAck:
		if ev.Text == p.was.command && p.other.command != "" {
			ev.Text = p.other.command
		}
	case watchdog.EvDurable:
		token, ok := p.waits[ev.Token]
		delete(p.waits, ev.Token)
		ev.Token = token
		return ok
	}
	return true
}

// run steps the other guard. What it waits for to be durable becomes so with
// the record asked of the session's own guard in the same step, or, where that
// asks for none, at once.
func (p *parallel) run(ev *watchdog.Event, now time.Duration, asked uint64) {
	effects := p.guard.Step(ev, now)
	token := p.other.take(p.guard, effects, now)
	p.note(effects)
	switch {
	case token == 0:
	case asked != 0:
		p.waits[asked] = token
	default:
		p.run(&watchdog.Event{Kind: watchdog.EvDurable, Arrived: now, Token: token}, now, 0)
	}
}

// note keeps why a request was refused, until it is known that the session's
// own guard took it.
func (p *parallel) note(effects []watchdog.Effect) {
	for i := range effects {
		if b, ok := effects[i].Record.Body.(watchdog.RequestHeard); ok && b.Outcome == "refused" {
			p.refused = append(p.refused, pendingAsk{b.Ask, strings.Join(b.Why, "; ")})
		}
	}
}

// refusals tells of requests that the session's own guard accepted in this step
// and the other refused, unless the vehicle may move there anyway.
func (p *parallel) refusals(s *step) {
	for i := range s.effects {
		b, ok := s.effects[i].Record.Body.(watchdog.RequestHeard)
		if !ok || b.Outcome == "refused" {
			continue
		}
		moot := p.other.level == watchdog.Clear || p.other.level == watchdog.Caution // it was not stopped, so that it needs none
		for _, x := range p.refused {
			if x.ask == b.Ask && !moot {
				p.out.Refused = append(p.out.Refused, Note{At: s.item.At.Seconds(), Vehicle: p.out.Name, Text: x.ask + " refused: " + x.why})
			}
		}
	}
	p.refused = p.refused[:0]
}

// take follows one guard's step and gives the token of the record that is to
// become durable; 0 none.
func (d *side) take(g *watchdog.Guard, effects []watchdog.Effect, now time.Duration) (token uint64) {
	for i := range effects {
		r := &effects[i].Record
		if effects[i].Kind != watchdog.DoRecord {
			continue
		}
		if r.Durable {
			token = r.Token
		}
		if b, ok := r.Body.(watchdog.CommandSent); ok {
			if d.level < watchdog.Stop && len(d.stops) < maxChains {
				c := Called{At: now.Seconds(), at: now, Action: b.Action, Cause: b.Cause.Word, Name: b.Cause.Name}
				if snap := g.Figures(); snap.Judged && snap.Pose.HasVelocity {
					c.Speed = snap.Speed
				}
				d.stops = append(d.stops, c)
			}
			d.command = b.ID
		}
	}
	if level := g.Level(); level != d.level {
		d.spend(now)
		if n := len(d.stops); n > 0 && level < watchdog.Stop && d.level >= watchdog.Stop {
			d.stops[n-1].until = now
		}
		d.level = level
	}
	return token
}

func (d *side) spend(now time.Duration) {
	if d.level == watchdog.Clear || d.level == watchdog.Caution {
		d.free += now - d.since
	}
	d.since = now
}

func (p *parallel) finish() WhatIfVehicle {
	now := max(p.was.since, p.other.since)
	p.was.spend(now)
	p.other.spend(now)
	p.out.Permitted, p.out.Other = p.was.free.Seconds(), p.other.free.Seconds()
	p.out.Stops = pair(p.was.stops, p.other.stops)
	p.part()
	return p.out
}
