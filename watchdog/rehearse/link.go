package rehearse

import (
	"math"
	"time"

	"pinfold/sim"
	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
)

// This file is what travels between guard and vehicle.

// arrive gives the guard a message.
func (r *rig) arrive(m *message) {
	ev := watchdog.Event{Kind: watchdog.EvPose, Arrived: m.due, Payload: m.data}
	switch {
	case m.what == aboutPose && len(m.data) == 0:
		r.read(&m.seen)
		ev.Sample = &r.sample
	case m.what == aboutAck:
		a, err := wire.DecodeAck(m.data)
		if err != nil {
			return
		}
		ev = watchdog.Event{Kind: watchdog.EvAck, Arrived: m.due, Text: a.ID}
	}
	r.step(&ev, m.due)
	if r.told != nil && m.what == aboutPose {
		r.told(m.due)
	}
	r.start(m.due)
}

// read takes what the tracker saw as reading its message would.
func (r *rig) read(g *sim.Glance) {
	p, q, v, s := g.Position, g.Orientation, g.Velocity, &r.sample
	s.Stamp, s.Seq, s.HasSeq = int64(g.Stamp), g.Seq, true
	s.Position, s.Orientation = pose.Vec(p), pose.Quat(q)
	s.Velocity, s.HasVelocity = pose.Vec{}, r.c.Truth.Eye.Velocity
	if s.HasVelocity {
		s.Velocity = pose.Vec(v)
	}
	s.Confidence, s.HasConfidence, s.Tracker = 1, true, r.eye.Name()
}

func (r *rig) permit(p *watchdog.Permit, now time.Duration) {
	if p.Go && !r.res.Started {
		r.res.Started = true
		if r.c.AtRest {
			r.shift = now - r.c.warm()
		}
		r.tell("at %v started", now)
	}
	r.allowed = p.Go
	r.hash.permit(p, now)
	m := wire.Permit{Guard: r.c.Config.Guard, Session: r.c.Config.Session, Seq: p.Seq, Go: p.Go, Stamp: p.Stamp, Valid: p.Valid.Seconds()}
	r.buf = m.Append(r.buf[:0])
	if r.res.Started && !p.Go && r.called < 0 {
		r.call(now)
	}
	r.send(aboutPermit, now)
}

func (r *rig) command(c *watchdog.Command, now time.Duration) {
	r.hash.command(c, now)
	if r.res.Cause == "" {
		r.res.Cause, r.res.Name, r.value = c.Cause.String(), c.Name, c.Value
		r.tell("at %v %s, cause %s %q, %.4f", now, c.Action, c.Cause, c.Name, c.Value)
	}
	m := wire.Command{ID: c.ID, Seq: c.Seq, Action: c.Action.String(), Cause: c.Cause.String(), Zone: c.Name,
		Value: c.Value, Limit: c.Limit, Stamp: c.Stamp, Valid: c.Valid.Seconds()}
	r.buf = m.Append(r.buf[:0])
	r.send(aboutCommand, now)
}

// call notes that the guard has withdrawn its permit.
func (r *rig) call(now time.Duration) {
	s := r.plant.State()
	reach := r.guard.Snapshot().Reach
	r.called, r.cut = now, r.cut || r.c.Truth.CutCall
	r.res.Stopped, r.res.StopAt, r.res.Began = true, now, r.shift
	r.res.Speed, r.res.Allowed = s.Velocity.Flat().Len(), reach.Along
	if r.c.Config.Kind == watchdog.Multirotor {
		up := watchdog.StoppingDistance(math.Abs(s.Velocity.Z), reach.Reaction, r.c.Config.Stopping.Vertical)
		r.res.Allowed = math.Max(r.res.Allowed, up)
	}
}

// send gives what stands in buf to the link to the vehicle.
func (r *rig) send(what topic, now time.Duration) {
	t := &r.c.Truth
	if r.cut {
		return
	}
	late := t.Down
	if t.DownLate > 0 {
		late -= time.Duration(float64(t.DownLate) * r.jit.share())
	}
	r.down.put(what, r.buf, now+late)
}

// hear hands over what has arrived at the vehicle.
func (r *rig) hear() {
	clock := int64(r.eye.ClockAt(r.now))
	for due, any := r.down.next(); any && due <= r.now; due, any = r.down.next() {
		switch m := r.down.take(); m.what {
		case aboutPermit:
			r.gate.Permit(m.data, false, clock)
		case aboutCommand:
			if ack := r.gate.Command(m.data, false, clock); ack != nil {
				r.up.put(aboutAck, ack, r.now+r.c.Truth.Transit)
			}
		}
	}
}

// silent says whether the link from the tracker is dead.
func (r *rig) silent(due time.Duration) bool {
	t := r.c.Truth.SilentAt
	return t > 0 && due >= t
}
