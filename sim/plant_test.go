package sim

import (
	"math"
	"testing"
	"time"
)

const ms = time.Millisecond

// near fails unless got is within tol of want.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

func steps(p Plant, d time.Duration, c Control) State {
	for range d / ms {
		p.Step(ms, c)
	}
	return p.State()
}

// Free fall without drag: z = z0 - g·t²/2, v = -g·t (Galilei; any mechanics
// textbook). Heun is exact for constant acceleration.
func TestMultirotorFreeFall(t *testing.T) {
	m := NewMultirotor(MultirotorSpec{Thrust: 20}, 0, 0, 0, 1, ms)
	m.Place(Vec{Z: 100}, Vec{})
	s := steps(m, 2*time.Second, Control{Mode: Cut})
	near(t, "height, m", s.Position.Z, 100-Gravity*4/2, 1e-9)
	near(t, "speed, m/s", s.Velocity.Z, -Gravity*2, 1e-9)
	if s.Grounded {
		t.Error("grounded in the air")
	}
}

// Terminal speed under quadratic drag k: v_t = √(g/k), and on the way there
// v = v_t·tanh(g·t/v_t) (closed form of v' = g - k·v²; e.g. Timmerman and van
// der Weele, Am. J. Phys. 67, 538, 1999, named from memory).
func TestMultirotorTerminalSpeed(t *testing.T) {
	const k = 0.2
	m := NewMultirotor(MultirotorSpec{Thrust: 20, DragAir: k}, 0, 0, 0, 1, ms)
	m.Place(Vec{Z: 1000}, Vec{})
	vt := math.Sqrt(Gravity / k)
	s := steps(m, time.Second, Control{Mode: Cut})
	near(t, "speed after 1 s", -s.Velocity.Z, vt*math.Tanh(Gravity/vt), 1e-5)
	s = steps(m, 9*time.Second, Control{Mode: Cut})
	near(t, "terminal speed", -s.Velocity.Z, vt, 1e-5)
}

// Linear drag c: v = (g/c)(1 - e^(-c·t)), the first-order lag.
func TestMultirotorLinearDrag(t *testing.T) {
	const c = 0.5
	m := NewMultirotor(MultirotorSpec{Thrust: 20, Drag: c}, 0, 0, 0, 1, ms)
	m.Place(Vec{Z: 1000}, Vec{})
	s := steps(m, 2*time.Second, Control{Mode: Cut})
	near(t, "speed after 2 s", -s.Velocity.Z, Gravity/c*(1-math.Exp(-c*2)), 1e-5)
}

// Tilt follows a wanted tilt as a first-order lag, 1 - e^(-t/τ) of the way:
// 63.2 % after τ, 95.0 % after 3τ (any control textbook).
func TestMultirotorTiltLag(t *testing.T) {
	const tau = 80 * ms
	m := NewMultirotor(MultirotorSpec{Thrust: 40, Tilt: 0.6, TiltLag: tau, Delay: 20 * ms}, 0, 0, 0, 1, ms)
	m.Place(Vec{Z: 10}, Vec{})
	c := Control{Mode: Lean, Lean: Vec{X: 0.3}}
	s := steps(m, 20*ms, Control{Mode: Lean})
	near(t, "tilt before", s.Orientation.Tilt(), 0, 1e-12)
	s = steps(m, 20*ms, c)
	near(t, "tilt within the dead time", s.Orientation.Tilt(), 0, 1e-12)
	s = steps(m, tau, c)
	near(t, "tilt after τ", s.Orientation.Tilt(), 0.3*(1-math.Exp(-1)), 1e-9)
	s = steps(m, 2*tau, c)
	near(t, "tilt after 3τ", s.Orientation.Tilt(), 0.3*(1-math.Exp(-3)), 1e-9)
	up := s.Orientation.Up()
	if up.X <= 0 || math.Abs(up.Y) > 1e-12 {
		t.Errorf("leans towards %v, wanted +x", up)
	}
}

// Level flight at a steady lean Θ without drag accelerates by g·tan Θ
// (JARUS SORA 2.5 annex A, the structure of S_CM, REFERENCES §1).
func TestMultirotorLeanAccelerates(t *testing.T) {
	lean := 20 * math.Pi / 180
	m := NewMultirotor(MultirotorSpec{Thrust: 40, Tilt: 1}, 0, 0, 0, 1, ms)
	m.Place(Vec{Z: 10}, Vec{})
	s := steps(m, time.Second, Control{Mode: Lean, Lean: Vec{Y: lean}})
	near(t, "speed after 1 s", s.Velocity.Y, Gravity*math.Tan(lean), 1e-6)
	near(t, "height", s.Position.Z, 10, 1e-6)
}

// The distance of a braking at lean Θ from V0 is V0²/(2·g·tan Θ) (SORA S_CM,
// 2 m/s and 20°: 0.5601 m) plus what the lags and the soft end of the braking
// cost: V0 times dead time and tilt lag, and at most V0 over the loop's gain.
func TestMultirotorBrakes(t *testing.T) {
	spec := MultirotorSpec{Thrust: 30, Brake: 20 * math.Pi / 180, TiltLag: 60 * ms, MotorLag: 40 * ms, Delay: 20 * ms, Descent: 1}
	m := NewMultirotor(spec, 0, 0, 0, 1, ms)
	m.Place(Vec{Z: 2}, Vec{X: 2})
	s := steps(m, 4*time.Second, Control{})
	if !s.Still() {
		t.Errorf("still moving at %.3f m/s", s.Velocity.Len())
	}
	ideal := 0.5601
	if s.Position.X < ideal || s.Position.X > ideal+2*0.08+2/DefaultGain {
		t.Errorf("stopped after %.3f m, ideal %.4f m", s.Position.X, ideal)
	}
	near(t, "height held", s.Position.Z, 2, 0.05)
}

// A landing descends no faster than Landing, touches down and parks.
func TestMultirotorLands(t *testing.T) {
	spec := DemoMultirotor()
	m := NewMultirotor(spec, 0, 0, 0, 1, ms)
	m.Place(Vec{Z: 1.5}, Vec{X: 1})
	worst := 0.0
	for range 6000 {
		s := m.Step(ms, Control{Mode: Land})
		worst = math.Max(worst, -s.Velocity.Z)
	}
	s := m.State()
	if !s.Grounded || !s.Still() {
		t.Fatalf("after 6 s: %+v", s)
	}
	if worst > spec.Landing*1.05 || s.Impact > spec.Landing*1.05 {
		t.Errorf("descent %.3f, impact %.3f m/s, landing speed %.3f", worst, s.Impact, spec.Landing)
	}
	if s = steps(m, time.Second, Control{Mode: Drive}); !s.Grounded {
		t.Error("took off without being asked to climb")
	}
	if s = steps(m, 2*time.Second, Control{Mode: Drive, Velocity: Vec{Z: 0.5}}); s.Position.Z < 0.5 {
		t.Errorf("did not take off again: height %.2f m", s.Position.Z)
	}
}

// Constant deceleration: d = v·t + v²/(2a), REFERENCES §1, worked figure
// v = 0.8, t = 0.25, a = 1.0: 0.520 m.
func TestRoverBrakes(t *testing.T) {
	r := NewRover(RoverSpec{Speed: 2, Acceleration: 4, Braking: 1, Turn: 1, TurnAccel: 1, Delay: 250 * ms}, 0, 0, 0, ms)
	s := steps(r, 2*time.Second, Control{Mode: Drive, Speed: 0.8})
	near(t, "speed", s.Velocity.X, 0.8, 1e-12)
	from := s.Position.X
	s = steps(r, 2*time.Second, Control{})
	near(t, "stopping distance, m", s.Position.X-from, 0.520, 1e-6)
	near(t, "speed at the end", s.Velocity.Len(), 0, 1e-12)
}

// The same for the AASHTO row 50 km/h (REFERENCES §1: t 2.5 s, a 3.4 m/s²,
// exact SI sum 63.090 m).
func TestRoverBrakesAASHTO(t *testing.T) {
	v := 50 / 3.6
	r := NewRover(RoverSpec{Speed: 20, Acceleration: 5, Braking: 3.4, Delay: 2500 * ms}, 0, 0, 0, ms)
	s := steps(r, 10*time.Second, Control{Mode: Drive, Speed: v})
	from := s.Position.X
	s = steps(r, 10*time.Second, Control{})
	near(t, "stopping distance, m", s.Position.X-from, 63.090, 1e-3)
}

// A steady turn is a circle of radius v/ω: back at the start after 2π/ω.
func TestRoverCircle(t *testing.T) {
	r := NewRover(RoverSpec{Speed: 2, Acceleration: 1e6, Braking: 1e6, Turn: 2, TurnAccel: 1e6}, 1, 2, 0.3, ms)
	c := Control{Mode: Drive, Speed: 1, Turn: math.Pi / 2}
	s := steps(r, 2*time.Second, c) // half way round, on the far side
	near(t, "diameter, m", s.Position.Sub(Vec{1, 2, 0}).Len(), 2/(math.Pi/2), 2e-3)
	s = steps(r, 2*time.Second, c)
	near(t, "x", s.Position.X, 1, 2e-3)
	near(t, "y", s.Position.Y, 2, 2e-3)
	near(t, "path, m", s.Travelled, 4, 1e-2)
}

// Steering: ω = v·tan(steer)/wheelbase at most, so no turning on the spot.
func TestRoverSteers(t *testing.T) {
	spec := RoverSpec{Speed: 2, Acceleration: 10, Braking: 10, Turn: 9, TurnAccel: 100, Wheelbase: 0.5, Steer: 0.5}
	r := NewRover(spec, 0, 0, 0, ms)
	s := steps(r, time.Second, Control{Mode: Drive, Turn: 1})
	near(t, "turn at rest", yawOf(s.Orientation), 0, 0)
	s = steps(r, time.Second, Control{Mode: Drive, Speed: 1, Turn: 9})
	near(t, "turn rate", s.TurnRate, math.Tan(0.5)/0.5, 1e-9)
}

func TestRoverBrakeFade(t *testing.T) {
	stop := func(fade float64) float64 {
		r := NewRover(RoverSpec{Speed: 3, Acceleration: 100, Braking: 1, Fade: fade}, 0, 0, 0, ms)
		from := steps(r, time.Second, Control{Mode: Drive, Speed: 2}).Position.X
		return steps(r, 9*time.Second, Control{}).Position.X - from
	}
	near(t, "without fade", stop(0), 2, 1e-2) // v²/(2a)
	// v' = -(1 - t/4): at rest when t - t²/8 = 2, t = 4 - √0 = 4·(1-√(1-1)),
	// that is t = 4 without the floor of a third; with it, later than 2 s and
	// further than 2 m.
	if d := stop(0.25); d < 2.3 || d > 4 {
		t.Errorf("with fade %.3f m", d)
	}
}
