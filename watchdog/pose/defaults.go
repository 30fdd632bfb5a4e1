package pose

import "time"

// DefaultConfig is a config whose every threshold was tried on recordings of
// real trackers (a hand-held rig at 120 Hz, a small multirotor at 50 to 60 Hz
// with bunched stamps): none of them was distrusted but for the gaps that are
// really in them. A vehicle's own top speed and acceleration sharpen it.
//
// MinConfidence is off: many trackers report none. The velocity window is
// 50 ms. The numbers are common practice, no source, but for what the
// recordings show.
func DefaultConfig() Config {
	return Config{
		MaxAge:            100 * time.Millisecond,
		MaxLate:           100 * time.Millisecond,
		FrozenAfter:       200 * time.Millisecond,
		MinRateHz:         20,
		MaxSpeed:          5,
		JumpSlack:         0.05,
		MaxAccel:          30,
		MaxClockStep:      100 * time.Millisecond,
		VelocityWindow:    50 * time.Millisecond,
		VelocityTolerance: 0.5,
		RestartRadius:     0.1,
		Settle:            500 * time.Millisecond,
	}
}
