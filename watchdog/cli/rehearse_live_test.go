package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pinfold/sim"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
)

// In real time over mosquitto: every run is stopped, rests and is started again,
// nothing leaks, and nothing at all is said below the site's own topics. The
// permit's whole validity is covered, so that a busy machine cannot make a leak.
func TestRehearseLive(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	real := listen(t, b.URL, sim.Mole)
	text := strings.ReplaceAll(patientDemo(b.URL), "[vehicle.stopping]\n", "[vehicle.stopping]\ncover_loss = true\n")
	text = strings.ReplaceAll(text, "speed = 1.5", "speed = 1.2")
	site := filepath.Join(t.TempDir(), "site.toml")
	if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs := pinfold("rehearse", "--live", "--site", site, "--vehicle", "mole", "--runs", "2", "--json")
	var d liveDoc
	if err := json.Unmarshal([]byte(out), &d); err != nil || code != exitFine {
		t.Fatalf("%v, exit status %d: %s%s", err, code, out, errs)
	}
	if len(d.Runs) != 2 || d.Leaks != 0 || d.Prefix == wire.DefaultPrefix || !strings.HasPrefix(d.Prefix, "rehearsal-") {
		t.Errorf("%+v", d)
	}
	for i := range d.Runs {
		if r := &d.Runs[i]; r.Vehicle != sim.Mole || r.Cause == "" || !(r.Rest > 0) || !(r.Room > 0) {
			t.Errorf("%+v", r)
		}
	}
	real.mu.Lock()
	defer real.mu.Unlock()
	if n := len(real.permits) + len(real.commands) + real.states; n > 0 {
		t.Errorf("a real vehicle would have heard %d messages", n)
	}
}

func TestRehearseLiveSaysALeak(t *testing.T) {
	var out bytes.Buffer
	d := &liveDoc{Runs: []liveRun{{Vehicle: "mole", No: 1, Cause: "zone", Name: "stairs", Leak: 0.12}}, Leaks: 1}
	d.print(&out)
	if text := out.String(); !strings.Contains(text, "NOT CONTAINED: 1 of 1 runs") || !strings.Contains(text, "0.120") || strings.Contains(text, "no leak") {
		t.Error(text)
	}
	for _, args := range [][]string{{"--live"}, {"--live", "--walk", "--site", demoFile(t)}, {"--fault", "pose stops", "--site", demoFile(t)}, {"--live", "--site", demoFile(t), "--runs", "0"}, {"--live", "--site", demoFile(t), "--vehicle", "heron"},
		{"--live", "--site", demoFile(t, "url = \"mqtt://127.0.0.1:1883\"", "url = \"mqtt://127.0.0.1:1883\"\nuser = \"guard\"")}} {
		if code, _, errs := pinfold(append([]string{"rehearse"}, args...)...); code != exitError || errs == "" {
			t.Errorf("%v: exit status %d, %s", args, code, errs)
		}
	}
}
