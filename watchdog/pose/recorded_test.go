package pose_test

import (
	"encoding/json"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
)

// shared is where published recordings and the answers to them lie; an
// independent computation (numpy, scipy, shapely) made the answers.
const shared = "../../../shared/data"

func read(t *testing.T, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(shared, name))
	if err != nil {
		t.Skipf("needs the published recordings' %s: %v", name, err)
	}
	return b
}

func load(t *testing.T, name string) (out []pose.Sample) {
	t.Helper()
	read(t, name)
	r, err := recording.Open(filepath.Join(shared, name))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for {
		s, err := r.Next()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, s)
	}
}

// poses carries a recording through decoder-checked samples and a track.
func poses(t *testing.T, c pose.Config, samples []pose.Sample) []pose.Pose {
	t.Helper()
	track, err := pose.NewTrack(c)
	if err != nil {
		t.Fatal(err)
	}
	out := make([]pose.Pose, len(samples))
	for i := range samples {
		now := time.Duration(samples[i].Stamp - samples[0].Stamp)
		if f := track.Accept(&samples[i], now, now, &out[i]); f != nil {
			t.Fatalf("sample %d: %v", i, f)
		}
	}
	return out
}

type interval struct {
	Start, End, Deepest float64
	Open                bool
}

type answer struct {
	Count     int
	Deepest   float64
	Intervals []interval
}

type answers struct {
	Limits struct {
		Speed float64 `json:"speed_m_s"`
		Tilt  float64 `json:"tilt_deg"`
	}
	Answers struct {
		Tilt     answer
		Trailing answer `json:"speed_trailing_50ms"`
	}
}

func answersOf(t *testing.T, name string) (a answers) {
	t.Helper()
	if err := json.Unmarshal(read(t, name), &a); err != nil {
		t.Fatal(err)
	}
	return a
}

// over lists the intervals in which value is above limit, by the answers' own
// definition: from the first violating sample to the first good one. NaN means
// undefined, which is not violating.
func over(p []pose.Pose, value func(i int) float64, limit float64) (out []interval) {
	inside := false
	for i := range p {
		at, v := float64(p[i].Stamp-p[0].Stamp)*1e-9, value(i)
		switch {
		case v > limit && !inside:
			out = append(out, interval{Start: at, Deepest: v, Open: true})
			inside = true
		case v > limit:
			last := &out[len(out)-1]
			last.Deepest = math.Max(last.Deepest, v)
		case inside:
			out[len(out)-1].End, out[len(out)-1].Open = at, false
			inside = false
		}
	}
	return out
}

func compare(t *testing.T, got []interval, want answer, tolerance float64) {
	t.Helper()
	if len(got) != want.Count || len(want.Intervals) != want.Count {
		t.Fatalf("%d intervals, want %d", len(got), want.Count)
	}
	for i, g := range got {
		w := want.Intervals[i]
		// The answers are rounded to the millisecond; samples are further apart,
		// but for bunched ones, which 1 ms cannot tell from each other either.
		if math.Abs(g.Start-w.Start) > 0.00051 || !g.Open && math.Abs(g.End-w.End) > 0.00051 || g.Open != w.Open {
			t.Errorf("interval %d: %.4f to %.4f, want %.3f to %.3f", i, g.Start, g.End, w.Start, w.End)
		}
		if math.Abs(g.Deepest-w.Deepest) > tolerance {
			t.Errorf("interval %d: worst %v, want %v", i, g.Deepest, w.Deepest)
		}
	}
}

func TestTiltOfRecordings(t *testing.T) {
	for _, name := range []string{"handheld_room", "drone_spiral"} {
		t.Run(name, func(t *testing.T) {
			a := answersOf(t, name+".answers.json")
			p := poses(t, pose.DefaultConfig(), load(t, name+".csv"))
			got := over(p, func(i int) float64 { return p[i].Tilt * 180 / math.Pi }, a.Limits.Tilt)
			compare(t, got, a.Answers.Tilt, 0.01)
		})
	}
}

// window is the 50 ms of the answers' trailing speed.
const window = 50 * time.Millisecond

// trailing is the answers' trailing speed, computed here once more by their
// definition; NaN where it is undefined.
func trailing(p []pose.Pose, i int) float64 {
	from := p[i].Stamp - int64(window)
	if from < p[0].Stamp {
		return math.NaN()
	}
	k := i
	for ; k > 0 && p[k].Stamp > from; k-- {
		if p[k].Stamp-p[k-1].Stamp > int64(window) {
			return math.NaN()
		}
	}
	at := p[k].Position
	if p[k].Stamp < from {
		share := float64(from-p[k].Stamp) / float64(p[k+1].Stamp-p[k].Stamp)
		at = at.Add(p[k+1].Position.Sub(at).Scale(share))
	}
	return p[i].Position.Sub(at).Norm() / window.Seconds()
}

// spread is how far apart the velocities between samples of the last `back`
// are: the diameter of their set.
func spread(p []pose.Pose, i int, back time.Duration) (most float64) {
	var v []pose.Vec
	for k := i; k > 0 && p[k].Stamp > p[i].Stamp-int64(back); k-- {
		dt := float64(p[k].Stamp-p[k-1].Stamp) * 1e-9
		v = append(v, p[k].Position.Sub(p[k-1].Position).Scale(1/dt))
	}
	for i, a := range v {
		for _, b := range v[:i] {
			most = math.Max(most, a.Sub(b).Norm())
		}
	}
	return most
}

// Speed against the answers' trailing 50 ms. Two bounds are checked:
//
// Rigorous, for every sample: a least-squares slope and the trailing speed are
// both weighted means (weights >= 0) of the velocities between samples of at
// most the last two windows, so they differ by no more than the spread of those.
//
// In bulk: both are the speed of about 25 ms ago (Lag says how much exactly),
// so what remains is noise, and in the drone's recording stamps that are off by
// up to one step of 20 ms. 95 % must lie within what was measured when this was
// written, rounded up: 0.01 and 0.07 m/s.
func TestSpeedOfRecordings(t *testing.T) {
	for name, bulk := range map[string]float64{"handheld_room": 0.01, "drone_spiral": 0.07} {
		t.Run(name, func(t *testing.T) {
			a := answersOf(t, name+".answers.json")
			p := poses(t, pose.DefaultConfig(), load(t, name+".csv"))
			compare(t, over(p, func(i int) float64 { return trailing(p, i) }, a.Limits.Speed), a.Answers.Trailing, 0.0001)

			var diff, shares []float64
			for i := range p {
				want := trailing(p, i)
				if math.IsNaN(want) || !p[i].HasVelocity {
					continue
				}
				d, room := math.Abs(p[i].Velocity.Norm()-want), spread(p, i, 2*window)
				if d > room+1e-9 {
					t.Errorf("sample %d: %.4f m/s, trailing %.4f, bound %.4f", i, p[i].Velocity.Norm(), want, room)
				}
				diff = append(diff, d)
				shares = append(shares, d/room)
			}
			slices.Sort(diff)
			slices.Sort(shares)
			p95 := diff[len(diff)*95/100]
			t.Logf("%d samples: difference median %.4f, 95%% %.4f, worst %.4f m/s; at most %.2f of the bound",
				len(diff), diff[len(diff)/2], p95, diff[len(diff)-1], shares[len(shares)-1])
			if p95 > bulk {
				t.Errorf("95 %% are within %.4f m/s, want %.2f", p95, bulk)
			}
		})
	}
}
