package rehearse

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
	"pinfold/zones"
)

// TestMailKeepsOrder: what is sent arrives in order and at its time, never
// before what was sent earlier, also once the memory is used again.
func TestMailKeepsOrder(t *testing.T) {
	var m mail
	sent, taken := 0, 0
	last := time.Duration(0)
	rng := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		if m.count == 0 {
			last = 0 // what was sent earlier has all arrived
		}
		if rng.IntN(3) > 0 {
			m.put(aboutPose, fmt.Appendf(nil, "%d", sent), time.Duration(rng.IntN(1000)))
			sent++
		} else if due, ok := m.next(); ok {
			got := m.take()
			if got.due != due || got.due < last || string(got.data) != fmt.Sprint(taken) {
				t.Fatalf("message %d: %q due %v, after %v", taken, got.data, got.due, last)
			}
			last = got.due
			taken++
		}
	}
	if taken < 300 || sent-taken != m.count {
		t.Errorf("%d sent, %d taken, %d on their way", sent, taken, m.count)
	}
}

// TestTargetsPointOutwards: a step outwards from the middle of an edge is
// outside, and one inwards is not, for rings of either winding, holes and
// keep-outs.
func TestTargetsPointOutwards(t *testing.T) {
	rng := newDice(3, 4)
	seen := map[aim]int{}
	for range 50 {
		p, err := drawPen(rng, 8, true)
		if err != nil {
			t.Fatal(err)
		}
		p.judged.Inside = p.judged.Inside[:1] // walls within another keep-in are none
		j, err := judge.New(p.judged)
		if err != nil {
			t.Fatal(err)
		}
		for _, g := range targets(&p.judged, true, true) {
			seen[g.what]++
			if g.what != atEdge || math.Hypot(g.b[0]-g.a[0], g.b[1]-g.a[1]) < 0.05 {
				continue
			}
			z := math.Max(g.low, 0) + 0.01
			mid := sim.Vec{X: (g.a[0] + g.b[0]) / 2, Y: (g.a[1] + g.b[1]) / 2, Z: z}
			out := mid.Add(g.out.Mul(1e-4))
			if room := j.Room(out.X, out.Y, out.Z); room > 0 {
				t.Errorf("%v: a step outwards has %v m of room", g.place, room)
			}
		}
	}
	for _, a := range []aim{atEdge, atCorner, atGap, atCeiling, atFloor} {
		if seen[a] == 0 {
			t.Errorf("nothing of kind %d is ever aimed at", a)
		}
	}
}

// TestPenToldTwice: the zones the core is given and the regions the judge is
// given are the same numbers, back and forth.
func TestPenToldTwice(t *testing.T) {
	rng := newDice(5, 6)
	for range 20 {
		p, err := drawPen(rng, 6, true)
		if err != nil {
			t.Fatal(err)
		}
		set, err := zones.New(shapesOf(&p.judged))
		if err != nil {
			t.Fatal(err)
		}
		again := regionsOf(set.Shapes())
		if fmt.Sprint(again) != fmt.Sprint(p.judged) {
			t.Errorf("told as\n%v\nread back as\n%v", p.judged, again)
		}
	}
}

// TestJudgesAgree: the core's geometry and the judge's, which share no code,
// agree on whether a point is in a random pen, but within a micrometre of a
// line.
func TestJudgesAgree(t *testing.T) {
	rng := newDice(7, 8)
	inside, all := 0, 0
	for range 60 {
		p, err := drawPen(rng, 6, true)
		if err != nil {
			t.Fatal(err)
		}
		j, err := judge.New(p.judged)
		if err != nil {
			t.Fatal(err)
		}
		for range 300 {
			x, y, z := span(rng, -4, 4), span(rng, -4, 4), span(rng, 0, 5)
			room, in := j.Room(x, y, z), p.set.Inside(zones.XYZ{X: x, Y: y, Z: z})
			if math.Abs(room) > 1e-6 && in != (room > 0) {
				t.Errorf("(%v, %v, %v): the judge has %v m of room, the zones say inside %v", x, y, z, room, in)
			}
			all++
			if in {
				inside++
			}
		}
	}
	if inside < all/20 || inside > all*19/20 {
		t.Errorf("%d of %d points are inside: the pens are no test", inside, all)
	}
}

// TestTruthKeepsToTheDeclaration: what is drawn adds up to no more than what is
// declared, for every case, and to all of it in the worst corner.
func TestTruthKeepsToTheDeclaration(t *testing.T) {
	for _, kind := range kinds() {
		src, full := &Random{Kind: kind}, 0
		for seed := range uint64(600) {
			c, err := src.Case(seed, 0)
			if err != nil {
				t.Fatal(err)
			}
			if c == nil || c.Truth.Plant == Rotor {
				continue
			}
			s, k := &c.Config.Stopping, &c.Truth
			took := k.Transit + k.Down + Tick + k.Actuator
			a, _ := watchdog.OnSlope(s.Deceleration, s.Slope)
			if took > s.Reaction || k.Braking < a-1e-12 || k.Vertical < s.Vertical-1e-12 || k.Gain > s.Acceleration+1e-12 {
				t.Errorf("seed %d: %v until the brakes of %v, %v m/s² of %v, gains %v of %v", seed, took, s.Reaction, k.Braking, a, k.Gain, s.Acceleration)
			}
			e := &k.Eye
			if e.Hide.Len()+e.Wobble > s.PositionErr+5e-6+1e-12 || e.Velocity && e.HideV.Len()+e.WobbleV > s.VelocityErr+1e-12 {
				t.Errorf("seed %d: position off by %v + %v of %v m, velocity by %v + %v of %v m/s", seed, e.Hide.Len(), e.Wobble, s.PositionErr, e.HideV.Len(), e.WobbleV, s.VelocityErr)
			}
			if c.Corner == Worst && took > s.Reaction-Tick && k.Braking == a && k.Gain == s.Acceleration {
				full++
			}
		}
		if full < 150 {
			t.Errorf("%v: %d of 600 cases use all that is declared", kind, full)
		}
	}
}

// TestNeedlessByHand: a rover that would have stopped half a metre short of the
// wall was stopped needlessly; one that keeps on was not.
func TestNeedlessByHand(t *testing.T) {
	pen := judge.Pen{Inside: []judge.Region{{Name: "hall", Outer: [][2]float64{{0, 0}, {9, 0}, {9, 9}, {0, 9}}, Floor: -1, Ceiling: 3}}, Radius: 0.2, Below: 0.1, Above: 0.1}
	c := &Case{Pen: pen, At: sim.Vec{X: 6, Y: 4, Z: 0.1}, Speed: sim.Vec{X: 1}, Pilot: Pilot{Kind: Straight, Dir: sim.Vec{X: 1}, Out: sim.Vec{X: 1}, Speed: 1}}
	c.Truth = Truth{Plant: Differential, Braking: 1, Gain: 1}
	for _, x := range []struct {
		kind PilotKind
		want bool
	}{{Straight, false}, {Dodge, true}} {
		c.Pilot.Kind, c.Pilot.After = x.kind, 1800*ms // at 7.8 m; it turns in half a metre
		got, err := Needless(c, &Result{Stopped: true, StopAt: 1700 * ms})
		if err != nil || got != x.want {
			t.Errorf("%v: needless %v, want %v; %v", x.kind, got, x.want, err)
		}
	}
	if got, _ := Needless(c, &Result{}); got {
		t.Error("a run without a stop has a needless one")
	}
}
