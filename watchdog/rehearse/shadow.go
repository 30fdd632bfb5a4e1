package rehearse

import (
	"time"

	"pinfold/sim/judge"
)

// shadowFor is how long a vehicle is followed without a guard, after the stop
// that was called.
const shadowFor = 10 * time.Second

// Needless says whether the stop of a run was needless: whether its vehicle,
// left to its pilot, would have stayed in the pen for the next ten seconds.
// A pilot that waits for the stop to do its worst does so at that instant.
func Needless(c *Case, res *Result) (bool, error) {
	if !res.Stopped {
		return false, nil
	}
	j, err := judge.New(c.Pen)
	if err != nil {
		return false, err
	}
	p := c.plant()
	stop := res.StopAt - res.Began
	for now := time.Duration(0); now < stop+shadowFor; now += Tick {
		s := p.State()
		if j.Room(s.Position.X, s.Position.Y, s.Position.Z) <= 0 {
			return false, nil
		}
		if now < c.warm() {
			p.Step(Tick, c.coast(&s))
			continue
		}
		p.Step(Tick, c.control(&s, now, stop))
	}
	return true, nil
}
