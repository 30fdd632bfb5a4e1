package sim

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"
	"time"
)

// Every message of an Eye is JSON, in order, and never further from the truth
// than its spec allows.
func TestEyeKeepsItsBounds(t *testing.T) {
	spec := EyeSpec{Period: 7 * time.Millisecond, Jitter: 0.5, Clock: 3*time.Second + 1, Latency: 4 * time.Millisecond,
		Late: 20 * time.Millisecond, Hide: Vec{X: 0.01}, Creep: 0.01, HideMost: 0.03, Wobble: 0.005, Velocity: true,
		HideV: Vec{Y: -0.04}, WobbleV: 0.01}
	e := NewEye(spec, 5)
	s := State{Position: Vec{-1.5, 2, 0.25}, Velocity: Vec{0.5, 0, -0.1}, Orientation: Yawed(2)}
	seq, stamp, arrived, far := 0.0, 0.0, time.Duration(0), 0.0
	for range 2000 {
		at := e.Next()
		s.Travelled = 0.5 * at.Seconds()
		g, due := e.See(&s)
		payload := e.Message(g)
		var m struct {
			Stamp, Seq         float64
			Position, Velocity struct{ X, Y, Z float64 }
			Orientation        struct{ W, X, Y, Z float64 }
			Tracker            string
		}
		if err := json.Unmarshal(payload, &m); err != nil {
			t.Fatalf("%s: %v", payload, err)
		}
		if Vec(m.Position) != g.Position || Vec(m.Velocity) != g.Velocity || Quat(m.Orientation) != g.Orientation || m.Seq != float64(g.Seq) {
			t.Fatalf("%s reads as another than %+v", payload, g)
		}
		off := Vec(m.Position).Sub(s.Position).Len()
		far = math.Max(far, off)
		if off > 0.035+2e-6 || Vec(m.Velocity).Sub(s.Velocity).Len() > 0.05+2e-6 {
			t.Fatalf("off by %v m, %v m/s", off, Vec(m.Velocity).Sub(s.Velocity).Len())
		}
		if m.Seq != seq+1 || m.Stamp <= stamp || math.Abs(m.Stamp-e.ClockAt(at).Seconds()) > 1e-9 || m.Tracker != "eye-1" {
			t.Fatalf("after seq %v, stamp %v: %s", seq, stamp, payload)
		}
		if due < at+spec.Latency || due > at+spec.Latency+spec.Late && due != arrived || due < arrived {
			t.Fatalf("seen at %v, arrives at %v, the one before at %v", at, due, arrived)
		}
		seq, stamp, arrived = m.Seq, m.Stamp, due
	}
	if far < 0.032 {
		t.Errorf("never further off than %v m: the bound is not used", far)
	}
}

// Fixed-point numbers, by hand.
func TestFixed(t *testing.T) {
	for _, c := range []struct {
		n    int64
		d    int
		want string
	}{{0, 6, "0.000000"}, {5, 6, "0.000005"}, {-1500000, 6, "-1.500000"}, {12_345_678_901, 9, "12.345678901"}, {-7, 1, "-0.7"}} {
		if got := string(fixed(nil, c.n, c.d)); got != c.want {
			t.Errorf("%d over 10^%d: %s, wanted %s", c.n, c.d, got, c.want)
		}
	}
	if got := six(nil, micro(-0.0000004)); !bytes.Equal(got, []byte("0.000000")) {
		t.Errorf("nearly nothing: %s", got)
	}
}

// A pose that is lost leaves a gap in time, not in the numbers: what follows is
// as good as ever.
func TestEyeLoses(t *testing.T) {
	e := NewEye(EyeSpec{Lose: 0.3, LateFrom: 100 * time.Millisecond}, 1)
	s := State{Orientation: Yawed(0)}
	lost := 0
	for range 1000 {
		early := e.Next() < 100*time.Millisecond
		if p, _ := e.See(&s); p == nil {
			if early {
				t.Fatal("a pose of the warm-up was lost")
			}
			lost++
		}
	}
	if lost < 200 || lost > 400 {
		t.Errorf("%d of 1000 lost, wanted about 300", lost)
	}
}
