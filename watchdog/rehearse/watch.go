package rehearse

import (
	"math"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
)

// This file is what is looked at from outside: where the vehicle truly is.

// short says whether the body, grown by the margin it is to keep, is not all in
// the pen.
func (r *rig) short(s *sim.State) bool {
	m := r.c.Config.Stopping.Margin - 1e-9
	if m <= 0 || r.res.Room >= m {
		return false
	}
	p := r.c.Pen
	p.Radius, p.Below, p.Above = p.Radius+m, p.Below+m, p.Above+m
	j, err := judge.New(p)
	return err != nil || j.Room(s.Position.X, s.Position.Y, s.Position.Z) <= 0
}

// limits looks, as the judge does, at the limits that can be kept until rest:
// height above the ground, of the body's centre, and distance from home.
func (r *rig) limits(s *sim.State) {
	if !r.res.Started {
		return
	}
	c := &r.c.Config
	if l := &c.Limits[watchdog.LimitHeight]; l.On {
		r.over("height", s.Position.Z-c.Ground-l.Max)
	}
	if l := &c.Limits[watchdog.LimitDistance]; l.On {
		r.over("distance", math.Hypot(s.Position.X-c.Home.X, s.Position.Y-c.Home.Y)-l.Max)
	}
}

func (r *rig) over(limit string, by float64) {
	if by > r.res.Over {
		r.res.Over, r.res.Limit = by, limit
	}
}

// look has the judge see the true position, wherever the body can have come to
// an edge since it last looked: the room falls no faster than the body moves.
func (r *rig) look(must bool) {
	s := &r.state
	if !must && s.Travelled-r.moved < r.room {
		return
	}
	r.moved = s.Travelled
	r.room = r.judge.Look(r.now, s.Position.X, s.Position.Y, s.Position.Z)
}

// rest notes when a vehicle that was stopped is at rest.
func (r *rig) rest(s *sim.State) {
	if r.halted < 0 || r.now <= r.halted+r.c.Truth.Actuator+Tick {
		return
	}
	slow := 1e-9
	if r.c.Truth.Plant == Rotor {
		slow = 0.005
	}
	r.res.Rested = s.Velocity.Len() <= slow
}
