package cli

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/watchdog"
	"pinfold/watchdog/app"
)

func TestDemoShowsTheWholeJob(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	var out, errw bytes.Buffer
	code := Main([]string{"demo", "--json", "--trail", dir}, nil, &out, &errw)
	if code != exitFine {
		t.Fatalf("exit status %d: %s\n%s", code, errw.String(), out.String())
	}
	var doc demoDoc
	d := json.NewDecoder(&out)
	d.DisallowUnknownFields()
	if err := d.Decode(&doc); err != nil {
		t.Fatalf("not one document as declared: %v", err)
	}
	if d.More() {
		t.Error("more than one document")
	}
	if !strings.Contains(doc.Safety, "emergency stop come first") {
		t.Error("the safety words are missing")
	}
	answered := map[string]bool{}
	for _, r := range doc.Review.Rows {
		if r.Answer != nil {
			answered[r.Vehicle+" "+r.Cause+" "+r.Name] = true
			if r.Answer.Edge <= 0 {
				t.Errorf("%s came to rest %.3f m from the edge", r.Vehicle, r.Answer.Edge)
			}
		}
		if r.Breach > 0 {
			t.Errorf("%s was out by %.3f m: %s", r.Vehicle, r.Breach, r.Text)
		}
	}
	for _, want := range []string{"wren zone cage", "wren zone post", "mole zone stairs", "wren speed speed", "wren tilt tilt",
		"wren pose-stale ", "wren link-lost ", "mole link-lost "} {
		if !answered[want] {
			t.Errorf("no stop answered for %q; answered: %v", want, answered)
		}
	}
	proven(t, sessionIn(t, dir))
}

// quietSite is the demo's site, for tests of what is printed.
func quietSite(t *testing.T) *config.Site {
	t.Helper()
	s, err := config.Parse("demo.toml", []byte(sim.DemoSite("mqtt://127.0.0.1:1")), noFiles)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestDemoNeedsNoMoreThan60Columns(t *testing.T) {
	var out bytes.Buffer
	s := newShow(&out, false, quietSite(t))
	s.live, s.color = true, true // as on a terminal
	s.intro(quietSite(t))
	long := watchdog.Cause{Word: "zone", Name: strings.Repeat("n", 64)}
	snap := watchdog.Snapshot{Vehicle: "wren", Level: watchdog.Stop, Judged: true, Causes: []watchdog.Cause{long}}
	snap.Nearest.Clearance = -12.345
	s.watch(0, &snap)
	s.say(app.Line{Vehicle: "wren", Level: "stop", Text: "would have crossed the edge of cage by 0.21 m, and this goes on for a while more"})
	s.story(sim.StoryLine{Vehicle: "mole", Text: "drives on past the head of the stairs, slowly and with a good deal of noise"})
	s.end()
	for _, l := range strings.Split(out.String(), "\n") {
		if n := visible(strings.NewReplacer("\x1b[2A", "", "\x1b[J", "").Replace(l)); n > 60 {
			t.Errorf("%d columns: %q", n, l)
		}
	}
	if !strings.Contains(out.String(), "\x1b[1;35mstop") {
		t.Error("no level is painted, so the test does not look at what it means to")
	}
}

func TestPlainOutputHasNoEscapes(t *testing.T) {
	var out bytes.Buffer
	s := newShow(&out, false, quietSite(t))
	snap := watchdog.Snapshot{Vehicle: "wren", Level: watchdog.Clear}
	s.watch(0, &snap)
	s.say(app.Line{At: time.Second, Vehicle: "wren", Level: "clear", Text: "by desk"})
	s.end()
	if strings.Contains(out.String(), "\x1b") || !strings.Contains(out.String(), "clear: by desk") {
		t.Errorf("printed %q", out.String())
	}
}

func TestVehicleLineSaysWhatItKnows(t *testing.T) {
	s := newShow(&bytes.Buffer{}, false, quietSite(t))
	snap := watchdog.Snapshot{Vehicle: "wren", Level: watchdog.Waiting}
	if got := s.vehicleLine(&snap); got != "wren  waiting" {
		t.Errorf("before the first pose: %q", got)
	}
	snap.Judged, snap.Level, snap.Speed = true, watchdog.Caution, 1.25
	snap.Pose.HasVelocity = true
	snap.Nearest.Clearance = math.Inf(-1)
	snap.Near = []watchdog.Cause{{Word: "speed", Name: "speed"}}
	if got := s.vehicleLine(&snap); got != "wren  caution room  -Inf m 1.25 m/s speed" {
		t.Errorf("with a pose: %q", got)
	}
}
