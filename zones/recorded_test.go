package zones

import (
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Recorded trajectories with the answers of an independent computation (numpy,
// scipy, shapely): the TUM VI benchmark's room1 (Schubert et al., IROS 2018, as
// redistributed in rpng/open_vins), a palm-sized quadrotor's spiral
// (XinLong-Li/air_garage_cflib, 2024). See the README beside the data.
const recordings = "../../shared/data"

type pose struct{ t, x, y, z float64 }

func readRecording(t testing.TB, name string) (*Set, []pose) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(recordings, name+".zone.geojson"))
	if err != nil {
		t.Skipf("the recorded trajectories are not beside this repository: %v", err)
	}
	shapes, err := ReadGeoJSON(data)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(filepath.Join(recordings, name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []pose
	first, last := int64(0), int64(-1)
	for i, row := range rows[1:] {
		ns, err := strconv.ParseInt(row[0], 10, 64)
		if err != nil {
			t.Fatal(err)
		}
		if i == 0 {
			first = ns
		}
		if ns <= last {
			continue
		}
		last = ns
		var v [3]float64
		for k := range v {
			if v[k], err = strconv.ParseFloat(row[k+1], 64); err != nil {
				t.Fatal(err)
			}
		}
		out = append(out, pose{float64(ns-first) / 1e9, v[0], v[1], v[2]})
	}
	return mustNew(t, shapes...), out
}

type interval struct {
	Start, End, Deepest, DeepestAt, LastBad float64
	Rows                                    int
}

// The stretches outside the zone: which samples, and how deep to 1 mm.
func TestRecordedTrajectories(t *testing.T) {
	for _, name := range []string{"handheld_room", "drone_spiral"} {
		t.Run(name, func(t *testing.T) {
			s, poses := readRecording(t, name)
			want := readAnswers(t, name)
			got := outside(s, poses)
			if len(got) != len(want) {
				t.Fatalf("%d intervals, want %d", len(got), len(want))
			}
			worst := 0.0
			for i, g := range got {
				w := want[i]
				if g.Rows != w.Rows || !near0(g.Start, w.Start, 0.0006) || !near0(g.End, w.End, 0.0006) || !near0(g.LastBad, w.LastBad, 0.0006) {
					t.Errorf("interval %d: %+v, want %+v", i, g, w)
				}
				if !near0(g.Deepest, w.Deepest, 0.001) || !near0(g.DeepestAt, w.DeepestAt, 0.0006) {
					t.Errorf("interval %d: %g m deep at %g s, want %g at %g", i, g.Deepest, g.DeepestAt, w.Deepest, w.DeepestAt)
				}
				worst = max(worst, math.Abs(g.Deepest-w.Deepest))
			}
			t.Logf("%d intervals, %d samples; depths differ by %.5f m at most (answers are rounded to 0.0001)", len(got), len(poses), worst)
		})
	}
}

func outside(s *Set, poses []pose) []interval {
	var out []interval
	open := false
	for i, p := range poses {
		c := s.Clearance(point(p.x, p.y, p.z)).Clearance
		if !(c < 0) {
			if open {
				out[len(out)-1].End = p.t
			}
			open = false
			continue
		}
		if !open {
			out = append(out, interval{Start: p.t})
			open = true
		}
		v := &out[len(out)-1]
		v.Rows++
		v.LastBad = p.t
		if -c > v.Deepest {
			v.Deepest, v.DeepestAt = -c, p.t
		}
		if i == len(poses)-1 {
			v.End = p.t
		}
	}
	return out
}

func readAnswers(t *testing.T, name string) []interval {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(recordings, name+".answers.json"))
	if err != nil {
		t.Fatal(err)
	}
	var a struct {
		Answers struct {
			Zone struct {
				Count     int
				Intervals []struct {
					Start, End, Deepest float64
					DeepestAt           float64 `json:"deepest_at"`
					LastBad             float64 `json:"last_bad"`
					Rows                int
				}
			}
		}
	}
	if err := json.Unmarshal(data, &a); err != nil {
		t.Fatal(err)
	}
	var out []interval
	for _, v := range a.Answers.Zone.Intervals {
		out = append(out, interval{v.Start, v.End, v.Deepest, v.DeepestAt, v.LastBad, v.Rows})
	}
	if len(out) != a.Answers.Zone.Count || len(out) == 0 {
		t.Fatalf("%d intervals of %d", len(out), a.Answers.Zone.Count)
	}
	return out
}
