package pose

import (
	"math/rand/v2"
	"testing"
	"time"
)

// randomConfig has every check on, tight enough for random samples to trip it.
func randomConfig(rng *rand.Rand) Config {
	c := DefaultConfig()
	c.MaxAge = time.Duration(20+rng.IntN(100)) * ms
	c.MinRateHz = float64(rng.IntN(60))
	c.MinConfidence = 0.3
	c.FrozenAfter = 30 * ms
	c.MaxLate = 20 * ms
	c.MaxClockStep = 15 * ms
	c.Settle = time.Duration(rng.IntN(300)) * ms
	c.MaxSpeed = 2 + 10*rng.Float64()
	return c
}

// Between the instants that Deadline names nothing changes, at them it already
// has, they lie ahead, and TrustedSince is the begin of the present stretch: by
// a plain record of every instant at which something could have changed.
func TestDeadlinesAndTrustedStretches(t *testing.T) {
	changed, trusted := 0, 0
	for seed := range uint64(60) {
		rng := rand.New(rand.NewPCG(71, seed))
		track := newTrack(t, randomConfig(rng))
		stamp, now, since := time.Duration(0), time.Duration(0), time.Duration(-1)
		record := func(at time.Duration, d Distrust) {
			switch {
			case d != 0:
				since = -1
			case since < 0:
				since = at
			}
			got, ok := track.TrustedSince(at)
			if ok != (d == 0) || ok && got != since {
				t.Fatalf("seed %d at %v: trusted since %v (%v), want %v (%v)", seed, at, got, ok, since, d)
			}
			if ok {
				trusted++
			}
		}
		x, quiet := 0.0, 0
		for range 400 {
			if quiet--; quiet < -60 {
				quiet = 60 // a calm stretch, so that trust is reached
			}
			step := 5 * ms
			if quiet < 0 && rng.IntN(8) == 0 {
				step = time.Duration(rng.IntN(200)) * ms
			}
			target := now + step
			now = passTime(t, track, now, target, rng, record, &changed)
			stamp += step
			x += 0.001
			s := at(stamp, x)
			s.Confidence, s.HasConfidence = 1, true
			if quiet < 0 {
				disturb(&s, &stamp, &x, rng)
			}
			before := track.reasons(now)
			var p Pose
			if f := track.Accept(&s, now, now, &p); f != nil {
				if track.reasons(now) != before {
					t.Fatalf("a refused sample changes %v to %v", before, track.reasons(now))
				}
				continue
			}
			if before != 0 {
				since = -1
			}
			record(now, track.Distrust(now))
		}
	}
	if changed < 1000 || trusted < 1000 {
		t.Errorf("%d changes at deadlines, %d trusted instants: the draws try too little", changed, trusted)
	}
}

// passTime goes from deadline to deadline up to the instant to.
func passTime(t *testing.T, track *Track, now, to time.Duration, rng *rand.Rand, record func(time.Duration, Distrust), changed *int) time.Duration {
	t.Helper()
	for {
		d, ok := track.Deadline()
		if ok && d <= now {
			t.Fatalf("deadline %v is not after %v", d, now)
		}
		end := to
		if ok {
			end = min(d-1, to)
		}
		is := track.reasons(now)
		for range 3 {
			if at := now + time.Duration(rng.Int64N(int64(end-now)+1)); track.reasons(at) != is {
				t.Fatalf("%v becomes %v at %v, before the deadline %v", is, track.reasons(at), at, d)
			}
		}
		if !ok || d > to {
			return to
		}
		now = d
		then := track.Distrust(d)
		if then != is {
			*changed++
		}
		record(d, then)
	}
}

// disturb makes something of the sample wrong.
func disturb(s *Sample, stamp *time.Duration, x *float64, rng *rand.Rand) {
	switch rng.IntN(12) {
	case 0:
		*x += rng.NormFloat64()
		s.Position.X = *x
	case 1:
		s.Confidence = rng.Float64()
	case 2:
		*stamp += time.Duration(rng.IntN(100)-30) * ms
		s.Stamp = max(0, int64(*stamp))
	case 3:
		s.Velocity, s.HasVelocity = randomVec(rng), true
	case 4:
		s.Orientation = Quat{W: 1.02}
	}
}

// Whatever samples come, a pose is finite, its tilt and lag in range, and a
// second track fed alike says the same to the last bit.
func TestAnySamplesGiveFiniteAndRepeatablePoses(t *testing.T) {
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(73, seed))
		c := randomConfig(rng)
		c.Mount = Mount{Offset: randomVec(rng), Rotation: randomQuat(rng)}
		c.Align = Alignment{Rotation: randomQuat(rng), Translation: randomVec(rng)}
		c.Axes = Axes(seed % 4)
		a, b := newTrack(t, c), newTrack(t, c)
		stamp, now := int64(0), time.Duration(0)
		for range 500 {
			stamp += rng.Int64N(1 << rng.IntN(30))
			now += time.Duration(rng.Int64N(1 << rng.IntN(28)))
			s := Sample{Stamp: stamp, Position: randomVec(rng).Scale(float64(int64(1) << rng.IntN(17))), Orientation: randomQuat(rng)}
			if rng.IntN(3) == 0 {
				s.Velocity, s.HasVelocity = randomVec(rng), true
			}
			var p, q Pose
			if (a.Accept(&s, now, now, &p) == nil) != (b.Accept(&s, now, now, &q) == nil) || p != q || a.Distrust(now) != b.Distrust(now) {
				t.Fatalf("seed %d: two tracks differ: %+v, %+v", seed, p, q)
			}
			if !p.Position.Finite() || !p.Velocity.Finite() || !p.Orientation.Finite() || !finite(p.TurnRate) || !finite(p.Orientation.Yaw()) ||
				!(p.Tilt >= 0 && p.Tilt <= 3.15) || p.Lag < 0 || p.Lag > 2*c.MaxAge+2*c.VelocityWindow {
				t.Fatalf("seed %d: %+v", seed, p)
			}
		}
	}
}
