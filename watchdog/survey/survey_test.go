package survey

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

const ms = time.Millisecond

// hand is a tracker in somebody's hand, at 100 Hz, whose frame is the site's
// carried by the inverse of at.
type hand struct {
	at  pose.Alignment
	now time.Duration
	id  string
	rng *rand.Rand
	out []pose.Sample
	pos pose.Vec // site frame
}

func newHand(at pose.Alignment) *hand {
	return &hand{at: at, id: "cam", now: time.Second, rng: rand.New(rand.NewPCG(1, 2))}
}

func (h *hand) emit(p pose.Vec) {
	inv := h.at.Rotation.Conj()
	noise := pose.Vec{X: h.rng.NormFloat64(), Y: h.rng.NormFloat64(), Z: h.rng.NormFloat64()}.Scale(0.0007)
	h.now += 10 * ms
	h.pos = p
	h.out = append(h.out, pose.Sample{Stamp: int64(h.now), Tracker: h.id,
		Position: inv.Rotate(p.Sub(h.at.Translation)).Add(noise), Orientation: inv})
}

func (h *hand) stay(d time.Duration) {
	for end := h.now + d; h.now < end; {
		h.emit(h.pos)
	}
}

// walk goes straight to p at 0.8 m/s.
func (h *hand) walk(p pose.Vec) {
	from, n := h.pos, max(1, int(p.Sub(h.pos).Norm()/0.008))
	for i := 1; i <= n; i++ {
		h.emit(from.Add(p.Sub(from).Scale(float64(i) / float64(n))))
	}
}

func marksOf(t *testing.T, text string) []Point {
	t.Helper()
	p, err := ReadMarks("marks.csv", text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const fourMarks = "name,x,y,z\n# surveyed by tape\na, 0, 0, 0.06\nb, 5, 0, 0.06\nc, 5, 3, 0.06\nd, 1, 4, 0.5\n"

func TestMarksByHand(t *testing.T) {
	true_ := pose.YawAlignment(2.2, pose.Vec{X: 1, Y: -3, Z: 0.4}, 0)
	points := marksOf(t, fourMarks)
	h := newHand(true_)
	for _, p := range points {
		h.walk(p.At)
		h.stay(2500 * ms)
	}
	m := NewMarks(points, pose.DefaultConfig(), pose.StillOptions{})
	for i := range h.out {
		if m.Done() {
			break
		}
		if _, _, err := m.Add(&h.out[i]); err != nil {
			t.Fatal(err)
		}
	}
	if !m.Done() {
		t.Fatalf("%d marks taken", m.Taken())
	}
	fit, err := m.Fit(pose.MarkOptions{Tolerance: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	a := fit.Alignment
	if d := a.Point(pose.Vec{X: 4}).Sub(true_.Point(pose.Vec{X: 4})).Norm(); d > 0.002 || d > a.Residual {
		t.Errorf("off by %g m, stated %g", d, a.Residual)
	}
	if a.Tracker != "cam" || a.Since == 0 {
		t.Errorf("not bound: %+v", a)
	}
}

func TestMarksStopWhereTheTrackerRestarts(t *testing.T) {
	points := marksOf(t, fourMarks)
	h := newHand(pose.YawAlignment(0, pose.Vec{}, 0))
	h.stay(2100 * ms)
	h.id = "cam2"
	h.walk(points[1].At)
	m := NewMarks(points, pose.DefaultConfig(), pose.StillOptions{})
	for i := range h.out {
		if _, _, err := m.Add(&h.out[i]); err != nil {
			if !strings.Contains(err.Error(), "begin again") || m.Taken() != 1 {
				t.Errorf("%v after %d marks", err, m.Taken())
			}
			return
		}
	}
	t.Error("marks of two sessions are taken together")
}

func TestReadMarksRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"a,0,0,0\nb,1,0,0\n":                  "2 marks",
		"a,0,0\n":                             "marks.csv:1:",
		"a,0,0,0\na,1,0,0\n":                  `marks.csv:2: mark "a" stands twice`,
		"a,0,0,0\n\nb,x,0,0\n":                `marks.csv:3: "x"`,
		"a,NaN,0,0\n":                         "NaN",
		"a,0,0,1e9\n":                         "1e9",
		strings.Repeat("n", 200) + ",0,0,0\n": "200 bytes",
	} {
		if _, err := ReadMarks("marks.csv", text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.30q: %v, want %q", text, err, want)
		}
	}
}

func TestDwellNeedsStillness(t *testing.T) {
	h := newHand(pose.YawAlignment(0, pose.Vec{}, 0))
	h.stay(1900 * ms)
	h.walk(pose.Vec{X: 1})
	h.stay(1900 * ms)
	h.now += 200 * ms // a gap
	h.stay(1900 * ms)
	d := NewDwell(pose.DefaultConfig(), pose.StillOptions{})
	moved := false
	for i := range h.out {
		_, found, why := d.Add(&h.out[i])
		if found {
			t.Fatalf("still at sample %d", i)
		}
		moved = moved || why != nil
	}
	if !moved {
		t.Error("it was never said that it moved")
	}
	h.out = h.out[:0]
	h.stay(300 * ms)
	for i := range h.out {
		if _, found, _ := d.Add(&h.out[i]); found {
			return
		}
	}
	t.Error("2.2 s of stillness are not found")
}

// A tracker that is not sure of itself, or that froze, stands still as well: no
// mark and no pad is taken by it, and why is said.
func TestDwellNeedsATrustedTracker(t *testing.T) {
	c := pose.DefaultConfig()
	c.MinConfidence = 0.5
	for want, spoil := range map[string]func(s *pose.Sample){
		"min_confidence": func(s *pose.Sample) { s.Confidence = 0.3 },
		"frozen_after":   func(s *pose.Sample) { s.Position = pose.Vec{} },
	} {
		h := newHand(pose.YawAlignment(0, pose.Vec{}, 0))
		h.stay(3 * time.Second)
		d, said := NewDwell(c, pose.StillOptions{}), false
		for i := range h.out {
			s := &h.out[i]
			s.Confidence, s.HasConfidence = 0.9, true
			spoil(s)
			_, found, why := d.Add(s)
			if found {
				t.Fatalf("%s: taken for still", want)
			}
			said = said || why != nil && strings.Contains(why.Error(), want)
		}
		if !said {
			t.Errorf("%s: it was never said", want)
		}
	}
}

// The drift put in comes out, and what it needs covers the far corner.
func TestDrift(t *testing.T) {
	a := pose.YawAlignment(0.3, pose.Vec{X: 1}, 0.02)
	pad := pose.PadSpot{Position: pose.Vec{X: 1, Y: 1, Z: 0.06}, Yaw: 3.1}
	crept := pose.Vec{X: 0.03, Y: 0.04, Z: -0.02}
	st := pose.Still{Position: pad.Position.Add(crept), Attitude: pose.FromYaw(3.1 + 0.1), To: 5e9}
	d := MeasureDrift(&st, &pad, &a, 6)
	if math.Abs(d.Horizontal-0.05) > 1e-12 || math.Abs(d.Vertical+0.02) > 1e-12 || math.Abs(d.Yaw-0.1) > 1e-12 {
		t.Errorf("%+v", d)
	}
	// A corner 6 m from the pad, as the drifted tracker has it.
	for i := range 36 {
		arm := pose.FromYaw(float64(i) / 36 * 2 * math.Pi).Rotate(pose.Vec{X: 6})
		off := pose.FromYaw(0.1).Rotate(arm).Add(crept).Sub(arm).Norm()
		if off > d.Needed-a.Residual {
			t.Errorf("a corner is off by %g, needed %g", off, d.Needed)
		}
	}
}
