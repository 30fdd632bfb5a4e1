package review

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
)

// audited is the report of a session of the rig.
func audited(t *testing.T, last time.Duration) *Report {
	t.Helper()
	rep, err := Audit(session(t, last), "words")
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// siteFile writes the hall with changes.
func siteFile(t *testing.T, change ...string) (path, text string) {
	t.Helper()
	text = strings.NewReplacer(change...).Replace(hall)
	path = filepath.Join(t.TempDir(), "site.toml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path, text
}

func mustParse(t *testing.T, text string) *config.Site {
	t.Helper()
	s, err := config.Parse("site.toml", []byte(text), nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The rig brakes with 2 m/s² after 100 ms, and never drives faster than 0.9 m/s:
// a site file that promises more is tightened, and keeps its comments.
func TestLearnTightensWhatWasBrave(t *testing.T) {
	reports := []*Report{audited(t, 60*time.Second), audited(t, 40*time.Second)}
	path, text := siteFile(t, wall, "[[0,0],[20,0],[20,15],[0,15]]", "speed = 1.0", "speed = 2.0 # as bought",
		`reaction = "150ms"`, `  reaction  =  "60ms"   # of the data sheet`, "deceleration = 1.2", "deceleration = 2.5# hoped")
	l, err := Learn(reports, path, "words")
	if err != nil {
		t.Fatal(err)
	}
	v := &l.Vehicles[0]
	if v.Reaction.N != 2 || v.Deceleration.N != 2 || !v.Reaction.Brave || !v.Deceleration.Brave || v.Reaction.Next != 1.0/3 {
		t.Errorf("%+v", v)
	}
	if math.Abs(v.Reaction.Mean-0.105) > 0.011 || math.Abs(v.Deceleration.Mean-2) > 0.1 {
		t.Errorf("reaction %.4f s, braking %.3f m/s²", v.Reaction.Mean, v.Deceleration.Mean)
	}
	if len(l.Changes) != 3 {
		t.Fatalf("%d changes, want 3: %+v, findings %q", len(l.Changes), l.Changes, v.Findings)
	}
	next, old := mustParse(t, string(l.Proposed)), mustParse(t, text)
	if err := config.Tighter(old, next); err != nil {
		t.Error(err)
	}
	if config.Tighter(next, old) == nil {
		t.Error("the proposal changes nothing that counts")
	}
	c := &next.Vehicles[0].Config
	if r := c.Stopping.Reaction.Seconds(); r < v.Reaction.Worst-1e-9 || r > v.Reaction.Worst+0.0051 {
		t.Errorf("reaction %g s for a worst of %g", r, v.Reaction.Worst)
	}
	if a := c.Stopping.Deceleration; a > v.Deceleration.Worst+1e-9 || a < v.Deceleration.Worst-0.0101 {
		t.Errorf("braking %g m/s² for a worst of %g", a, v.Deceleration.Worst)
	}
	if m := c.Limits[watchdog.LimitSpeed].Max; m < 1 || m > 1.06 {
		t.Errorf("speed limit %g m/s for 0.9 used", m)
	}
	for _, want := range []string{"# as bought", "# of the data sheet", "# hoped"} {
		if !strings.Contains(string(l.Proposed), want) {
			t.Errorf("the comment %q is gone", want)
		}
	}
	applies(t, text, l)
}

// applies has patch(1) apply the diff: it must come to what is proposed.
func applies(t *testing.T, text string, l *Lesson) {
	t.Helper()
	tool, err := exec.LookPath("patch")
	if err != nil {
		t.Log("no patch(1) here: whether the diff applies was not tried")
		return
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(tool, "-s", "-F0", file)
	cmd.Stdin = strings.NewReader(l.Diff)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("patch: %v %s\n%s", err, out, l.Diff)
	}
	got, err := os.ReadFile(file)
	if err != nil || string(got) != string(l.Proposed) {
		t.Errorf("patch comes to something else:\n%s", got)
	}
}

// What would loosen is said and not proposed.
func TestLearnNeverLoosens(t *testing.T) {
	reports := []*Report{audited(t, 90*time.Second)}
	path, text := siteFile(t)
	l, err := Learn(reports, path, "words")
	if err != nil {
		t.Fatal(err)
	}
	if len(l.Changes) != 0 || l.Diff != "" || string(l.Proposed) != text {
		t.Errorf("proposed: %+v", l.Changes)
	}
	all := strings.Join(l.Vehicles[0].Findings, "\n")
	for _, want := range []string{"declaring less would loosen", "declaring more would loosen", "tilt was not used", "not acknowledged"} {
		if !strings.Contains(all, want) {
			t.Errorf("no finding says %q:\n%s", want, all)
		}
	}
}

func TestLearnFindsWhatItCannotPlace(t *testing.T) {
	reports := []*Report{audited(t, 40*time.Second)}
	for _, c := range []struct {
		name   string
		change []string
		want   string
	}{
		{"an inline limit", []string{wall, "[[0,0],[20,0],[20,15],[0,15]]", "speed = 1.0", "speed = { max = 2.0, confirm = 3 }"}, "line of its own"},
		{"a caution above it", []string{wall, "[[0,0],[20,0],[20,15],[0,15]]", "speed = 1.0\n", "[vehicle.limits.speed]\nmax = 2.0\ncaution = 1.9\n"}, "caution"},
		{"a slope", []string{"deceleration = 1.2", "deceleration = 2.5\nslope = 0.01", `"150ms"`, `"110ms"`}, "on the slope"},
		{"too short a time", []string{wall, "[[0,0],[20,0],[20,15],[0,15]]", "speed = 1.0", "speed = 2.0"}, "too few"},
	} {
		path, text := siteFile(t, c.change...)
		used := reports
		if c.name != "too short a time" {
			long := *reports[0]
			long.Vehicles = append([]Vehicle(nil), long.Vehicles...)
			long.Vehicles[0].permit = 1000
			used = []*Report{&long}
		}
		l, err := Learn(used, path, "words")
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if all := strings.Join(l.Vehicles[0].Findings, "\n"); !strings.Contains(all, c.want) {
			t.Errorf("%s: no finding says %q:\n%s", c.name, c.want, all)
		}
		if err := config.Tighter(mustParse(t, text), mustParse(t, string(l.Proposed))); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func TestLearnRefuses(t *testing.T) {
	rep := audited(t, 20*time.Second)
	path, _ := siteFile(t)
	other, _ := siteFile(t, `"mole"`, `"vole"`)
	broken := *rep
	broken.Integrity.Same = false
	for _, c := range []struct {
		name, path string
		rep        *Report
		want       string
	}{
		{"another vehicle", other, rep, "no vehicle of"},
		{"a trail that does not hold", path, &broken, "nothing is learnt"},
		{"no file", path + "x", rep, "give --learn"},
	} {
		if _, err := Learn([]*Report{c.rep}, c.path, "words"); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// Figures by hand: mean 4, squares about it 4+0+4, over two.
func TestMeasured(t *testing.T) {
	m := Measured{Declared: 3}
	for _, v := range []float64{2, 4, 6} {
		m.add(v, true)
	}
	if m.N != 3 || m.Mean != 4 || m.Spread != 2 || m.Worst != 2 || !m.Brave || m.Next != 0.25 {
		t.Errorf("%+v", m)
	}
	m = Measured{Declared: 6}
	for _, v := range []float64{2, 6} {
		m.add(v, false)
	}
	if m.Worst != 6 || m.Brave {
		t.Errorf("as declared is not worse: %+v", m)
	}
}

// Changes apart and close together, at the ends, and without a last newline.
func TestUnified(t *testing.T) {
	lines := strings.SplitAfter(strings.Repeat("line\n", 29)+"last", "\n")
	for i := range lines {
		lines[i] = strings.Replace(lines[i], "line", "line "+string(rune('a'+i)), 1)
	}
	old := strings.Join(lines, "")
	for _, at := range [][]int{{0}, {29}, {0, 29}, {3, 4}, {3, 9}, {3, 10}, {3, 11}, {1, 8, 15, 22, 28}} {
		next := append([]string(nil), lines...)
		for _, i := range at {
			next[i] = "new " + next[i]
		}
		text := strings.Join(next, "")
		applies(t, old, &Lesson{Diff: unified("site.toml", old, text), Proposed: []byte(text)})
	}
	if unified("site.toml", old, old) != "" {
		t.Error("a difference where there is none")
	}
}

func TestCompare(t *testing.T) {
	a, b := audited(t, 40*time.Second), audited(t, 30*time.Second)
	b.Integrity.Sealed = false
	rows := Compare([]*Report{a, b})
	if len(rows) != 2 || rows[0].Integrity != "sealed" || rows[1].Integrity != "open" {
		t.Fatalf("%+v", rows)
	}
	for i, r := range rows {
		if r.Vehicle != "mole" || r.Stops < 1 || r.Cautions < 1 || r.Declared != 0.15 || r.Brave || math.Abs(r.Reaction-0.105) > 0.011 || r.Least != -1 || r.Outside {
			t.Errorf("row %d: %+v", i, r)
		}
	}
	if rows[0].Duration < rows[1].Duration+9 {
		t.Errorf("%g s and %g s", rows[0].Duration, rows[1].Duration)
	}
}

// An approach that ended in a stop comes to nothing by definition and says
// nothing about how close the vehicle went.
func TestLeastLeavesOutWhatWasStopped(t *testing.T) {
	c := newCollector(&mustParse(t, hall).Vehicles[0], 10)
	want := func(cautions int, least float64) {
		t.Helper()
		if c.v.Cautions != cautions || c.v.Least != least {
			t.Errorf("%d cautions, %g m; want %d, %g m", c.v.Cautions, c.v.Least, cautions, least)
		}
	}
	want(0, -1)
	c.least(math.Inf(1))
	want(0, -1)
	c.least(2)
	c.turn(watchdog.Caution, 1)
	c.near.Clearance = 0.4
	want(1, 2)
	c.turn(watchdog.Clear, 2)
	want(1, 0.4)
	c.turn(watchdog.Caution, 3)
	c.near.Clearance = 0.001
	c.turn(watchdog.Stop, 4)
	want(2, 0.4)
}
