package config

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog"
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
	f := pose.AlignmentFile{Site: "Hall", Vehicle: "wren", Alignment: a, Method: pose.MethodPad, Made: time.Unix(1, 0).UTC(), Samples: 9, Pad: &pose.PadSpot{}}
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
	if c.Pose.Align.Tracker != "cam" || c.Stopping.AlignErr != 0.07 || math.Abs(c.Stopping.PlaceErr()-0.09) > 1e-12 || len(s.Files) != 2 {
		t.Errorf("align %+v, position error %v, %d files", c.Pose.Align, c.Stopping.PositionErr, len(s.Files))
	}
	sum := sha256.Sum256(data)
	if want := (watchdog.Tie{Renew: true, Site: "Hall", Hash: hex.EncodeToString(sum[:]), Made: 1000, Most: DefaultAlignTolerance}); c.Tie != want {
		t.Errorf("tie %+v, want %+v", c.Tie, want)
	}
	if c.Pose.RestartRadius != pose.DefaultConfig().RestartRadius {
		t.Errorf("restart radius %v: a tracker without an id that falls back to its origin would not be noticed", c.Pose.RestartRadius)
	}
	// What cannot be used leaves a site that align can be run with, and no permit.
	tight := strings.Replace(text, "align.json\"", "align.json\"\ntolerance = 0.05", 1)
	f.Site = "Yard"
	yard, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	f.Site = ""
	first, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	if s, err := load(text, first); err != nil || s.Vehicles[0].Config.Pose.Align.Void() {
		t.Errorf("one of the first format, which names no site: %v", err)
	}
	f.Alignment.Tracker = ""
	recorded, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	if s, err := load(text, recorded); err != nil || !strings.Contains(fmt.Sprint(s.Cautions), "gets no permit by it") || s.Vehicles[0].Config.Pose.Align.Void() {
		t.Errorf("one of a recording that tells no session: %v, %v", err, s.Cautions)
	}
	for what, try := range map[string]struct {
		text string
		data []byte
	}{`is the alignment of another site, "Yard"`: {text, yard}, "cannot be read": {text, nil}, "is empty": {text, []byte{}}, "is no alignment": {text, []byte("{}")}, "0.07 m, more than the tolerance of 0.05": {tight, data}} {
		s, err := load(try.text, try.data)
		if err != nil || !s.Vehicles[0].Config.Pose.Align.Void() || s.Vehicles[0].Config.Tie.Hash != "" {
			t.Errorf("%s: not void: %v", what, err)
			continue
		}
		said := false
		for _, p := range s.Cautions {
			said = said || strings.Contains(p.String(), what) && strings.Contains(p.String(), "no permit")
		}
		if !said {
			t.Errorf("%s: it is not said: %v", what, s.Cautions)
		}
	}
	if s.Vehicles[0].AlignFile != "wren.align.json" {
		t.Errorf("the alignment file is %q", s.Vehicles[0].AlignFile)
	}
	f.Vehicle = "mole"
	other, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	for want, try := range map[string]func() (*Site, error){
		`alignment of "mole"`: func() (*Site, error) { return load(text, other) },
		"align.yaw":           func() (*Site, error) { return load(strings.Replace(text, "file =", "yaw = 3\nfile =", 1), data) },
		"align.tolerance":     func() (*Site, error) { return load(strings.Replace(tight, "0.05", "11", 1), data) },
	} {
		_, err := try()
		var p Problems
		if !errors.As(err, &p) || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	another(t, s, f, load, text)
}

// another alignment file is no change of the site: the guard asks for it itself.
func another(t *testing.T, old *Site, f pose.AlignmentFile, load func(string, []byte) (*Site, error), text string) {
	t.Helper()
	f.Vehicle, f.Alignment.Residual, f.Alignment.Tracker = "wren", 0.2, "cam-2"
	data, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	next, err := load(text, data)
	if err != nil {
		t.Fatal(err)
	}
	checkTighter(t, old, next, "another alignment", "")
	checkTighter(t, next, old, "the one before", "")
	fixed, err := load(strings.Replace(text, `file = "wren.align.json"`, "yaw = 1\nresidual = 0.07", 1), nil)
	if err != nil {
		t.Fatal(err)
	}
	checkTighter(t, old, fixed, "an alignment that stands in the site file", "vehicle.pose.align")
}
