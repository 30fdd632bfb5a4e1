package watchdog

import (
	"math"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// stairHead is a slow zone across the far end of the cage, from x = 5 m.
func stairHead(speed float64) SlowZone {
	return SlowZone{
		Shape: zones.Shape{Name: "stair head", Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(5, 0, 7, 5)}},
		Limit: Limit{On: true, Max: speed, Caution: 0.9 * speed, Confirm: 1, Answer: ActStop},
	}
}

func slowConfig(t testing.TB, speed float64) Config {
	c := testConfig(t)
	c.Slow = []SlowZone{stairHead(speed)}
	return c
}

// TestSlowZone: a vehicle that is too fast comes to rest before the slow zone;
// one that is slow enough goes in; outside, and too fast only there, nothing
// holds.
func TestSlowZone(t *testing.T) {
	for _, c := range []struct {
		v    float64
		far  time.Duration
		stop bool
	}{{0.39, 2 * time.Second, false}, {0.41, 3 * time.Second, true}, {1.2, 2 * time.Second, true}, {1.2, 500 * ms, false}} {
		r := newRig(t, slowConfig(t, 0.40))
		r.p = pose.Vec{X: 4, Y: 3.5, Z: 1}
		if c.v > 1 {
			r.p.X = 2.5
		}
		r.started()
		r.v.X = c.v
		for end := r.now + c.far; r.now < end && r.granted(); {
			r.move(5*ms, pose.Vec{})
		}
		if r.granted() == c.stop {
			t.Errorf("%v m/s for %v: granted %v at x = %.3f m", c.v, c.far, r.granted(), r.p.X)
		}
		if !c.stop {
			continue
		}
		r.wantLatched("zone-speed")
		r.move(r.cfg.Stopping.Reaction, pose.Vec{})
		r.brake(3)
		if edge := r.p.X + r.cfg.Radius; !(edge < 5) {
			t.Errorf("%v m/s: rests with its edge at x = %.3f m, inside the slow zone", c.v, edge)
		}
	}
}

// TestSlowZoneUnknownSpeed: unknown is not slow.
func TestSlowZoneUnknownSpeed(t *testing.T) {
	r := newRig(t, slowConfig(t, 0.40))
	r.p = pose.Vec{X: 5.5, Y: 2.5, Z: 1}
	r.started()
	r.quiet = true
	r.tilt = 1
	r.g.track.Realign(pose.Alignment{}) // forgets what a velocity could be derived from
	r.now += 5 * ms
	r.pose()
	s := r.g.Snapshot()
	if s.Go || !strings.Contains(strings.Join(words(s.Latched), " "), "zone-speed") {
		t.Errorf("go %v, latched %v", s.Go, words(s.Latched))
	}
	g := r.g
	g.observeValue(g.slow0+0, math.NaN(), r.now)
	if !g.subjects[g.slow0].holding {
		t.Error("not a number counts as slow")
	}
}

// TestSlowZoneConfig: what is no usable slow zone is refused, and only tighter
// ones are taken while running.
func TestSlowZoneConfig(t *testing.T) {
	for what, bad := range map[string]func(z *SlowZone){
		"no limit": func(z *SlowZone) { z.Limit.On = false },
		"NaN":      func(z *SlowZone) { z.Limit.Max = math.NaN() },
		"caution":  func(z *SlowZone) { z.Limit.Caution = 9 },
		"answer":   func(z *SlowZone) { z.Limit.Answer = ActNone },
		"shape":    func(z *SlowZone) { z.Shape.Rings = nil },
	} {
		c := slowConfig(t, 0.4)
		bad(&c.Slow[0])
		if _, err := New(c); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
	c := testConfig(t)
	c.Slow = make([]SlowZone, MaxSlow+1)
	if _, err := New(c); err == nil {
		t.Error("too many are taken")
	}
	for what, change := range map[string]struct {
		to func(c *Config)
		ok bool
	}{
		"slower":  {func(c *Config) { c.Slow = []SlowZone{stairHead(0.3)} }, true},
		"faster":  {func(c *Config) { c.Slow = []SlowZone{stairHead(0.5)} }, false},
		"gone":    {func(c *Config) { c.Slow = nil }, false},
		"smaller": {func(c *Config) { c.Slow[0].Shape.Rings = [][]zones.XY{box(5.1, 0, 7, 5)} }, false},
		"larger":  {func(c *Config) { c.Slow[0].Shape.Rings = [][]zones.XY{box(4.5, 0, 7, 5)} }, true},
	} {
		r := newRig(t, slowConfig(t, 0.4)).started()
		c := slowConfig(t, 0.4)
		change.to(&c)
		if _, err := r.g.Tighten(c, r.now); (err == nil) != change.ok {
			t.Errorf("%s: %v", what, err)
		}
	}
	// A slow zone that comes while running is judged at once.
	r := newRig(t, testConfig(t))
	r.p.X = 3.5
	r.started()
	r.v.X = 1
	r.move(1000*ms, pose.Vec{})
	if _, err := r.g.Tighten(slowConfig(t, 0.4), r.now); err != nil {
		t.Fatal(err)
	}
	r.wantLatched("zone-speed")
}
