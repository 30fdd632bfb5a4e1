package pose

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
)

// path feeds stamps and gives the last pose; where says position and attitude.
func path(t testing.TB, c Config, stamps []time.Duration, where func(i int, s float64) (Vec, Quat)) (p Pose) {
	t.Helper()
	track := newTrack(t, c)
	for i, stamp := range stamps {
		s := Sample{Stamp: int64(stamp)}
		s.Position, s.Orientation = where(i, stamp.Seconds())
		p = accept(t, track, s, stamp)
	}
	return p
}

func every(step, end time.Duration) (out []time.Duration) {
	for at := time.Duration(0); at <= end; at += step {
		out = append(out, at)
	}
	return out
}

// measured works out what follows from w's instants.
func measured(w *instants) {
	s1, s2, s3 := 0.0, 0.0, 0.0
	for _, t := range w.off {
		s1, s2, s3 = s1+t, s2+t*t, s3+t*t*t
	}
	w.measure(s1, s2, s3)
}

// Second opinion: gonum's stat.LinearRegression, over random unevenly spaced
// samples of which none is bad enough to be left out.
func TestSlopeAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	for range 2000 {
		s, w := newSlope(), newInstants()
		n := 2 + rng.IntN(30)
		var ts, xs, zs []float64
		for range n {
			at := -0.05 * rng.Float64()
			y := Vec{X: 3*at + 0.01*rng.NormFloat64(), Z: -at + 0.01*rng.NormFloat64()}
			ts, xs, zs = append(ts, at), append(xs, y.X), append(zs, y.Z)
			w.off, s.y = append(w.off, at), append(s.y, y)
		}
		measured(&w)
		s.fit(&w)
		_, bx := stat.LinearRegression(ts, xs, nil, false)
		_, bz := stat.LinearRegression(ts, zs, nil, false)
		nearVec(t, "slope", s.rate, Vec{X: bx, Z: bz}, 1e-9*(1+math.Abs(bx)+math.Abs(bz)))
	}
}

// worst uses leverages instead of fitting again: against leaving each sample
// out in turn.
func TestWorstAgainstLeavingOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	squares := func(ts []float64, ys []Vec) (sum float64) {
		s, w := slope{y: ys}, instants{off: ts}
		measured(&w)
		s.fit(&w)
		for i := range ts {
			e := ys[i].Sub(s.start).Sub(s.rate.Scale(ts[i]))
			sum += e.Dot(e)
		}
		return sum
	}
	found := 0
	for range 3000 {
		s, w := newSlope(), newInstants()
		n := robustCount + rng.IntN(10)
		bad, size := rng.IntN(n), 0.1*rng.Float64()
		for i := range n {
			at := -0.01 * float64(i)
			y := Vec{X: at, Y: 0.001 * rng.NormFloat64()}
			if i == bad {
				y.Y += size
			}
			w.off, s.y = append(w.off, at), append(s.y, y)
		}
		measured(&w)
		s.fit(&w)
		got, want, least := s.worst(&w), -1, squares(w.off, s.y)/robustRatio
		for i := range n {
			ts := append(append([]float64(nil), w.off[:i]...), w.off[i+1:]...)
			ys := append(append([]Vec(nil), s.y[:i]...), s.y[i+1:]...)
			if left := squares(ts, ys); left < least {
				want, least = i, left
			}
		}
		if got != want {
			t.Fatalf("worst is %d, leaving out says %d", got, want)
		}
		if got == bad {
			found++
		}
	}
	if found < 2000 {
		t.Errorf("the bad sample was found %d times of 3000", found)
	}
}

// Velocity and turn rate of a steady motion are exact, whatever the spacing.
func TestSteadyMotion(t *testing.T) {
	v, turn := Vec{1, -2, 0.5}, -1.3
	where := func(_ int, s float64) (Vec, Quat) { return v.Scale(s).Add(Vec{5, 5, 5}), FromYaw(turn * s) }
	uneven := []time.Duration{0, 19 * ms, 19*ms + 188*time.Microsecond, 61 * ms, 70 * ms, 84 * ms, 84*ms + 1, 120 * ms}
	for name, stamps := range map[string][]time.Duration{"even": every(5*ms, 200*ms), "uneven": uneven, "slow": every(90*ms, 900*ms)} {
		p := path(t, plain(), stamps, where)
		if !p.HasVelocity || !p.HasTurnRate {
			t.Errorf("%s: no velocity", name)
		}
		nearVec(t, name, p.Velocity, v, 1e-9)
		near(t, name+" turn rate", p.TurnRate, turn, 1e-9)
		near(t, name+" yaw", p.Orientation.Yaw(), math.Remainder(turn*stamps[len(stamps)-1].Seconds(), 2*math.Pi), 1e-12)
	}
}

// Under a constant acceleration the velocity is the true one of Lag ago, for
// even and uneven stamps alike: that is what Lag says.
func TestLagExplainsAcceleration(t *testing.T) {
	rng := rand.New(rand.NewPCG(25, 26))
	const a = 4.0
	for trial := range 300 {
		stamps := every(5*ms, 200*ms)
		if trial > 0 {
			stamps = stamps[:0]
			for at := time.Duration(0); at < 300*ms; at += time.Duration(1+rng.Int64N(30)) * ms {
				stamps = append(stamps, at)
			}
		}
		p := path(t, plain(), stamps, func(_ int, s float64) (Vec, Quat) { return Vec{X: a / 2 * s * s}, FromYaw(a / 2 * s * s) })
		end := stamps[len(stamps)-1].Seconds()
		near(t, "velocity", p.Velocity.X, a*(end-p.Lag.Seconds()), 1e-6)
		if p.Lag <= 0 || p.Lag > 100*ms {
			t.Errorf("lag %v", p.Lag)
		}
		if trial == 0 {
			near(t, "lag of an even window", p.Lag.Seconds(), 0.025, 1e-9)
		}
	}
}

// Noise: with n samples Δ apart the slope's standard deviation is
// σ·√(12/(n·(n²−1)))/Δ, the textbook figure of a least-squares line.
func TestNoiseOfVelocity(t *testing.T) {
	rng := rand.New(rand.NewPCG(27, 28))
	const sigma, n, step = 0.001, 11.0, 0.005
	var sum, count float64
	for range 2000 {
		p := path(t, plain(), every(5*ms, 100*ms), func(int, float64) (Vec, Quat) {
			return Vec{X: sigma * rng.NormFloat64()}, Quat{W: 1}
		})
		sum += p.Velocity.X * p.Velocity.X
		count++
	}
	want := sigma * math.Sqrt(12/(n*(n*n-1))) / step
	// Two thousand draws fix a standard deviation to 1.6 %; leaving out a
	// sample now and then may add a little.
	near(t, "noise", math.Sqrt(sum/count), want, 0.05*want)
}

// One sample 20 cm off, anywhere in the window, also the newest one.
func TestOneBadSample(t *testing.T) {
	for _, step := range []time.Duration{5 * ms, 20 * ms} {
		stamps := every(step, 400*ms)
		for bad := len(stamps) - 4; bad < len(stamps); bad++ {
			p := path(t, plain(), stamps, func(i int, s float64) (Vec, Quat) {
				if i == bad {
					return Vec{X: s, Z: 0.2}, FromYaw(0.5)
				}
				return Vec{X: s}, FromYaw(0.1 * s)
			})
			nearVec(t, "velocity", p.Velocity, Vec{X: 1}, 1e-9)
			near(t, "turn rate", p.TurnRate, 0.1, 1e-9)
			if p.Lag > 80*ms {
				t.Errorf("lag %v", p.Lag)
			}
		}
	}
}

func TestZeroWindowIsDifferenceOfTwo(t *testing.T) {
	c := plain()
	c.VelocityWindow = 0
	track := newTrack(t, c)
	if p := accept(t, track, at(0, 0), 0); p.HasVelocity {
		t.Error("a velocity from one sample")
	}
	p := accept(t, track, at(20*ms, 0.02), 20*ms)
	near(t, "velocity", p.Velocity.X, 1, 1e-12)
	near(t, "lag", p.Lag.Seconds(), 0.010, 1e-9)
	p = accept(t, track, at(30*ms, 0.05), 30*ms)
	near(t, "velocity", p.Velocity.X, 3, 1e-12)
}

func TestNoVelocityUntilHalfAWindow(t *testing.T) {
	track := newTrack(t, plain())
	for now := time.Duration(0); now <= 200*ms; now += 5 * ms {
		p := accept(t, track, at(now, now.Seconds()), now)
		if want := now >= 25*ms; p.HasVelocity != want || p.HasTurnRate != want {
			t.Errorf("at %v: velocity %v, turn rate %v", now, p.HasVelocity, p.HasTurnRate)
		}
		if !p.HasVelocity && (p.Velocity != Vec{} || p.Lag != 0 || p.TurnRate != 0) {
			t.Errorf("at %v: %+v", now, p)
		}
	}
}

// Denser than the history holds: the newest 256 samples are taken.
func TestDenseTracker(t *testing.T) {
	c := plain()
	c.VelocityWindow = time.Second
	p := path(t, c, every(ms/2, 2*time.Second), func(_ int, s float64) (Vec, Quat) { return Vec{X: s}, Quat{W: 1} })
	near(t, "velocity", p.Velocity.X, 1, 1e-9)
	near(t, "lag", p.Lag.Seconds(), 0.5*0.0005*255, 1e-6)
	c.VelocityWindow = 200 * ms
	p = path(t, c, every(ms/2, time.Second), func(_ int, s float64) (Vec, Quat) { return Vec{X: s}, Quat{W: 1} })
	near(t, "velocity", p.Velocity.X, 1, 1e-9)
	near(t, "lag", p.Lag.Seconds(), 0.5*0.0005*255, 1e-6)
}

// The tracker sits 0.2 m ahead of and 0.1 m above the body's centre, turned by
// 90°; the body circles and turns. Position, heading and velocity are the
// centre's, derived and reported alike.
func TestMountAndLeverArm(t *testing.T) {
	const turn = 2.0
	offset := Vec{0.2, 0, 0.1}
	c := plain()
	c.Mount = Mount{Offset: offset, Rotation: FromYaw(math.Pi / 2)}
	c.Align = YawAlignment(0.3, Vec{1, 2, 3}, 0)
	for _, reported := range []bool{false, true} {
		track := newTrack(t, c)
		var p Pose
		var body Quat
		for now := time.Duration(0); now <= 200*ms; now += 5 * ms {
			s := now.Seconds()
			body = FromYaw(turn * s)
			centre, v := Vec{X: s}, Vec{X: 1} // tracker frame
			smp := Sample{Stamp: int64(now), Position: centre.Add(body.Rotate(offset)), Orientation: body.Mul(FromYaw(math.Pi / 2))}
			if reported {
				smp.Velocity, smp.HasVelocity = v.Add(Vec{Z: turn}.Cross(body.Rotate(offset))), true
			}
			p = accept(t, track, smp, now)
			if reported && p.HasVelocity != (now >= 25*ms) {
				t.Errorf("at %v: velocity known is %v, but the lever arm needs the turn rate", now, p.HasVelocity)
			}
		}
		site := FromYaw(0.3)
		nearVec(t, "position", p.Position, site.Rotate(Vec{X: 0.2}).Add(Vec{1, 2, 3}), 1e-12)
		nearRotation(t, "attitude", p.Orientation, site.Mul(body), 1e-12)
		near(t, "turn rate", p.TurnRate, turn, 1e-9)
		nearVec(t, "velocity", p.Velocity, site.Rotate(Vec{X: 1}), 1e-9)
	}
}

// Without a lever arm the reported velocity is taken as it is, at once.
func TestReportedVelocity(t *testing.T) {
	c := plain()
	c.Axes = YUp
	track := newTrack(t, c)
	s := Sample{Stamp: 1, Orientation: Quat{W: 1}, Velocity: Vec{1, 2, 3}, HasVelocity: true}
	p := accept(t, track, s, 0)
	if want := (Vec{-3, -1, 2}); !p.HasVelocity || p.Velocity != want || p.Lag != 0 || p.HasTurnRate {
		t.Errorf("%+v, want velocity %v without lag", p, want)
	}
}

// A camera that looks forward and reports in a z-up world.
func TestOpticalMount(t *testing.T) {
	c := plain()
	c.Mount.Rotation = OpticalMount()
	// The camera's attitude with the body level, looking along y.
	q := FromYaw(math.Pi / 2).Mul(OpticalMount())
	p := path(t, c, []time.Duration{0}, func(int, float64) (Vec, Quat) { return Vec{}, q })
	near(t, "yaw", p.Orientation.Yaw(), math.Pi/2, 1e-15)
	near(t, "tilt", p.Tilt, 0, 1e-15)
}
