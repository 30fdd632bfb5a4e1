package config

import (
	"errors"
	"io/fs"
	"math"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

func TestAlignmentFile(t *testing.T) {
	text := `
[site]
name = "Hall"
local_rules = "none: a test"
[broker]
url = "mqtt://127.0.0.1:1883"
[[zone]]
name = "cage"
kind = "keep-in"
floor = 0.0
ceiling = 3.2
polygon = [[0,0],[7,0],[7,5],[0,5]]
[[vehicle]]
name = "wren"
kind = "rover"
radius = 0.2
height = 0.1
[vehicle.pose]
axes = "z-up"
[vehicle.pose.align]
file = "wren.align.json"
[vehicle.limits]
speed = 1.0
[vehicle.stopping]
reaction = "150ms"
deceleration = 3.0
margin = 0.1
`
	a := pose.YawAlignment(1, pose.Vec{X: 2}, 0.07)
	a.Tracker, a.Since = "cam", 5
	f := pose.AlignmentFile{Vehicle: "wren", Alignment: a, Method: pose.MethodPad, Made: time.Unix(1, 0).UTC(), Samples: 9, Pad: &pose.PadSpot{}}
	load := func(text string, data []byte) (*Site, error) {
		return Parse("site.toml", []byte(text), func(name string) ([]byte, error) {
			if data == nil || name != "wren.align.json" {
				return nil, fs.ErrNotExist
			}
			return data, nil
		})
	}
	data, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	s, err := load(text, data)
	if err != nil {
		t.Fatal(err)
	}
	c := s.Vehicles[0].Config
	if c.Pose.Align.Tracker != "cam" || math.Abs(c.Stopping.PositionErr-0.07) > 0.03 || len(s.Files) != 2 {
		t.Errorf("align %+v, position error %v, %d files", c.Pose.Align, c.Stopping.PositionErr, len(s.Files))
	}
	s, err = load(text, nil)
	if err != nil || s.Vehicles[0].Config.Pose.Align.Since != math.MaxInt64 {
		t.Fatalf("without the file: %v", err)
	}
	said := false
	for _, p := range s.Cautions {
		said = said || strings.Contains(p.String(), "no permit")
	}
	if !said {
		t.Errorf("the missing file is not said: %v", s.Cautions)
	}
	f.Vehicle = "mole"
	other, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	for want, try := range map[string]func() (*Site, error){
		`alignment of "mole"`: func() (*Site, error) { return load(text, other) },
		"alignment file":      func() (*Site, error) { return load(text, []byte("{}")) },
		"align.yaw":           func() (*Site, error) { return load(strings.Replace(text, "file =", "yaw = 3\nfile =", 1), data) },
	} {
		_, err := try()
		var p Problems
		if !errors.As(err, &p) || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
}
