package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

const noZones = `
[site]
name = "Test hall"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = "mqtt://127.0.0.1:1883"
[[vehicle]]
name = "wren"
kind = "multirotor"
radius = 0.22
height = 0.12
[vehicle.pose]
axes = "z-up"
[vehicle.limits]
height = 2.8
speed = 1.5
climb = 1.0
descent = 0.8
[vehicle.stopping]
reaction = "150ms"
deceleration = 3.0
`

// A site that is being surveyed has no zones yet, or names a file that trace
// is about to write; all else is as strict as ever.
func TestLoadSurvey(t *testing.T) {
	zone := "[[zone]]\nname = \"cage\"\nkind = \"keep-in\"\nfloor = 0\nceiling = 3\npolygon = [[0,0],[4,0],[4,4]]\n"
	for _, c := range []struct {
		text   string
		files  int
		shapes int
		want   string // of the error
	}{
		{noZones, 0, 0, ""},
		{noZones + zone, 0, 1, ""},
		{noZones + strings.Replace(zone, "keep-in", "nonsense", 1), 0, 0, ""},
		{"zones = [\"none.geojson\", \"other.geojson\"]\n" + noZones, 2, 0, ""},
		{strings.Replace(noZones, "radius = 0.22", "radius = -1", 1), 0, 0, "site.toml:10: vehicle.radius = -1"},
		{strings.Replace(noZones, "[broker]", "[brokers]", 1), 0, 0, "brokers"},
	} {
		path := filepath.Join(t.TempDir(), "site.toml")
		if err := os.WriteFile(path, []byte(c.text), 0o600); err != nil {
			t.Fatal(err)
		}
		s, files, err := LoadSurvey(path)
		if c.want != "" {
			if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "zone") {
				t.Errorf("%v, want %q and nothing of zones", err, c.want)
			}
			continue
		}
		if err != nil {
			t.Errorf("%v:\n%s", err, c.text)
			continue
		}
		if len(files) != c.files || len(s.Vehicles) != 1 || len(s.Vehicles[0].Shapes) != c.shapes {
			t.Errorf("%d files, %+v:\n%s", len(files), s.Vehicles, c.text)
		}
		if s.Vehicles[0].Config.Zones != nil {
			t.Error("the vehicle could be guarded")
		}
		if _, err := Load(path); (err == nil) != (c.shapes == 1) {
			t.Errorf("Load: %v", err)
		}
	}
}
