package sim

import "time"

// Halting is how a vehicle that was moving came to rest, timed by its own clock
// and measured on the true position. A Halting opens when a permit that was fresh
// no longer is.
type Halting struct {
	PermitAt time.Duration `json:"permit_ns"` // vehicle clock: the last step at which it might move
	BrakeAt  time.Duration `json:"brake_ns"`  // vehicle clock: the step at which the brake was first asked for
	RestAt   time.Duration `json:"rest_ns"`   // vehicle clock: first slower than RestSpeed over the floor; 0 while moving
	DownAt   time.Duration `json:"down_ns"`   // vehicle clock: on the ground; 0 in the air
	Speed    float64       `json:"speed"`     // m/s over the floor at PermitAt
	Distance float64       `json:"distance"`  // m of path from PermitAt to RestAt
	Room     float64       `json:"room"`      // m to the edge of the allowed space at RestAt, as the judge saw it
	Action   string        `json:"action"`    // stop or land: what the vehicle did first
	Why      string        `json:"why"`       // the receiver's reason
}

// RestSpeed is the speed over the floor, m/s, under which a vehicle counts as
// at rest: what a hover in gusts drifts at the most.
const RestSpeed = 0.10

// Rested says whether the vehicle came to rest.
func (h Halting) Rested() bool { return h.RestAt > 0 }

// Braking is the time from the brake to rest; zero while it moves.
func (h Halting) Braking() time.Duration {
	if !h.Rested() {
		return 0
	}
	return h.RestAt - h.BrakeAt
}

// maxHalts bounds the log of one vehicle; the newest are kept.
const maxHalts = 256

// haltLog follows a vehicle's halts step by step.
type haltLog struct {
	halts []Halting
	open  bool
	from  float64 // m, path travelled at PermitAt
	may   bool    // at the step before
	at    time.Duration
	speed float64
	way   float64
}

// step notes the state s after a step, at the vehicle's clock; may says
// whether the step was permitted. The vehicle starts at rest without a permit,
// which is no halt.
func (l *haltLog) step(clock time.Duration, s State, may bool, room float64, action, why string) {
	if l.may && !may {
		l.begin(clock, action, why)
	}
	if may {
		l.open = false
		l.at, l.speed, l.way = clock, s.Velocity.Flat().Len(), s.Travelled
	}
	l.may = may
	if !l.open {
		return
	}
	h := &l.halts[len(l.halts)-1]
	if h.RestAt == 0 && s.Velocity.Flat().Len() < RestSpeed {
		h.RestAt, h.Distance, h.Room = clock, s.Travelled-l.from, room
	}
	if h.DownAt == 0 && s.Grounded {
		h.DownAt = clock
	}
}

func (l *haltLog) begin(clock time.Duration, action, why string) {
	if len(l.halts) == maxHalts {
		l.halts = append(l.halts[:0], l.halts[1:]...)
	}
	l.open, l.from = true, l.way
	l.halts = append(l.halts, Halting{PermitAt: l.at, BrakeAt: clock, Speed: l.speed, Action: action, Why: why})
}

// last is the newest halt; ok is false before the first.
func (l *haltLog) last() (h Halting, ok bool) {
	if len(l.halts) == 0 {
		return Halting{}, false
	}
	return l.halts[len(l.halts)-1], true
}
