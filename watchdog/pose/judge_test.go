package pose

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

func TestJump(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.JumpSlack, c.Settle = 3, 0.05, 300*ms
	track := newTrack(t, c)
	run(t, track, 10*ms, 200*ms, 1)
	accept(t, track, at(210*ms, 0.2+0.03+0.049), 210*ms)
	wantDistrust(t, track, 210*ms, 0)
	p := accept(t, track, at(220*ms, 5), 220*ms)
	wantDistrust(t, track, 220*ms, Jumped)
	if p.Position.X != 5 || p.HasVelocity {
		t.Errorf("a jump gives %+v: the place is told, a velocity across it is not", p)
	}
	// The new place becomes acceptable after Settle: a relocalisation.
	for now := 230 * ms; now < 520*ms; now += 10 * ms {
		p = accept(t, track, at(now, 5+(now-220*ms).Seconds()), now)
		wantDistrust(t, track, now, Jumped)
	}
	near(t, "velocity at the new place", p.Velocity.X, 1, 1e-9)
	wantDeadline(t, track, 520*ms)
	wantDistrust(t, track, 520*ms, 0)
	if since, ok := track.TrustedSince(520 * ms); !ok || since != 520*ms {
		t.Errorf("trusted since %v (%v), want 520ms", since, ok)
	}
}

func TestJumpWithoutSettleIsThatSampleAlone(t *testing.T) {
	c := plain()
	c.MaxSpeed = 3
	track := newTrack(t, c)
	run(t, track, 10*ms, 200*ms, 1)
	accept(t, track, at(210*ms, 5), 210*ms)
	wantDistrust(t, track, 210*ms, Jumped)
	wantDistrust(t, track, 290*ms, Jumped)
	accept(t, track, at(220*ms, 5), 295*ms)
	wantDistrust(t, track, 295*ms, 0)
}

func TestJumpAcrossGap(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.JumpSlack = 3, 0.05
	track := newTrack(t, c)
	run(t, track, 10*ms, 200*ms, 0)
	accept(t, track, at(1200*ms, 3.05), 1200*ms)
	wantDistrust(t, track, 1200*ms, 0)
	accept(t, track, at(2200*ms, 6.11), 2200*ms)
	wantDistrust(t, track, 2200*ms, Jumped)
}

// A slide at twice the greatest speed, each step of it within the slack.
func TestJumpInSmallSteps(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.JumpSlack = 3, 0.05
	track := newTrack(t, c)
	run(t, track, 5*ms, 200*ms, 0)
	var moved float64
	for i := 1; ; i++ {
		now := 200*ms + time.Duration(i)*5*ms
		moved = 6 * (now - 200*ms).Seconds()
		accept(t, track, at(now, moved), now)
		if track.Distrust(now).Has(Jumped) {
			break
		}
		if i > 10 {
			t.Fatal("not seen")
		}
	}
	if moved > 0.15 {
		t.Errorf("seen after %v m", moved)
	}
}

// As in the published drone recording: two stamps 0.19 ms apart, 3 to 4 mm
// apart in space, which would be 15 to 20 m/s.
func TestBunchedStampsAreNoJump(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.MaxAccel, c.JumpSlack = 1.5, 10, 0.002
	track := newTrack(t, c)
	run(t, track, 20*ms, 400*ms, 0.2)
	accept(t, track, at(400*ms+188*time.Microsecond, 0.08+0.0038), 401*ms)
	wantDistrust(t, track, 401*ms, 0)
}

func TestSharpTurnIsJump(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.MaxAccel, c.JumpSlack = 10, 5, 0.02
	track := newTrack(t, c)
	run(t, track, 10*ms, 200*ms, 1)
	accept(t, track, at(210*ms, 0.21+0.0205), 210*ms) // ½·5·0.01² + 5·0.025·0.01 = 1.5 mm on top of the slack
	wantDistrust(t, track, 210*ms, 0)
	accept(t, track, at(220*ms, 0.22-0.03), 220*ms) // back by 3 cm: 3 m/s would allow it
	wantDistrust(t, track, 220*ms, Jumped)
}

func TestDisagrees(t *testing.T) {
	c := plain()
	c.VelocityTolerance, c.Settle = 0.3, 200*ms
	track := newTrack(t, c)
	with := func(now time.Duration, v float64) {
		s := at(now, now.Seconds())
		s.Velocity, s.HasVelocity = Vec{X: v}, true
		accept(t, track, s, now)
	}
	for now := time.Duration(0); now < time.Second; now += 10 * ms {
		with(now, 1.2)
		wantDistrust(t, track, now, 0)
	}
	// Frozen at zero while the position moves on: seen within the window.
	now := time.Second
	for ; track.Distrust(now) == 0; now += 10 * ms {
		with(now, 0)
		if now > 1060*ms {
			t.Fatal("not seen within the window")
		}
	}
	wantDistrust(t, track, now, Disagrees)
	for end := now + 60*ms; now < end; now += 10 * ms {
		with(now, 1)
	}
	wantDistrust(t, track, now, Disagrees) // held for Settle
	for end := now + 200*ms; now < end; now += 10 * ms {
		with(now, 1)
	}
	wantDistrust(t, track, now, 0)
}

func TestClockStep(t *testing.T) {
	c := plain()
	c.MaxClockStep, c.Settle, c.MaxAge = 50*ms, 100*ms, 500*ms
	track := newTrack(t, c)
	run(t, track, 10*ms, 200*ms, 1)
	accept(t, track, at(310*ms, 0.21), 210*ms) // 100 ms ahead at once
	wantDistrust(t, track, 210*ms, ClockStep)
	accept(t, track, at(320*ms, 0.22), 220*ms)
	wantDistrust(t, track, 309*ms, ClockStep)
	wantDeadline(t, track, 310*ms)
	wantDistrust(t, track, 310*ms, 0)
}

// A backlog that drains brings stamps nearer step by step: no clock stepped.
func TestDrainIsNoClockStep(t *testing.T) {
	c := plain()
	c.MaxClockStep = 50 * ms
	track := newTrack(t, c)
	run(t, track, 10*ms, 200*ms, 1)
	now := 500 * ms
	for stamp := 210 * ms; stamp <= 500*ms; stamp += 10 * ms {
		accept(t, track, at(stamp, stamp.Seconds()), now)
		if d := track.Distrust(now); d.Has(ClockStep) {
			t.Fatalf("at stamp %v: %v", stamp, d)
		}
		now += ms / 2
	}
}

// TestCalmChangesNothing: what a calm way saves the jump test is only work: with
// steps about as quick as the vehicle can go, slow stretches, bunched stamps and
// creeps, it says what comparing every pair says.
func TestCalmChangesNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 42))
	calm, jumps := 0, 0
	for range 40 {
		c := plain()
		c.MaxSpeed, c.JumpSlack = 2, 0.02*rng.Float64()
		track := newTrack(t, c)
		stamp, x, pace := time.Second, 0.0, 0.0
		for range 500 {
			step := time.Duration(1+rng.IntN(12)) * ms
			if rng.IntN(60) == 0 {
				pace = []float64{0, 0.5, 1.99, 2, 2.1, 4}[rng.IntN(6)]
			}
			stamp, x = stamp+step, x+pace*step.Seconds()*(0.99+0.02*rng.Float64())
			s := at(stamp, x)
			e := entry{stamp: s.Stamp, position: s.Position}
			tooFast := func(from, to *entry) bool {
				dt := max(time.Duration(to.stamp-from.stamp), minJumpStep).Seconds()
				return to.position.Sub(from.position).Norm() > c.MaxSpeed*dt+c.JumpSlack
			}
			far := track.begun && tooFast(&track.at, &e)
			for i := 1; i < track.hist.count; i++ {
				old := track.hist.back(i)
				far = far || time.Duration(e.stamp-old.stamp) <= jumpReach && tooFast(old, &e)
			}
			if track.begun && !far && track.calm(e.stamp, apart2(&track.at.position, &e.position), time.Duration(e.stamp-track.at.stamp)) {
				calm++
			}
			accept(t, track, s, stamp)
			if got := track.Distrust(stamp).Has(Jumped); got != far {
				t.Fatalf("at %v: jumped %v, every pair says %v", stamp, got, far)
			}
			if far {
				jumps++
			}
		}
	}
	if calm < 2000 || jumps < 100 {
		t.Errorf("calm %d times, %d jumps: too few to prove anything", calm, jumps)
	}
}

// A velocity that is not in every message cannot be compared with the motion, and
// must not pass for it: here the tracker moves at 2 m/s and says that it stands.
func TestVelocityToldNowAndThenIsNotBelieved(t *testing.T) {
	for _, every := range []int{2, 4, 10} {
		for _, most := range []int{1, every - 1} { // of as many messages in a row, how many tell one
			c := plain()
			c.VelocityTolerance = 0.5
			track := newTrack(t, c)
			for i := range 200 {
				now := time.Duration(i) * 5 * ms
				s := at(now, 2*now.Seconds())
				s.HasVelocity = i%every < most
				if p := accept(t, track, s, now); i > 20 && math.Abs(p.Velocity.X-2) > 1e-6 {
					t.Fatalf("%d of %d tell one: message %d is taken at %v m/s", most, every, i, p.Velocity.X)
				}
			}
		}
	}
}
