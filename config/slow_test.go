package config

import (
	"strings"
	"testing"

	"pinfold/watchdog"
	"pinfold/zones"
)

const stairs = `
[[zone]]
name = "stairs"
kind = "slow"
floor = 0
ceiling = 2
speed = 0.4
polygon = [[1, 1], [2, 1], [2, 2], [1, 2]]
`

// TestSlowZone reads a zone that limits the speed and nothing else: it gives no
// room, takes none, and reaches below the floor it stands on.
func TestSlowZone(t *testing.T) {
	plain := mustParse(t, "testdata/sketch.toml")
	s := mustParseText(t, text(t, "sketch.toml")+stairs)
	v := &s.Vehicles[0]
	if len(v.Config.Slow) != 1 || len(v.Shapes) != len(plain.Vehicles[0].Shapes) || v.Config.Zones.Len() != plain.Vehicles[0].Config.Zones.Len() {
		t.Fatalf("%d slow zones, %d shapes", len(v.Config.Slow), len(v.Shapes))
	}
	z := v.Config.Slow[0]
	top := 0.4
	want := watchdog.Limit{On: true, Max: top, Caution: CautionShare * top, Confirm: DefaultConfirm, Answer: watchdog.ActStop}
	if z.Limit != want || z.Shape.Name != "stairs" || z.Shape.Floor > -1 || z.Shape.Ceiling != 2 {
		t.Errorf("%+v", z)
	}
	if a, b := s.Rooms()[0].AtRest.Area, plain.Rooms()[0].AtRest.Area; a != b {
		t.Errorf("the slow zone changed the room from %v to %v m²", b, a)
	}
}

// TestSpeedOfAPen: a keep-in zone may have a speed limit and stays a pen.
func TestSpeedOfAPen(t *testing.T) {
	s := mustParseText(t, changed(t, text(t, "sketch.toml"), `kind = "keep-in"`, "kind = \"keep-in\"\nspeed = 0.8"))
	c := &s.Vehicles[0].Config
	if len(c.Slow) != 1 || c.Slow[0].Limit.Max != 0.8 || c.Zones.Shapes()[0].Kind != zones.KeepIn {
		t.Errorf("%+v", c.Slow)
	}
}

// TestSlowZoneTighter: a slow zone may come, grow and be slower while running,
// and the core takes what is let through.
func TestSlowZoneTighter(t *testing.T) {
	base := text(t, "sketch.toml") + stairs
	for _, c := range []struct{ old, next, refused string }{
		{"speed = 0.4", "speed = 0.3", ""},
		{"[2, 2], [1, 2]", "[2, 3], [1, 3]", ""},
		{"speed = 0.4", "speed = 0.5", "zone.speed"},
		{"[2, 2], [1, 2]", "[2, 1.5], [1, 1.5]", "zone.speed"},
		{"ceiling = 2\n", "ceiling = 1\n", "zone.speed"},
		{stairs, "", "zone.speed"},
	} {
		old, next := mustParseText(t, base), mustParseText(t, changed(t, base, c.old, c.next))
		err := Tighter(old, next)
		if (err == nil) != (c.refused == "") || err != nil && !strings.Contains(err.Error(), c.refused) {
			t.Errorf("%q to %q: %v", c.old, c.next, err)
		}
		a, b := old.Vehicles[0].Config, next.Vehicles[0].Config
		a.Session, b.Session = "s", "s"
		g, bad := watchdog.New(a)
		if bad != nil {
			t.Fatal(bad)
		}
		if _, taken := g.Tighten(b, 0); (taken == nil) != (err == nil) {
			t.Errorf("%q to %q: the core says %v, config %v", c.old, c.next, taken, err)
		}
	}
}
