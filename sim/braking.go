package sim

import (
	"math"
	"time"
)

// DemoBraking is the time one of the demo's vehicles itself needs from the end
// of its permit at speed v (m/s, over the floor) to rest, one physics step
// included.
//
// The rover has a closed form: dead time, then v/a down to RestSpeed. The
// multirotor's end is soft, and gusts and a drifting velocity of its own move
// it: there it is the slowest of rehearsals in virtual time.
func DemoBraking(vehicle string, v float64) time.Duration {
	if vehicle == Mole {
		s := DemoRover()
		return s.Delay + seconds(math.Max(0, v-RestSpeed)/s.Braking) + Tick
	}
	worst := time.Duration(0)
	for seed := range uint64(rehearsals) {
		worst = max(worst, rehearseBraking(DemoMultirotor(), v, seed))
	}
	return worst + Tick
}

// rehearsals is how many brakings DemoBraking tries.
const rehearsals = 24

// rehearseBraking brings a blind multirotor to v and measures until rest; at
// most 10 s.
func rehearseBraking(s MultirotorSpec, v float64, seed uint64) time.Duration {
	m := NewMultirotor(s, 0, 0, 0, seed, Tick)
	m.Place(Vec{Z: 3}, Vec{})
	for range 3 * time.Second / Tick {
		m.Step(Tick, Control{Mode: Drive, Velocity: Vec{X: v}})
	}
	for t := Tick; t < 10*time.Second; t += Tick {
		if m.Step(Tick, Control{Blind: true}).Velocity.Flat().Len() < RestSpeed {
			return t
		}
	}
	return 10 * time.Second
}

func seconds(s float64) time.Duration { return time.Duration(s * float64(time.Second)) }
