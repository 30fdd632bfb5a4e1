package config

import (
	"io/fs"
	"strings"
	"testing"

	"pinfold/watchdog/pose"
)

const trustSite = `
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
align = {x = 1.0, residual = 0.02}
[vehicle.limits]
speed = 1.0
[vehicle.stopping]
reaction = "150ms"
deceleration = 3.0
margin = 0.1
`

// What a site file does not say of the trust in a pose is what docs/trust.md
// measured, pose.DefaultConfig, but for the speed of a jump: that is three times
// the vehicle's own limits, where it has one.
func TestTrustDefaultsAreTheMeasuredOnes(t *testing.T) {
	unlimited := strings.Replace(trustSite, "speed = 1.0\n[vehicle.stopping]\n", "[vehicle.stopping]\npredict = false\n", 1)
	for text, maxSpeed := range map[string]float64{trustSite: 3, unlimited: pose.DefaultConfig().MaxSpeed} {
		s, err := Parse("site.toml", []byte(text), func(string) ([]byte, error) { return nil, fs.ErrNotExist })
		if err != nil {
			t.Fatal(err)
		}
		got, want := s.Vehicles[0].Config.Pose, pose.DefaultConfig()
		want.MaxSpeed = maxSpeed
		want.Axes, want.Mount, want.Align = got.Axes, got.Mount, got.Align // what is no threshold
		if got != want {
			t.Errorf("defaults\n%+v, measured\n%+v", got, want)
		}
	}
}

// The jump test can be switched off, and with it what sharpens it.
func TestJumpTestSwitchedOff(t *testing.T) {
	text := strings.Replace(trustSite, "axes = ", "max_speed = 0\naxes = ", 1)
	s, err := Parse("site.toml", []byte(text), func(string) ([]byte, error) { return nil, fs.ErrNotExist })
	if err != nil {
		t.Fatal(err)
	}
	if p := s.Vehicles[0].Config.Pose; p.MaxSpeed != 0 || p.MaxAccel != 0 {
		t.Errorf("%+v", p)
	}
}
