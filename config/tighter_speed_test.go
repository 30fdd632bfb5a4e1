package config

import (
	"os"
	"strings"
	"testing"

	"pinfold/watchdog"
)

// A lower speed limit is tighter, though the jump test that follows from it
// changes: both the loader and the core take it while running.
func TestLowerSpeedLimitIsTaken(t *testing.T) {
	data, err := os.ReadFile("testdata/demo.toml")
	if err != nil {
		t.Fatal(err)
	}
	load := func(text string) *Site {
		t.Helper()
		s, err := Parse("site.toml", []byte(text), readTestdata)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	old := load(string(data))
	slower := strings.Replace(string(data), "speed = 1.5", "speed = 1.2", 1)
	if slower == string(data) {
		t.Fatal("testdata/demo.toml has no speed limit of 1.5 to lower")
	}
	next := load(slower)
	if err := Tighter(old, next); err != nil {
		t.Errorf("refused: %v", err)
	}
	if Tighter(next, old) == nil {
		t.Error("a higher speed limit is taken while running")
	}
	a, b := old.Vehicles[0].Config, next.Vehicles[0].Config
	a.Session, b.Session = "s", "s"
	g, err := watchdog.New(a)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := g.Tighten(b, 0); err != nil {
		t.Errorf("the core refused: %v", err)
	}
}
