package watchdog

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// motion is one admissible way on from a pose: what the tracker may have got
// wrong, and what the vehicle may do until it rests.
type motion struct {
	at, v  pose.Vec // true position and velocity
	until  float64  // s, from now until it brakes
	push   pose.Vec // m/s², what it gains meanwhile, first half
	push2  pose.Vec // second half
	brake  float64  // m/s², horizontal
	vbrake float64  // m/s², vertical
}

// ball is a random vector of at most r in the plane, or in space.
func ball(rnd *rand.Rand, r float64) pose.Vec {
	for {
		p := pose.Vec{X: 2*rnd.Float64() - 1, Y: 2*rnd.Float64() - 1}
		if n := p.Norm(); n <= 1 && n > 0 {
			k := r
			if rnd.IntN(2) == 0 {
				k = r / n // the extreme is what matters
			}
			return p.Scale(k)
		}
	}
}

func upDown(rnd *rand.Rand, r float64) float64 {
	if rnd.IntN(2) == 0 {
		return math.Copysign(r, rnd.Float64()-0.5)
	}
	return r * (2*rnd.Float64() - 1)
}

// admissible draws a motion that the declaration s allows from pose p.
func admissible(rnd *rand.Rand, c *Config, p *pose.Pose, assumed, t float64) motion {
	s := &c.Stopping
	a, _ := OnSlope(s.Deceleration, s.Slope)
	errV := s.VelocityErr
	if !p.HasVelocity {
		errV += assumed
	}
	m := motion{at: p.Position.Add(ball(rnd, s.PositionErr)), v: p.Velocity.Add(ball(rnd, errV)),
		until: t * rnd.Float64(), push: ball(rnd, s.Acceleration), push2: ball(rnd, s.Acceleration),
		brake: a * (1 + 3*rnd.Float64()*rnd.Float64()), vbrake: s.Vertical * (1 + 3*rnd.Float64()*rnd.Float64())}
	if rnd.IntN(2) == 0 {
		m.until, m.brake, m.vbrake, m.push2 = t, a, s.Vertical, m.push
	}
	if c.Kind == Multirotor {
		m.at.Z += upDown(rnd, s.PositionErr)
		m.v.Z += upDown(rnd, errV)
		m.push.Z, m.push2.Z = upDown(rnd, s.Acceleration), upDown(rnd, s.Acceleration)
	}
	return m
}

// run integrates m in small steps and calls visit at each. Every step is exact
// for a constant acceleration, so the result is too.
func (m *motion) run(visit func(p pose.Vec) bool) {
	const dt = 0.02
	p, v := m.at, m.v
	for t := 0.0; t < m.until; t += dt {
		h := min(dt, m.until-t)
		a := m.push
		if t > m.until/2 {
			a = m.push2
		}
		p = p.Add(v.Scale(h)).Add(a.Scale(h * h / 2))
		v = v.Add(a.Scale(h))
		if !visit(p) {
			return
		}
	}
	for v != (pose.Vec{}) {
		flat := math.Hypot(v.X, v.Y)
		h, next := slow(flat, m.brake, dt)
		hz, nextZ := slow(math.Abs(v.Z), m.vbrake, dt)
		if flat > 0 {
			p.X += v.X / flat * h
			p.Y += v.Y / flat * h
			v.X, v.Y = v.X/flat*next, v.Y/flat*next
		}
		p.Z += math.Copysign(hz, v.Z)
		v.Z = math.Copysign(nextZ, v.Z)
		if nextZ == 0 {
			v.Z = 0
		}
		if !visit(p) {
			return
		}
	}
}

// slow is how far and how fast a thing of speed v gets in dt while it brakes.
func slow(v, a, dt float64) (way, left float64) {
	if v <= a*dt {
		return v * v / (2 * a), 0
	}
	return v*dt - a*dt*dt/2, v - a*dt
}

// outOf is how far the body's centre p is outside of what the sweep allows it,
// m: a disc that grows on its way, and a band of height. Written from the words
// of zones.Sweep, without its code: the least over all discs on the way, found by
// halving, since it is convex along it.
func outOf(c *Config, r *Reach, p pose.Vec) float64 {
	w := &r.Sweep
	disc := func(f float64) float64 {
		x, y := p.X-w.From.X-f*(w.To.X-w.From.X), p.Y-w.From.Y-f*(w.To.Y-w.From.Y)
		return math.Sqrt(x*x+y*y) - (w.Radius + f*w.Grow - c.Radius)
	}
	lo, hi := 0.0, 1.0
	for range 40 {
		if a, b := lo+(hi-lo)/3, hi-(hi-lo)/3; disc(a) < disc(b) {
			hi = b
		} else {
			lo = a
		}
	}
	flat := math.Min(disc(lo), math.Min(disc(0), disc(1)))
	up := p.Z + c.Height/2 - math.Max(w.From.Z, w.To.Z) - w.Above
	down := math.Min(w.From.Z, w.To.Z) - w.Below - (p.Z - c.Height/2)
	return math.Max(flat, math.Max(up, down))
}

// escapes runs motions and counts those that leave the reach. weak is the share
// of the declared braking that the vehicles really have.
func escapes(t *testing.T, runs int, weak float64) (count int, worst float64) {
	t.Helper()
	rnd := rand.New(rand.NewPCG(1385, 7))
	base := testConfig(t)
	base.HasGround = false
	for range runs {
		c := base
		c.Kind = Kind(1 + rnd.IntN(2))
		c.Stopping = Stopping{Predict: true, Reaction: time.Duration(rnd.IntN(400)) * ms,
			Deceleration: 0.5 + 6*rnd.Float64(), Vertical: 0.5 + 6*rnd.Float64(), Acceleration: 3 * rnd.Float64() * float64(rnd.IntN(2)),
			Slope: 0.04 * rnd.Float64(), PositionErr: 0.1 * rnd.Float64(), VelocityErr: 0.3 * rnd.Float64() * float64(rnd.IntN(2))}
		p := pose.Pose{Position: pose.Vec{Z: 10}, HasVelocity: rnd.IntN(8) > 0, Lag: time.Duration(rnd.IntN(50)) * ms}
		assumed := 2 * rnd.Float64()
		if p.HasVelocity {
			p.Velocity = ball(rnd, 3*rnd.Float64())
			if c.Kind == Multirotor {
				p.Velocity.Z = 3 * (rnd.Float64() - 0.5)
			}
		}
		age := time.Duration(rnd.IntN(100)) * ms
		var r Reach
		c.reachOf(&p, delays{age: age}, assumed, &r)
		m := admissible(rnd, &c, &p, assumed, r.Reaction)
		m.brake, m.vbrake = m.brake*weak, m.vbrake*weak
		far := math.Inf(-1)
		m.run(func(q pose.Vec) bool {
			far = math.Max(far, outOf(&c, &r, q))
			return true
		})
		if far > 1e-6 { // what the halving leaves open
			count++
		}
		worst = math.Max(worst, far)
	}
	return count, worst
}

// TestReachHoldsEveryMotion: no admissible motion leaves the reach. And a check
// that could not fail would show nothing: with brakes 20 % weaker than declared
// some must leave it.
func TestReachHoldsEveryMotion(t *testing.T) {
	runs := 20_000
	if testing.Short() {
		runs = 2_000
	}
	if n, worst := escapes(t, runs, 1); n > 0 {
		t.Errorf("%d of %d motions leave the reach, by up to %.6f m", n, runs, worst)
	} else {
		t.Logf("0 of %d motions leave the reach; the furthest comes within %.1e m of its edge", runs, math.Abs(worst))
	}
	if n, worst := escapes(t, runs/10, 0.8); n == 0 {
		t.Error("with brakes 20 % weaker than declared none leaves the reach: the check is blind")
	} else {
		t.Logf("with brakes 20 %% weaker than declared %d of %d leave it, by up to %.3f m", n, runs/10, worst)
	}
}

// A reach is written over whatever was there.
func TestReachIsWrittenWhole(t *testing.T) {
	for _, predict := range []bool{true, false} {
		c := testConfig(t)
		c.Stopping.Predict = predict
		p := pose.Pose{Position: pose.Vec{X: 1, Y: 2, Z: 1}, Velocity: pose.Vec{X: 1, Z: -0.5}, HasVelocity: true}
		var want Reach
		c.reachOf(&p, delays{age: 5 * ms}, 0, &want)
		got := Reach{Sweep: zones.Sweep{From: zones.XYZ{X: 9, Y: 9, Z: 9}, To: zones.XYZ{X: 9, Y: 9, Z: 9}, Radius: 9, Grow: 9, Below: 9, Above: 9},
			Reaction: 9, Along: 9, Up: 9, Down: 9}
		if c.reachOf(&p, delays{age: 5 * ms}, 0, &got); got != want {
			t.Errorf("%+v over another, %+v anew", got, want)
		}
	}
}
