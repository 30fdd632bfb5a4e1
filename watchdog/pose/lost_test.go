package pose

import (
	"testing"
	"time"
)

// OpenXR (XrSpace, XrSpaceLocationFlagBits): a pose that is not tracked may be
// inferred or last known and is valid all the same, and when tracking comes back
// the pose snaps to where it is. Here a tracker says at full confidence that a
// body which stopped goes on, for a second, and then that it stands where it
// stopped. No check of poses alone can see the first (the README says so); the
// second is a jump, at that very message, with no change in reported velocity.
func TestLostTrackerInfersAndSnapsBack(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.JumpSlack, c.Settle, c.MinConfidence, c.VelocityTolerance = 3, 0.05, 300*ms, 0.5, 0.5
	track := newTrack(t, c)
	sample := func(now time.Duration, x float64) Sample {
		s := at(now, x)
		s.Confidence, s.HasConfidence, s.Velocity, s.HasVelocity = 1, true, Vec{X: 0.8}, true
		return s
	}
	now := time.Duration(0)
	for ; now <= 1500*ms; now += 5 * ms { // from 500 ms on inferred
		accept(t, track, sample(now, 0.8*now.Seconds()), now)
		wantDistrust(t, track, now, 0)
	}
	accept(t, track, sample(now, 0.4), now)
	wantDistrust(t, track, now, Jumped)
}

// OpenXR: or the last known pose is repeated; frozen says so within its time.
func TestLostTrackerRepeatsItself(t *testing.T) {
	c := plain()
	c.FrozenAfter = 200 * ms
	track := newTrack(t, c)
	run(t, track, 5*ms, 500*ms, 0.8)
	now := 505 * ms
	for ; now < 700*ms; now += 5 * ms {
		accept(t, track, at(now, 0.4), now)
		wantDistrust(t, track, now, 0)
	}
	for ; now <= 710*ms; now += 5 * ms {
		accept(t, track, at(now, 0.4), now)
	}
	wantDistrust(t, track, now, Frozen)
}
