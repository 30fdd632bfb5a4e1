package review

import (
	"strings"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
)

// What was accepted is told once, by what came of it; what was refused is told
// with the reason; and a session that began without an alignment says so.
func TestTiesAreToldInOrder(t *testing.T) {
	cfg := watchdog.Config{}
	cfg.Pose.Align = pose.Unaligned()
	c := &collector{cfg: &cfg, v: Vehicle{Ties: []Tie{begun(&cfg)}}}
	made := time.Date(2026, 5, 4, 3, 2, 1, 0, time.UTC)
	for i, b := range []watchdog.AlignHeard{
		{By: "ann", Hash: "aa", Outcome: "accepted", Tracker: "eye-1", Made: made},
		{By: "ann", Hash: "aa", Outcome: "effective", Tracker: "eye-1", Yaw: 90, Residual: 0.04, Uncertainty: 0.06, Made: made},
		{By: "bo", Hash: "bb", Outcome: "refused", Why: []string{"the vehicle is started: stop it first"}},
		{Local: true, Hash: "cc", Outcome: "accepted"},
	} {
		c.tie(&b, float64(i+1))
	}
	want := []string{"alignment at the start: none",
		"aligned anew at 2.00 s, sent by ann: tracker session eye-1, yaw 90.00°, off by at most 0.040 m, positions good to 0.060 m",
		"alignment at 3.00 s, sent by bo: refused: the vehicle is started: stop it first",
		"alignment at 4.00 s, from the site's file: accepted"}
	var got []string
	for _, x := range c.v.Ties {
		got = append(got, x.String())
	}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if !c.v.Ties[1].Made.Equal(made) || c.v.Ties[1].At != 2 {
		t.Errorf("%+v", c.v.Ties[1])
	}
}
