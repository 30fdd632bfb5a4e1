package pose

import (
	"fmt"
	"time"
)

// trusted refuses samples that a Track would distrust, for whatever it is
// measured from them: nothing is tied to the room by a pose that the guard
// would stop the vehicle for. They are taken to arrive as they were stamped, so
// a backlog does not show; and no alignment is theirs yet, so no restart does.
func trusted(samples []Sample, c Config) error {
	c.Align = Alignment{}
	track, err := NewTrack(c)
	if err != nil {
		return err
	}
	var p Pose
	for i := range samples {
		s := &samples[i]
		now := time.Duration(s.Stamp - samples[0].Stamp)
		if f := track.Accept(s, now, now, &p); f != nil {
			return fmt.Errorf("align: sample %d: %w", i+1, f)
		}
		if d := track.Distrust(now); d != 0 {
			turns := i > 0 && s.Orientation != samples[i-1].Orientation
			return fmt.Errorf("align: sample %d: %s", i+1, c.whyDistrusted(s, d, turns))
		}
	}
	return nil
}

// whyDistrusted says in words what the first of the reasons in d is, and what
// to do.
func (c *Config) whyDistrusted(s *Sample, d Distrust, turns bool) string {
	switch {
	case d.Has(Unsure) && !s.HasConfidence:
		return fmt.Sprintf("the tracker tells no confidence, and %.2f is the least (min_confidence): see [vehicle.pose.fields]", c.MinConfidence)
	case d.Has(Unsure):
		return fmt.Sprintf("the tracker's confidence of %.2f is below the least of %.2f (min_confidence): let it see the room well and begin again", s.Confidence, c.MinConfidence)
	case d.Has(Frozen) && turns:
		return fmt.Sprintf("its place repeats itself to the last bit for more than %v (twice frozen_after): the tracker has lost its place; begin again", 2*c.FrozenAfter)
	case d.Has(Frozen):
		return fmt.Sprintf("the tracker repeats itself to the last bit for more than %v (frozen_after): is it still tracking? Begin again", c.FrozenAfter)
	}
	return fmt.Sprintf("the guard would not trust this pose (%v): begin again", d)
}
