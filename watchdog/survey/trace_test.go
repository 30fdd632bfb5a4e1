package survey

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/planar"
	"pgregory.net/rapid"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
	"pinfold/zones"
)

// A rest of a minute, in all, at the corners of a hall of 7 × 5 m: 35 m².
func TestTraceOfAHall(t *testing.T) {
	hall := []zones.XY{{X: 0, Y: 0}, {X: 7, Y: 0}, {X: 7, Y: 5}, {X: 0, Y: 5}}
	for _, kind := range []zones.Kind{zones.KeepIn, zones.KeepOut} {
		w := newWalker(3)
		w.round(hall, map[int]float64{0: 20, 1: 20, 2: 20})
		walk, err := walked(t, w.out, WalkOptions{})
		if err != nil {
			t.Fatal(err)
		}
		tr, err := walk.Trace(band(kind), TraceOptions{Tolerance: 0.05})
		if err != nil {
			t.Fatal(err)
		}
		got := areaByOrb(tr.Shape.Rings[0])
		t.Logf("%v: %d corners of %d, %.2f m², %.1f m walked, unsafe %.3f, safe %.3f", kind, len(tr.Shape.Rings[0]), tr.Knots, got, tr.Length, tr.Unsafe, tr.Safe)
		if math.Abs(got-35) > 0.03*35 || math.Abs(got-tr.Area) > 1e-9 {
			t.Errorf("%v: %.3f m² (said %.3f), the hall has 35", kind, got, tr.Area)
		}
		if n := len(tr.Shape.Rings[0]); n > 60 {
			t.Errorf("%v: %d corners are left of a rectangle's walk", kind, n)
		}
		if kind == zones.KeepIn && tr.Area > tr.Walked || kind == zones.KeepOut && tr.Area < tr.Walked {
			t.Errorf("%v: simplified from %.3f to %.3f m²", kind, tr.Walked, tr.Area)
		}
		if math.Abs(tr.Length-24) > 1.5 || tr.Gap > 0.1 || tr.Unsafe > 0.1 {
			t.Errorf("%+v", tr)
		}
	}
}

func areaByOrb(ring []zones.XY) float64 {
	r := orb.Ring{}
	for _, p := range ring {
		r = append(r, orb.Point{p.X, p.Y})
	}
	return math.Abs(planar.Area(append(r, r[0])))
}

// outline draws a room whose corners are seen from its middle.
func outline(t *rapid.T) []zones.XY {
	n := rapid.IntRange(3, 9).Draw(t, "corners")
	ring := make([]zones.XY, n)
	for i := range ring {
		r := rapid.Float64Range(1.6, 4).Draw(t, "radius")
		a := 2 * math.Pi * (float64(i) + rapid.Float64Range(-0.2, 0.2).Draw(t, "aside")) / float64(n)
		ring[i] = zones.XY{X: 3 + r*math.Cos(a), Y: -2 + r*math.Sin(a)}
	}
	if rapid.Bool().Draw(t, "clockwise") {
		for i, j := 1, n-1; i < j; i, j = i+1, j-1 {
			ring[i], ring[j] = ring[j], ring[i]
		}
	}
	return ring
}

// The law of trace: a keep-in zone lies within the edge that was walked,
// widened by what the hand was off it and by two jitters; a keep-out zone holds
// all of it but as much. And no more is lost on the other side than the
// tolerance besides.
func TestTraceIsOnTheSafeSide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		edge := outline(t)
		kind := rapid.SampledFrom([]zones.Kind{zones.KeepIn, zones.KeepOut}).Draw(t, "kind")
		jitter := rapid.Float64Range(0.03, 0.08).Draw(t, "jitter")
		tolerance := rapid.Float64Range(0, 0.15).Draw(t, "tolerance")
		w := newWalker(rapid.Uint64().Draw(t, "seed"))
		rests := map[int]float64{}
		for i := range edge {
			rests[i] = rapid.Float64Range(0, 3).Draw(t, "rest")
		}
		w.round(edge, rests)
		walk, err := NewWalk(pose.DefaultConfig(), WalkOptions{Jitter: jitter})
		if err != nil {
			t.Fatal(err)
		}
		for i := range w.out {
			if err := walk.Add(&w.out[i]); err != nil {
				t.Fatal(err)
			}
		}
		tr, err := walk.Trace(band(kind), TraceOptions{Tolerance: tolerance})
		if err != nil {
			t.Fatal(err)
		}
		zone := tr.Shape.Rings[0]
		bound := modelOff + 2*jitter
		unsafe, safe := zone, edge
		if kind == zones.KeepOut {
			unsafe, safe = edge, zone
		}
		if d := beyond(unsafe, safe); d > bound {
			t.Fatalf("%v: %.3f m beyond what was walked, bound %.3f", kind, d, bound)
		}
		if d := beyond(safe, unsafe); d > bound+tolerance {
			t.Fatalf("%v: %.3f m lost, bound %.3f", kind, d, bound+tolerance)
		}
		if tr.Unsafe > 2*jitter+0.001 {
			t.Fatalf("%v: says it is off the walk by %.3f m on the unsafe side, jitter %.3f", kind, tr.Unsafe, jitter)
		}
	})
}

// beyond is how far points of ring a, every 5 cm, are outside ring b at most.
func beyond(a, b []zones.XY) (most float64) {
	for i, p := range a {
		q := a[(i+1)%len(a)]
		n := 1 + int(distance(p, q)/0.05)
		for j := range n {
			t := float64(j) / float64(n)
			at := zones.XY{X: p.X + t*(q.X-p.X), Y: p.Y + t*(q.Y-p.Y)}
			if !insideByAngle(b, at) {
				most = math.Max(most, offByThirds(b, at))
			}
		}
	}
	return most
}

// insideByAngle is the winding number, by angles: another way than the code's.
func insideByAngle(ring []zones.XY, p zones.XY) bool {
	sum := 0.0
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		sum += math.Remainder(math.Atan2(b.Y-p.Y, b.X-p.X)-math.Atan2(a.Y-p.Y, a.X-p.X), 2*math.Pi)
	}
	return math.Abs(sum) > math.Pi
}

// offByThirds is the distance to a ring, by a search along each edge.
func offByThirds(ring []zones.XY, p zones.XY) float64 {
	best := math.Inf(1)
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		on := func(t float64) float64 {
			x, y := a.X+t*(b.X-a.X)-p.X, a.Y+t*(b.Y-a.Y)-p.Y
			return x*x + y*y
		}
		lo, hi := 0.0, 1.0
		for range 24 { // to a millimetre
			if m, n := lo+(hi-lo)/3, hi-(hi-lo)/3; on(m) < on(n) {
				hi = n
			} else {
				lo = m
			}
		}
		best = min(best, on(lo))
	}
	return math.Sqrt(best)
}

// What goes before the edge is reached, and overlaps, is left out.
func TestTraceLeavesTheEndsOut(t *testing.T) {
	w := newWalker(5)
	w.rest(zones.XY{X: 0.8, Y: 0.7}, 2) // lifted from the pad
	w.line(zones.XY{X: 0.8, Y: 0.7}, zones.XY{X: 0.3})
	ring := []zones.XY{{X: 0.3}, {X: 6}, {X: 6, Y: 4}, {}, {X: 1.1}} // and on along the first side
	for i := range len(ring) - 1 {
		w.line(ring[i], ring[i+1])
	}
	w.line(zones.XY{X: 1.1}, zones.XY{X: 1.3, Y: 0.8})
	walk, err := walked(t, w.out, WalkOptions{})
	if err != nil {
		t.Fatal(err)
	}
	tr, err := walk.Trace(band(zones.KeepIn), TraceOptions{Tolerance: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(tr.Area-12) > 0.05*12 || tr.Gap > 0.1 { // the triangle (0,0), (6,0), (6,4)
		t.Errorf("%.2f m², ends %.3f m apart", tr.Area, tr.Gap)
	}
	// 0.86 m from (0.8, 0.7) to the edge, 0.82 m away from it, and 0.8 m twice:
	// closed within two jitters of that.
	if l := tr.Left; math.Abs(l[0]+l[1]-2.48) > 0.25 || l[0] < 0.7 || l[1] < 0.7 {
		t.Errorf("%.2f m are said to be left out", l)
	}
}

// A long way to the edge, an overlap along it and a way back beside the first
// are no part of the zone either.
func TestTraceLeavesAWayBesideTheEdgeOut(t *testing.T) {
	w := newWalker(8)
	path := []zones.XY{{X: 2, Y: 1.5}, {X: 0.3, Y: 0.2}, {X: 7, Y: 0.2}, {X: 7, Y: 5}, {X: 0.3, Y: 5}, {X: 0.3, Y: 0.15}, {X: 1.1, Y: 0.2}, {X: 2.5, Y: 1.5}}
	for i := range len(path) - 1 {
		w.line(path[i], path[i+1])
	}
	walk, err := walked(t, w.out, WalkOptions{})
	if err != nil {
		t.Fatal(err)
	}
	tr, err := walk.Trace(band(zones.KeepIn), TraceOptions{Tolerance: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(tr.Area-32.16) > 0.03*32.16 || tr.Left[0]+tr.Left[1] < 4 { // 6.7 × 4.8
		t.Errorf("%.2f m², %.2f m left out", tr.Area, tr.Left)
	}
	if _, err = walk.Trace(band(zones.KeepOut), TraceOptions{}); err != nil {
		t.Errorf("a keep-out holds all of it: %v", err)
	}
}

// A tip off the body's centre is carried with the attitude: a walk round a post
// of 0.5 m, at 0.9 m from its middle, looking at it, with the tip on it.
func TestTraceByTheTip(t *testing.T) {
	var samples []pose.Sample
	for i := range 1300 {
		a := float64(i) / 1250 * 2 * math.Pi
		samples = append(samples, pose.Sample{Stamp: int64(i) * 1e7, Orientation: pose.FromYaw(a + math.Pi),
			Position: pose.Vec{X: 2 + 0.9*math.Cos(a), Y: 3 + 0.9*math.Sin(a)}})
	}
	walk, err := walked(t, samples, WalkOptions{Tip: pose.Vec{X: 0.4}, Jitter: 0.01})
	if err != nil {
		t.Fatal(err)
	}
	tr, err := walk.Trace(band(zones.KeepOut), TraceOptions{Tolerance: 0.02})
	if err != nil {
		t.Fatal(err)
	}
	if want := math.Pi * 0.25; tr.Area < want*0.995 || tr.Area > want*1.1 {
		t.Errorf("%.4f m², the post has %.4f", tr.Area, want)
	}
}

func TestTraceRefuses(t *testing.T) {
	square := []zones.XY{{}, {X: 4}, {X: 4, Y: 4}, {Y: 4}}
	whole := func() []pose.Sample { w := newWalker(9); w.round(square, nil); return w.out }
	for _, c := range []struct {
		name  string
		walk  func() []pose.Sample
		want  string
		place bool
	}{
		{"nothing", func() []pose.Sample { return nil }, "too short: 0.00 m", false},
		{"rests", func() []pose.Sample { w := newWalker(1); w.rest(zones.XY{X: 1}, 60); return w.out }, "too short", true},
		{"stays open", func() []pose.Sample {
			w := newWalker(2)
			w.line(square[0], square[1])
			w.line(square[1], square[2])
			w.line(square[2], square[3])
			return w.out
		}, "its end comes no nearer than 3.9", true},
		{"there and back", func() []pose.Sample {
			var s []pose.Sample
			for i := range 1000 {
				p := pose.Vec{X: 0.01 * float64(min(i, 1000-i)), Y: 0.02 * float64(i/500)}
				s = append(s, pose.Sample{Stamp: int64(i) * 1e7, Orientation: pose.Quat{W: 1}, Position: p})
			}
			return s
		}, "goes there and back", true},
		{"an eight", func() []pose.Sample {
			w := newWalker(6)
			w.round([]zones.XY{{}, {X: 4, Y: 4}, {X: 4}, {Y: 4}}, nil)
			return w.out
		}, "crosses itself, at ", true},
		{"restarts", func() []pose.Sample { s := whole(); s[900].Tracker = "two"; return s }, `the tracker restarted ("cam", then "two")`, true},
		{"stamps run back", func() []pose.Sample { s := whole(); s[900].Stamp = 5; return s }, "ran back by", true},
		{"lost", func() []pose.Sample { s := whole(); return append(s[:400], s[440:]...) }, "was lost for 0.4", true},
		{"leaps", func() []pose.Sample { s := whole(); s[400].Position.X += 0.5; return s }, "leapt by 0.5", true},
		{"frozen", func() []pose.Sample {
			s := whole()
			for i := 400; i < 450; i++ {
				s[i].Position = s[399].Position
			}
			return s
		}, "was lost for 0.5", true},
		{"not a number", func() []pose.Sample {
			s := whole()
			for i := 400; i < 450; i++ {
				s[i].Position.X = math.NaN()
			}
			return s
		}, "was lost for 0.5", true},
	} {
		walk, err := walked(t, c.walk(), WalkOptions{})
		if err == nil {
			_, err = walk.Trace(band(zones.KeepIn), TraceOptions{})
		}
		var we *WalkError
		if !errors.As(err, &we) || !strings.Contains(err.Error(), c.want) || we.Place != c.place || we.Try == "" {
			t.Errorf("%s: %v, want %q in it", c.name, err, c.want)
		}
	}
}

func TestTraceHoldsToTheAlignment(t *testing.T) {
	const day = int64(1_790_000_000e9) // ns since 1970
	c := pose.DefaultConfig()
	for _, x := range []struct {
		name         string
		id, tracker  string
		since, epoch int64
		now          int64 // epoch by the walk's first sample
		want         string
	}{
		{"another id", "other", "cam", 0, 0, 0, `session "other", and this one is "cam"`},
		{"an id that was not told then", "", "cam", 5e8, 0, 0, "told no id"},
		{"an id that is not told now", "cam", "", 0, 0, 0, "this tracker tells no id"},
		{"stamps before it", "cam", "cam", 2e9, 0, 0, "it restarted since"},
		{"void", "", "", math.MaxInt64, 0, 0, "no alignment yet"},
		{"restarted a minute later", "", "", 5e8, day, day + 60e9, "clock began +60.0 s"},
		{"restarted 3 s later", "", "", 5e8, day, day + 3e9, "restarted since"},
		{"the same, within the transit", "", "", 5e8, day, day + 1e9, ""},
		{"the same id, another epoch", "cam", "cam", 5e8, day, day + 60e9, "clock began +60.0 s"},
		{"the epoch is not known now", "", "", 5e8, day, 0, ""},
		{"the epoch was not known then", "", "", 5e8, 0, day, ""},
	} {
		c.Align = pose.YawAlignment(0, pose.Vec{}, 0)
		c.Align.Tracker, c.Align.Since, c.Align.Epoch = x.id, x.since, x.epoch
		walk, err := NewWalk(c, WalkOptions{})
		if err != nil {
			t.Fatal(err)
		}
		walk.Epoch(x.now)
		err = walk.Add(&pose.Sample{Stamp: 1e9, Tracker: x.tracker, Orientation: pose.Quat{W: 1}})
		var we *WalkError
		if x.want == "" && err != nil || x.want != "" && (!errors.As(err, &we) || !we.Session || !strings.Contains(err.Error(), x.want)) {
			t.Errorf("%s: %v, want %q", x.name, err, x.want)
		}
	}
	for _, o := range []WalkOptions{{Jitter: -1}, {Jitter: math.NaN()}, {Tip: pose.Vec{X: math.NaN()}}, {Tip: pose.Vec{Y: 9}}} {
		if _, err := NewWalk(c, o); err == nil {
			t.Errorf("%+v is taken", o)
		}
	}
}

func TestWalkIsBounded(t *testing.T) {
	walk, err := NewWalk(pose.DefaultConfig(), WalkOptions{Jitter: MinJitter})
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < 40*MaxKnots; i++ {
		err = walk.Add(&pose.Sample{Stamp: int64(i) * 1e7, Orientation: pose.Quat{W: 1}, Position: pose.Vec{X: float64(i) * 0.006}})
		if err != nil {
			break
		}
	}
	if err == nil || !strings.Contains(err.Error(), "too long") || len(walk.Path()) > maxPath {
		t.Errorf("%v, %d points", err, len(walk.Path()))
	}
}

// A published recording (TUM VI room1, see the data's README): from 50.3 s to
// 58.6 s the rig was carried once round the room, and back to within 3 cm.
func TestTraceOfARecording(t *testing.T) {
	path := filepath.Join("..", "..", "..", "shared", "data", "handheld_room.csv")
	r, err := recording.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		t.Skipf("needs the published recording: %v", err)
	} else if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	var samples []pose.Sample
	for {
		s, err := r.Next()
		if err != nil {
			break
		}
		if at := time.Duration(s.Stamp); at >= 50300*ms && at <= 58600*ms {
			samples = append(samples, s)
		}
	}
	walk, err := walked(t, samples, WalkOptions{})
	if err != nil {
		t.Fatal(err)
	}
	tr, err := walk.Trace(band(zones.KeepIn), TraceOptions{Tolerance: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	var raw []zones.XY
	for i := range samples {
		raw = append(raw, zones.XY{X: samples[i].Position.X, Y: samples[i].Position.Y})
	}
	t.Logf("%.2f m², raw %.2f; %d corners of %d; ends %.3f m apart; unsafe %.3f, safe %.3f", tr.Area, areaByOrb(raw), len(tr.Shape.Rings[0]), tr.Knots, tr.Gap, tr.Unsafe, tr.Safe)
	if a := areaByOrb(raw); math.Abs(tr.Area-a) > 0.05*a {
		t.Errorf("%.3f m², the raw loop has %.3f", tr.Area, a)
	}
	if tr.Unsafe > 0.1 || tr.Safe > 0.2 {
		t.Errorf("off by %.3f and %.3f m", tr.Unsafe, tr.Safe)
	}
}

// armed is a body of 2 by 2 m with an arm of 3 m by width to its right.
func armed(width float64) []zones.XY {
	return []zones.XY{{X: 0, Y: 0}, {X: 2, Y: 0}, {X: 2, Y: 1}, {X: 5, Y: 1}, {X: 5, Y: 1 + width}, {X: 2, Y: 1 + width}, {X: 2, Y: 2}, {X: 0, Y: 2}}
}

// from is the ring from a point on edge e, at share t of it, all round and on to
// within short metres of that point again.
func from(ring []zones.XY, e int, t, short float64) (path []zones.XY) {
	n := len(ring)
	a, b := ring[e], ring[(e+1)%n]
	start := zones.XY{X: a.X + t*(b.X-a.X), Y: a.Y + t*(b.Y-a.Y)}
	path = append(path, start)
	for i := 1; i <= n; i++ {
		path = append(path, ring[(e+i)%n])
	}
	last, d := path[n], distance(path[n], start)
	short = math.Min(short, d)
	return append(path, zones.XY{X: last.X + (d-short)/d*(start.X-last.X), Y: last.Y + (d-short)/d*(start.Y-last.Y)})
}

// A keep-out zone holds all that was walked round, also where the walk begins
// on a narrow arm and ends a step before its begin, nearer to the arm's other
// side. Where that cannot be, the walk is refused.
func TestTraceCutsNoArmOff(t *testing.T) {
	refused, kept := 0, 0
	for _, width := range []float64{0.07, 0.12, 0.2} {
		for _, e := range []int{2, 4, 7} {
			for _, at := range []float64{0.1, 0.5, 0.93} {
				for _, short := range []float64{0, 0.15, 0.28, 0.6, 1.4} {
					edge := armed(width)
					w := newWalker(uint64(1000*width) + uint64(10*e) + uint64(100*short))
					path := from(edge, e, at, short)
					for i := range len(path) - 1 {
						w.line(path[i], path[i+1])
					}
					walk, err := walked(t, w.out, WalkOptions{})
					if err != nil {
						t.Fatal(err)
					}
					tr, err := walk.Trace(band(zones.KeepOut), TraceOptions{Tolerance: 0.05})
					var we *WalkError
					if errors.As(err, &we) {
						refused++
						if short < 0.25 && width > 0.15 {
							t.Errorf("width %g, edge %d at %g, %g m short: refused: %v", width, e, at, short, err)
						}
						continue
					}
					if err != nil {
						t.Fatal(err)
					}
					kept++
					lost := beyond(edge, tr.Shape.Rings[0])
					if bound := modelOff + 2*0.05 + tr.Gap/2; lost > bound || lost > tr.Unsafe+modelOff+0.05 {
						t.Errorf("width %g, edge %d at %g, %g m short: %.3f m of the edge are outside the zone, said %.3f, gap %.3f", width, e, at, short, lost, tr.Unsafe, tr.Gap)
					}
				}
			}
		}
	}
	t.Logf("%d kept, %d refused", kept, refused)
	if kept < 20 || refused < 10 {
		t.Errorf("%d kept, %d refused", kept, refused)
	}
}
