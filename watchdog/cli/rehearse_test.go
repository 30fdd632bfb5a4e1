package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"pinfold/sim"
	"pinfold/watchdog/rehearse"
)

// demoFile is the demo's site file, changed.
func demoFile(t *testing.T, change ...string) string {
	t.Helper()
	text := strings.NewReplacer(change...).Replace(sim.DemoSite("mqtt://127.0.0.1:1883"))
	path := filepath.Join(t.TempDir(), "site.toml")
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// rehearsed runs a command and gives what it printed, errors last.
func rehearsed(t *testing.T, want int, args ...string) string {
	t.Helper()
	var out, errw bytes.Buffer
	if code := Main(args, nil, &out, &errw); code != want {
		t.Errorf("%q: exit status %d, want %d: %s", args, code, want, errw.String())
	}
	return out.String() + errw.String()
}

func TestRehearseTheDemo(t *testing.T) {
	out := rehearsed(t, exitFine, "rehearse", "--site", demoFile(t), "--runs", "100", "--what-if", "60", "--vehicle", "mole")
	for _, want := range []string{"mole, rover: ", "0 left the pen", "stairs, edge 1", "reaction 50 ms longer",
		"brakes 20 % weaker", "drift of 1 %", "measure first: stopping.", "hardware\nemergency stop come first", "not a\ncertified"} {
		if !strings.Contains(out, want) {
			t.Errorf("nothing of %q in\n%s", want, out)
		}
	}
	for line := range strings.Lines(out) {
		if n := utf8.RuneCountInString(strings.TrimSuffix(line, "\n")); n > 60 {
			t.Errorf("%d columns: %s", n, line)
		}
	}
	if strings.Contains(out, "wren") || strings.Contains(out, "\r") {
		t.Errorf("another vehicle, or a progress bar where there is no terminal:\n%s", out)
	}
}

// TestRehearseJSON: the document has what the text has.
func TestRehearseJSON(t *testing.T) {
	out := rehearsed(t, exitFine, "rehearse", "--site", demoFile(t), "--runs", "64", "--vehicle", "wren", "--until-leak", "--json")
	var rep rehearse.Report
	if err := json.Unmarshal([]byte(out), &rep); err != nil {
		t.Fatal(err)
	}
	if len(rep.Vehicles) != 1 || rep.Vehicles[0].Outcome.Runs < 60 || !rep.OK() || !strings.Contains(rep.Safety, "not a certified safety function") {
		t.Errorf("%+v", rep)
	}
}

// TestRehearseTrace: the run of a seed is told, twice the same.
func TestRehearseTrace(t *testing.T) {
	site := demoFile(t)
	one := rehearsed(t, exitFine, "rehearse", "--site", site, "--seed", "5", "--trace")
	if two := rehearsed(t, exitFine, "rehearse", "--site", site, "--seed", "5", "--trace"); one != two {
		t.Errorf("told as\n%s\nand as\n%s", one, two)
	}
	for _, want := range []string{"wren, run 5", "mole, run 5", "started", "halts", "of room"} {
		if !strings.Contains(one, want) {
			t.Errorf("nothing of %q in\n%s", want, one)
		}
	}
}

// apartFile is the demo's site with both vehicles in each other's zones, kept
// apart.
func apartFile(t *testing.T) string {
	return demoFile(t, `vehicles = ["wren"]`, "", `vehicles = ["mole"]`, "", "[[zone]]\nname = \"cage\"", "[apart]\ndistance = 0.5\n[[zone]]\nname = \"cage\"",
		`name = "wren"`, "name = \"wren\"\nrank = 2", `name = "mole"`, "name = \"mole\"\nrank = 1")
}

// TestRehearsePairs: a site that keeps vehicles apart has a section for them;
// with a declaration that does not hold its seed is told, and can be run again.
func TestRehearsePairs(t *testing.T) {
	site := apartFile(t)
	out := rehearsed(t, exitFine, "rehearse", "--site", site, "--runs", "64", "--until-leak")
	whole := strings.Join(strings.Fields(out), " ")
	for _, want := range []string{"2 vehicles, 1 pair", "wren and mole, to be kept 0.50 m apart", "mole yields"} {
		if !strings.Contains(whole, want) {
			t.Errorf("nothing of %q in\n%s", want, out)
		}
	}
	for _, l := range strings.Split(out, "\n") {
		if len([]rune(l)) > columns {
			t.Errorf("longer than %d columns: %q", columns, l)
		}
	}
	out = rehearsed(t, exitFound, "rehearse", "--site", site, "--runs", "2000", "--until-leak", "--pair", "wren,mole", "--if", "braking=60%", "--json")
	var rep rehearse.Report
	if err := json.Unmarshal([]byte(out), &rep); err != nil || len(rep.Pairs) != 1 || len(rep.Pairs[0].Leaks) == 0 {
		t.Fatalf("%v: %s", err, out)
	}
	seed := strconv.FormatUint(rep.Pairs[0].Leaks[0].Seed, 10)
	told := []string{"rehearse", "--site", site, "--pair", "wren,mole", "--if", "braking=60%", "--seed", seed, "--trace"}
	one := rehearsed(t, exitFound, told...)
	if two := rehearsed(t, exitFound, told...); one != two || !strings.Contains(one, "wren and mole, run "+seed) || !strings.Contains(one, "are declared") {
		t.Errorf("told as\n%s\nand as\n%s", one, two)
	}
}

// TestRehearseRefuses: every mistake has a next step and exit status 2.
func TestRehearseRefuses(t *testing.T) {
	site := demoFile(t)
	for want, args := range map[string][]string{
		"give 1 to":              {"--site", site, "--runs", "0"},
		"--what-if=-1":           {"--site", site, "--what-if=-1"},
		"give the path":          {"--site", filepath.Join(t.TempDir(), "none.toml")},
		"--run goes with":        {"--site", site, "--run", "5.1"},
		"\"5.x\" is no run":      {"--site", site, "--run", "5.x", "--trace"},
		"braking a size above":   {"--site", site, "--if", "braking=0%"},
		"nothing that can be":    {"--site", site, "--if", "wind=3m/s"},
		"no vehicle \"kite\"":    {"--site", site, "--vehicle", "kite"},
		"names 1 vehicle":        {"--site", site, "--pair", "wren"},
		"no vehicle \"kit\"":     {"--site", site, "--pair", "wren,kit"},
		"add [apart]":            {"--site", site, "--pair", "wren,mole", "--trace"},
		"one of them":            {"--site", site, "--pair", "wren,mole", "--vehicle", "wren"},
		"by --seed":              {"--site", site, "--pair", "wren,mole", "--run", "5.1", "--trace"},
		"pinfold check --site":   {"--site", demoFile(t, `kind = "rover"`, `kind = "boat"`)},
		"nothing is promised":    {"--site", demoFile(t, "margin = 0.10", "margin = 0.10\npredict = false"), "--runs", "1"},
		"nothing is promised th": {"--site", demoFile(t, "margin = 0.10", "margin = 0.10\npredict = false"), "--trace"},
	} {
		if out := rehearsed(t, exitError, append([]string{"rehearse"}, args...)...); !strings.Contains(out, want) {
			t.Errorf("%q: nothing of %q in\n%s", args, want, out)
		}
	}
}
