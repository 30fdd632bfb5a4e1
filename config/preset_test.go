package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pinfold/watchdog/pose"
)

// The public message definitions (from memory), as a bridge writes them out in
// JSON; and one in CBOR (RFC 8949) with the same pointers.
const (
	poseStamped = `{"header":{"stamp":{"sec":12,"nanosec":500000000},"frame_id":"map"},"pose":{"position":{"x":1,"y":2,"z":3},"orientation":{"x":0,"y":0,"z":0,"w":1}}}`
	odometry    = `{"header":{"stamp":{"sec":12,"nanosec":500000000},"frame_id":"odom"},"child_frame_id":"base_link","pose":{"pose":{"position":{"x":1,"y":2,"z":3},"orientation":{"x":0,"y":0,"z":0,"w":1}},"covariance":[0]},"twist":{"twist":{"linear":{"x":0.5,"y":0,"z":0},"angular":{"x":0,"y":0,"z":0}},"covariance":[0]}}`
	xr          = `{"time":12500000000,"position":{"x":1,"y":2,"z":3},"orientation":{"x":0,"y":0,"z":0,"w":1},"linearVelocity":{"x":0,"y":0,"z":-0.5}}`
	// {"t": 12.5, "p": {"x": 1, "y": 2, "z": 3}, "q": {"w": 1, "x": 0, "y": 0, "z": 0}}, RFC 8949 §3
	cborPose = "\xa3\x61t\xf9\x4a\x40\x61p\xa3\x61x\x01\x61y\x02\x61z\x03\x61q\xa4\x61w\x01\x61x\x00\x61y\x00\x61z\x00"
)

func TestPresets(t *testing.T) {
	for _, c := range []struct {
		fields  string
		axes    string // as the file has it; empty: the preset's
		want    pose.Axes
		message string
		stamp   int64
		fault   string // of the file
	}{
		{`preset = "pose-stamped"`, "", pose.ZUp, poseStamped, 12_500_000_000, ""},
		{`preset = "odometry"`, "", pose.ZUp, odometry, 12_500_000_000, ""},
		{`preset = "odometry"`, "ned", pose.NED, odometry, 12_500_000_000, ""},
		{`preset = "xr"`, "", pose.YUp, xr, 12_500_000_000, ""},
		{`preset = "xr"` + "\nstamp = \"/at\"\nstamp_unit = \"rfc3339\"", "", pose.YUp,
			strings.Replace(xr, `"time":12500000000`, `"at":"1996-12-19T16:39:57-08:00"`, 1), 851042397_000_000_000, ""}, // RFC 3339 §5.8
		{"cbor = true\nstamp = \"/t\"\nposition = \"/p\"\norientation = \"/q\"", "z-up", pose.ZUp, cborPose, 12_500_000_000, ""},
		{`preset = "nonesuch"`, "z-up", 0, "", 0, "pose-stamped"},
		{"preset = \"xr\"\nroll = \"/roll\"", "", 0, "", 0, "fit together"},
		{`stamp = "/t"`, "", 0, "", 0, "axes"},
	} {
		text := strings.Replace(noZones, "axes = \"z-up\"\n", "", 1)
		if c.axes != "" {
			text = strings.Replace(text, "[vehicle.pose]\n", "[vehicle.pose]\naxes = \""+c.axes+"\"\n", 1)
		}
		text = strings.Replace(text, "[vehicle.limits]", "[vehicle.pose.fields]\n"+c.fields+"\n[vehicle.limits]", 1)
		path := filepath.Join(t.TempDir(), "site.toml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		s, _, err := LoadSurvey(path)
		if c.fault != "" {
			if err == nil || !strings.Contains(err.Error(), c.fault) {
				t.Errorf("%s: %v, want %q", c.fields, err, c.fault)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", c.fields, err)
			continue
		}
		v := &s.Vehicles[0]
		d, err := pose.NewDecoder(v.Config.Fields)
		if err != nil {
			t.Fatal(err)
		}
		var m pose.Sample
		if f := d.Decode([]byte(c.message), &m); f != nil {
			t.Errorf("%s: %v", c.fields, f)
			continue
		}
		if m.Stamp != c.stamp || m.Position != (pose.Vec{X: 1, Y: 2, Z: 3}) || v.Config.Pose.Axes != c.want {
			t.Errorf("%s: %+v, axes %v", c.fields, m, v.Config.Pose.Axes)
		}
		if strings.Contains(c.message, "inear") != m.HasVelocity {
			t.Errorf("%s: velocity %v", c.fields, m.HasVelocity)
		}
	}
}
