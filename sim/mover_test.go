package sim

import (
	"math"
	"testing"
	"time"
)

// A Mover against closed forms: v·t + v²/2a from the halt, exactly v/a long, and
// ½at² while it gains speed. Uniformly accelerated motion, any textbook.
func TestMoverStopsAsDeclared(t *testing.T) {
	spec := MoverSpec{Body: Body{0.2, 0.1, 0.1}, Acceleration: 2, Braking: 3, Vertical: 1.5, Delay: 40 * time.Millisecond}
	m := NewMover(spec, Vec{Z: 5}, Vec{X: 1.2, Y: 0.9, Z: 0.6}, Tick)
	rest := 0
	for k := 1; k <= 2000 && rest == 0; k++ {
		if m.Step(Tick, Control{}).Velocity == (Vec{}) {
			rest = k
		}
	}
	s := m.State()
	flat := 1.5*0.04 + 1.5*1.5/(2*3)
	up := 0.6*0.04 + 0.6*0.6/(2*1.5)
	if math.Abs(s.Position.Flat().Len()-flat) > 1e-9 || math.Abs(s.Position.Z-5-up) > 1e-9 {
		t.Errorf("rests at %+v, wanted %v m over the floor and %v m up", s.Position, flat, up)
	}
	if want := 540; rest != want && rest != want+1 { // a rounding may leave a last bit of speed // 40 ms and the longer of 0.5 s and 0.4 s
		t.Errorf("rests after %d ms, wanted %d", rest, want)
	}
}

func TestMoverGains(t *testing.T) {
	m := NewMover(MoverSpec{Acceleration: 2, Braking: 3, Vertical: 1}, Vec{Z: 5}, Vec{}, Tick)
	for range 500 {
		m.Step(Tick, Control{Mode: Drive, Velocity: Vec{X: 9, Z: -9}})
	}
	s := m.State()
	if math.Abs(s.Position.X-0.25) > 1e-9 || math.Abs(s.Velocity.X-1) > 1e-9 || math.Abs(s.Position.Z-4.75) > 1e-9 {
		t.Errorf("after half a second at 2 m/s²: %+v", s)
	}
	// It brakes as hard for its pilot as for a halt, and then gains the other way.
	for range 500 {
		m.Step(Tick, Control{Mode: Drive, Velocity: Vec{X: -9}})
	}
	if want := 1 - 2*(0.5-1.0/3) - 1; math.Abs(m.State().Velocity.X-want) > 5e-3 {
		t.Errorf("turning back: %v m/s, wanted %v", m.State().Velocity.X, want)
	}
	for range 5000 {
		m.Step(Tick, Control{Mode: Drive, Velocity: Vec{Z: -9}})
	}
	if s := m.State(); !s.Grounded || s.Position.Z != 0 || s.Velocity.Z != 0 {
		t.Errorf("the ground does not hold it: %+v", s)
	}
}
