package sim

import (
	"math"
	"testing"
	"time"
)

// follow lets a pilot steer a plant for d, and returns the way's extremes.
func follow(p Plant, pilot Pilot, d time.Duration) (s State, fastest float64) {
	for now := time.Duration(0); now < d; now += ms {
		s = p.Step(ms, pilot.Control(now, p.State()))
		fastest = math.Max(fastest, s.Velocity.Len())
	}
	return s, fastest
}

// A flight takes off, comes to its last point and stays there, no faster than
// asked but for what its loop overshoots.
func TestFlight(t *testing.T) {
	m := NewMultirotor(DemoMultirotor(), 1, 1, 0, 1, ms)
	s, fastest := follow(m, NewFlight(Course{Points: []Vec{{1, 1, 1}, {4, 2, 1}, {4, 4, 1.5}}, Speed: 1, Accel: 1}), 15*time.Second)
	if d := s.Position.Sub(Vec{4, 4, 1.5}).Len(); d > 0.15 || s.Velocity.Len() > 0.1 {
		t.Errorf("ends %.3f m from its last point at %.3f m/s", d, s.Velocity.Len())
	}
	if fastest > 1.1 {
		t.Errorf("fastest %.3f m/s, asked 1", fastest)
	}
}

// A loop goes round for ever.
func TestFlightLoop(t *testing.T) {
	m := NewMultirotor(DemoMultirotor(), 1, 1, 0, 1, ms)
	s, _ := follow(m, NewFlight(Course{Points: []Vec{{1, 1, 1}, {3, 1, 1}, {3, 3, 1}, {1, 3, 1}}, Speed: 1, Accel: 1.5, Loop: true}), 30*time.Second)
	if s.Travelled < 20 || s.Velocity.Len() < 0.2 {
		t.Errorf("went %.1f m in 30 s, now %.2f m/s", s.Travelled, s.Velocity.Len())
	}
}

// A drive turns towards each point, and stands at the last.
func TestDriving(t *testing.T) {
	r := NewRover(DemoRover(), 9, 1, 0, ms)
	s, fastest := follow(r, NewDriving(Course{Points: []Vec{{X: 12, Y: 1}, {X: 12, Y: 3}, {X: 10, Y: 3}}, Speed: 0.8, Accel: 0.8}), 25*time.Second)
	if d := s.Position.Sub(Vec{10, 3, 0}).Flat().Len(); d > 0.1 || s.Velocity.Len() > 0.05 {
		t.Errorf("ends %.3f m from its last point at %.3f m/s", d, s.Velocity.Len())
	}
	if fastest > 0.8+1e-9 {
		t.Errorf("fastest %.3f m/s, asked 0.8", fastest)
	}
}

// A script plays its phrases from the moment it is first asked.
func TestScript(t *testing.T) {
	p := NewScript(Phrase{100 * ms, Control{Mode: Drive, Speed: 1}}, Phrase{50 * ms, Control{Mode: Lean}})
	for _, c := range []struct {
		now  time.Duration
		want Control
	}{
		{time.Second, Control{Mode: Drive, Speed: 1}}, {time.Second + 99*ms, Control{Mode: Drive, Speed: 1}},
		{time.Second + 100*ms, Control{Mode: Lean}}, {time.Second + 150*ms, Control{Mode: Drive}}, {time.Hour, Control{Mode: Drive}},
	} {
		if got := p.Control(c.now, State{}); got != c.want {
			t.Errorf("at %v: %+v, wanted %+v", c.now, got, c.want)
		}
	}
	if (Rest{}).Control(0, State{}) != (Control{}) {
		t.Error("a pilot at rest wants something")
	}
}

// An empty course is one that has been gone.
func TestEmptyCourse(t *testing.T) {
	c := NewFlight(Course{Loop: true}).Control(0, State{})
	if c.Velocity != (Vec{}) {
		t.Errorf("flies %v", c.Velocity)
	}
	if c := NewDriving(Course{}).Control(0, State{}); c.Speed != 0 {
		t.Errorf("drives %v", c.Speed)
	}
}
