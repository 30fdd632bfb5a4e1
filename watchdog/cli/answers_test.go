package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"pinfold/watchdog/review"
)

// sharedData is the folder of recordings that others published, with answers
// that an independent computation (numpy, scipy, shapely) came to; its README
// names sources and licences.
const sharedData = "../../../shared/data"

// recordingCase is one recording with the limits its answers were computed by.
type recordingCase struct {
	name string
	tilt float64 // deg
	gap  float64 // s, the longest step between samples, from the answers' facts
	late float64 // s, when that step begins
}

func recordings(t *testing.T) []recordingCase {
	t.Helper()
	if _, err := os.Stat(sharedData); err != nil {
		t.Skipf("no recordings at %s: the check against outside answers needs them", sharedData)
	}
	return []recordingCase{
		{name: "handheld_room", tilt: 30, gap: 1.058, late: 98.342},
		{name: "drone_spiral", tilt: 8, gap: 0.404, late: 35.775},
	}
}

// site writes a site file that holds the bare rules of the answers: no
// prediction, no body, no margin, no caution, no confirmation.
func (c recordingCase) site(t *testing.T, url string) string {
	t.Helper()
	zone, err := filepath.Abs(filepath.Join(sharedData, c.name+".zone.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "site.toml")
	text := fmt.Sprintf(bareSite, zone, url, c.tilt)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

const bareSite = `
zones = %q
[site]
name = "Check of recorded motion"
local_rules = "None apply: a recording moves nothing; checked by the test that wrote this"
[broker]
url = %q
[trail]
dir = "trail"
[[vehicle]]
name = "probe"
kind = "multirotor"
radius = 0.0
height = 0.0
zone_caution = 0.0
[vehicle.pose]
axes = "z-up"
max_age = "100ms"
[vehicle.limits]
tilt = { max = %g, caution = %[3]g, confirm = 1 }
[vehicle.stopping]
predict = false
`

// interval is one stretch of the outside answers; times in seconds, rounded to
// a millisecond there.
type interval struct {
	Start   float64 `json:"start"`
	End     float64 `json:"end"`
	Open    bool    `json:"open"`
	Deepest float64 `json:"deepest"`
}

func (c recordingCase) answers(t *testing.T, kind string) []interval {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(sharedData, c.name+".answers.json"))
	if err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Answers map[string]struct {
			Intervals []interval `json:"intervals"`
		} `json:"answers"`
	}
	if err := json.Unmarshal(data, &doc); err != nil {
		t.Fatal(err)
	}
	if len(doc.Answers[kind].Intervals) == 0 {
		t.Fatalf("%s.answers.json has no %s intervals", c.name, kind)
	}
	return doc.Answers[kind].Intervals
}

// sameSample says whether two times in seconds are of the same sample: the
// answers give them rounded to a millisecond.
func sameSample(got, want float64) bool {
	return math.Round(got*1000) == math.Round(want*1000)
}

// match holds episodes of one cause against the answers: the same number, every
// start and end on the same sample, the worst value within tol.
func (c recordingCase) match(t *testing.T, got []review.Episode, cause, kind string, tol float64) {
	t.Helper()
	var mine []review.Episode
	for _, e := range got {
		if e.Cause == cause {
			mine = append(mine, e)
		}
	}
	want := c.answers(t, kind)
	if len(mine) != len(want) {
		t.Fatalf("%s: %d episodes of %s, want %d", c.name, len(mine), cause, len(want))
	}
	for i, w := range want {
		g := mine[i]
		if !sameSample(g.From, w.Start) || !sameSample(g.To, w.End) || g.Open != w.Open {
			t.Errorf("%s: %s episode %d runs from %.6f to %.6f (open %v), want %.3f to %.3f (open %v)",
				c.name, cause, i, g.From, g.To, g.Open, w.Start, w.End, w.Open)
		}
		if !(math.Abs(g.Worst-w.Deepest) <= tol) {
			t.Errorf("%s: %s episode %d has its worst at %.6f %s, want %.4f", c.name, cause, i, g.Worst, g.Unit, w.Deepest)
		}
	}
}

// check holds a whole result against the answers.
func (c recordingCase) check(t *testing.T, got []review.Episode) {
	t.Helper()
	c.match(t, got, "zone", "zone", 0.001)
	c.match(t, got, "tilt", "tilt", 0.01)
	c.stale(t, got, 0.001)
}

// stale looks for the longest step of the recording as a stale pose: from
// max_age after the sample before it to the sample after it, as long as the
// step. Live, the length is counted from arrival to arrival: tol, s, is what the
// way through the broker may add or take.
func (c recordingCase) stale(t *testing.T, got []review.Episode, tol float64) {
	t.Helper()
	var seen []review.Episode
	for _, e := range got {
		if e.Cause != "pose-stale" {
			continue
		}
		seen = append(seen, e)
		if math.Abs(e.From-(c.late+0.1)) <= tol && math.Abs(e.To-(c.late+c.gap)) <= tol && math.Abs(e.Worst-c.gap) <= tol {
			return
		}
	}
	t.Errorf("%s: no stale pose for the step of %.3f s after %.3f s; stale were %+v", c.name, c.gap, c.late, seen)
}
