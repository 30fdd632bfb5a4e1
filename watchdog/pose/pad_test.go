package pose

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
)

// onPad is 2.5 s of a tracker with its own yaw of 1.9 and place, y-up, with
// noise of half a millimetre.
func onPad() []Sample {
	rng := rand.New(rand.NewPCG(51, 52))
	var out []Sample
	q := Quat{W: math.Cos(0.95), Y: math.Sin(0.95)} // a yaw of 1.9 about +Y
	for now := time.Duration(0); now <= 2500*ms; now += 5 * ms {
		noise := randomVec(rng).Scale(0.0005)
		s := Sample{Stamp: int64(now), Position: Vec{3, 0.5, -2}.Add(noise), Orientation: q, Tracker: "cam"}
		if rng.IntN(2) == 0 { // the same attitude
			s.Orientation = Quat{-q.W, 0, -q.Y, 0}
		}
		out = append(out, s)
	}
	return out
}

func TestAlignPad(t *testing.T) {
	c := plain()
	c.Axes = YUp
	c.Mount.Offset = Vec{X: 0.1, Z: 0.05}
	o := PadOptions{Position: Vec{1, 2, 0.06}, Yaw: -0.4, PositionError: 0.02, YawError: 0.01, Reach: 5}
	a, err := AlignPad(onPad(), c, o)
	if err != nil {
		t.Fatal(err)
	}
	if !a.KeepsGravity() || a.Tracker != "cam" {
		t.Errorf("%+v", a)
	}
	// The heading's 5·0.01 alone is the least it can be, the sum with the
	// place's 0.02 the most.
	if a.Residual < 0.05 || a.Residual > 0.07 {
		t.Errorf("residual %v", a.Residual)
	}
	// With it, the vehicle stands on its pad.
	c.Align = a
	track := newTrack(t, c)
	var p Pose
	for _, s := range onPad() {
		p = accept(t, track, s, time.Duration(s.Stamp))
	}
	nearVec(t, "position", p.Position, o.Position, 0.003)
	near(t, "yaw", p.Orientation.Yaw(), -0.4, 1e-9)
	near(t, "tilt", p.Tilt, 0, 1e-9)
	wantDistrust(t, track, 2500*ms, 0)
}

func TestAlignPadRefuses(t *testing.T) {
	for _, c := range []struct {
		name  string
		spoil func(s []Sample) []Sample
		o     PadOptions
		want  string
	}{
		{"nothing", func([]Sample) []Sample { return nil }, PadOptions{}, "0 samples do not last"},
		{"short", func(s []Sample) []Sample { return s[:300] }, PadOptions{}, "do not last for 2s"},
		{"moves", func(s []Sample) []Sample { s[250].Position.X += 0.02; return s }, PadOptions{}, "moved by 0.02"},
		{"turns", func(s []Sample) []Sample { s[250].Orientation = Quat{W: math.Cos(0.97), Y: math.Sin(0.97)}; return s }, PadOptions{}, "and 2.3°"},
		{"restarts", func(s []Sample) []Sample { s[400].Tracker = "dev"; return s }, PadOptions{}, "restarted meanwhile"},
		{"gap", func(s []Sample) []Sample { return slices.Delete(s, 100, 121) }, PadOptions{}, "no pose for 110ms"},
		{"back", func(s []Sample) []Sample { s[9].Stamp = 0; return s }, PadOptions{}, "sample 10: stamp 0 ns is not after"},
		{"NaN", func(s []Sample) []Sample { s[9].Position.X = math.NaN(); return s }, PadOptions{}, "sample 10: pose message not-finite"},
		{"leans", func(s []Sample) []Sample {
			for i := range s {
				s[i].Orientation = Quat{W: math.Cos(0.25), X: math.Sin(0.25)}
			}
			return s
		}, PadOptions{}, "leans by 29°"},
		{"pad nowhere", func(s []Sample) []Sample { return s }, PadOptions{Position: Vec{X: math.Inf(1)}}, "must be finite"},
		{"NaN error", func(s []Sample) []Sample { return s }, PadOptions{YawError: math.NaN()}, "must be finite"},
	} {
		cfg := plain()
		cfg.Axes = YUp
		a, err := AlignPad(c.spoil(onPad()), cfg, c.o)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q in it", c.name, err, c.want)
		}
		if a != (Alignment{}) {
			t.Errorf("%s: refused, but gives %+v", c.name, a)
		}
	}
	if _, err := AlignPad(onPad(), Config{}, PadOptions{}); err == nil {
		t.Error("a config without max age is taken")
	}
}

// What the daemon would distrust, no alignment is measured from.
func TestNothingIsMeasuredFromWhatIsNotTrusted(t *testing.T) {
	for want, c := range map[string]struct {
		set   func(c *Config)
		spoil func(i int, s *Sample)
	}{
		"confidence of 0.40 is below the least of 0.50": {func(c *Config) { c.MinConfidence = 0.5 },
			func(i int, s *Sample) {
				s.Confidence, s.HasConfidence = 0.9, true
				if i == 250 {
					s.Confidence = 0.4
				}
			}},
		"tells no confidence": {func(c *Config) { c.MinConfidence = 0.5 }, func(int, *Sample) {}},
		"repeats itself to the last bit": {func(c *Config) { c.FrozenAfter = 200 * ms },
			func(i int, s *Sample) {
				if i > 100 && i < 150 {
					s.Position, s.Orientation = Vec{3, 0.5, -2}, Quat{W: math.Cos(0.95), Y: math.Sin(0.95)}
				}
			}},
		"its place repeats itself": {func(c *Config) { c.FrozenAfter = 200 * ms },
			func(i int, s *Sample) {
				if i > 100 && i < 200 {
					s.Position, s.Orientation = Vec{3, 0.5, -2}, FromEuler(0, 0, float64(i)*1e-6).Mul(Quat{W: math.Cos(0.95), Y: math.Sin(0.95)})
				}
			}},
		"pose-velocity": {func(c *Config) { c.VelocityTolerance = 0.5 },
			func(_ int, s *Sample) { s.Velocity, s.HasVelocity = Vec{X: 1}, true }},
		"pose-rate": {func(c *Config) { c.MinRateHz = 250 }, func(int, *Sample) {}},
	} {
		cfg := plain()
		cfg.Axes = YUp
		if _, err := AlignPad(onPad(), cfg, PadOptions{}); err != nil {
			t.Fatal(err)
		}
		c.set(&cfg)
		samples := onPad()
		for i := range samples {
			c.spoil(i, &samples[i])
		}
		a, err := AlignPad(samples, cfg, PadOptions{})
		if err == nil || !strings.Contains(err.Error(), want) || a != (Alignment{}) {
			t.Errorf("%v, want %q in it", err, want)
		}
	}
}
