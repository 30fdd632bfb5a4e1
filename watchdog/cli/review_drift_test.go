package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// driftAfter measures a drift of 5 cm by the session in folder, and gives the
// folder of the session that holds it.
func driftAfter(t *testing.T, folder string) string {
	t.Helper()
	dir := t.TempDir()
	site := tempFile(t, dir, "site.toml", madeHall)
	file := filepath.Join(dir, "mole.align.json")
	h := &hand{frame: pose.YawAlignment(2.1, pose.Vec{X: 4, Y: -3}, 0), at: pose.Vec{X: 1, Y: 1, Z: 0.06}}
	h.rest(2500 * time.Millisecond)
	before := tempFile(t, dir, "before.csv", h.csv())
	h.move(pose.Vec{X: 1.03, Y: 1.04, Z: 0.06})
	h.rest(2500 * time.Millisecond)
	after := tempFile(t, dir, "after.csv", h.csv())
	if code, said := runMain("align", "--site", site, "--file", file, "--pad", "--at", "1,1,0.06", "--heading", "0", "--from", before); code != exitFine {
		t.Fatalf("exit status %d: %s", code, said)
	}
	if code, said := runMain("align", "--site", site, "--file", file, "--close", "--from", after, "--trail", filepath.Dir(folder)); code != exitFound || !strings.Contains(said, "in the trail: ") {
		t.Fatalf("exit status %d: %s", code, said)
	}
	list, err := trail.List(filepath.Dir(folder))
	if err != nil {
		t.Fatal(err)
	}
	return list[len(list)-1].Folder
}

// A drift that was measured at close is told with the session it belongs to, and
// the session that holds it is told for what it is.
func TestReviewTellsTheDriftAtClose(t *testing.T) {
	session := madeSession(t, 1.2)
	dir := filepath.Dir(session)
	if code, said := runMain("review", session, "--json"); code != exitFine || !strings.Contains(said, `"drifts": []`) || !strings.Contains(said, "How far mole's tracker drifted: nobody measured it") {
		t.Errorf("before it was measured: exit status %d: %s", code, said)
	}
	holds := driftAfter(t, session)

	page := filepath.Join(t.TempDir(), "page.html")
	code, said := runMain("review", session, "--html", page)
	if w := inOrder(flat(said), "mole: at close the tracker had crept by 0.050 m on the level", "in heading over 5 s", "NOT COVERED: raise position_error"); code != exitFine || w != "" {
		t.Errorf("exit status %d, does not say %q:\n%s", code, w, said)
	}
	if line := narrow(said); line != "" {
		t.Errorf("wider than 60 columns: %q", line)
	}
	html, err := os.ReadFile(page)
	if err != nil || inOrder(string(html), "drift at close", "<td>0.050 m</td>", "<b>not covered</b>") != "" || strings.Contains(string(html), "not measured at close") {
		t.Errorf("the page does not show it: %v", err)
	}
	var rep review.Report
	if code, said := runMain("review", session, "--json"); code != exitFine || json.Unmarshal([]byte(said), &rep) != nil {
		t.Fatalf("exit status %d: %s", code, said)
	}
	if d := rep.Drifts; len(d) != 1 || d[0].Folder != holds || d[0].Problem != "" || d[0].Session != "made" || d[0].Drift.Covered || len(rep.Missing) != 1 {
		t.Errorf("%+v, missing %q", d, rep.Missing)
	}
	toldForWhatItIs(t, dir, session, holds)
}

func toldForWhatItIs(t *testing.T, dir, session, holds string) {
	t.Helper()
	const sentence = "this is no session of a guard but a measure of how far mole's tracker drifted, taken by align --close after session made"
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"replay", holds}, exitFine, sentence},
		{[]string{"review", holds}, exitFine, sentence},
		{[]string{"review", holds, "--json"}, exitFine, `"session": "made"`},
		{[]string{"replay", holds, "--json"}, exitFine, `"horizontal_m": 0.05`},
		{[]string{"review", holds, "--html", filepath.Join(t.TempDir(), "p.html")}, exitError, sentence},
		{[]string{"review", holds, "--export", "csv", "--out", filepath.Join(t.TempDir(), "p.csv")}, exitError, sentence},
		{[]string{"review", holds, holds}, exitError, "no session of a guard is named"},
		{[]string{"review", session, holds}, exitFine, "is left out: it holds a drift measured after session made"},
		{[]string{"review", dir}, exitFine, "sealed, drift after session made"},
		{[]string{"review", dir, "--json"}, exitFine, `"needed_m"`},
	} {
		code, said := runMain(c.args...)
		if code != c.code || !strings.Contains(flat(said), c.want) || strings.Contains(said, "not begun") {
			t.Errorf("%q: exit status %d, want %d and %q:\n%s", c.args, code, c.code, c.want, said)
		}
		if line := narrow(said); line != "" && c.code != exitError && !strings.Contains(strings.Join(c.args, " "), "--json") {
			t.Errorf("%q: wider than 60 columns: %q", c.args, line)
		}
	}
}

// flat is text without its line breaks.
func flat(text string) string { return strings.Join(strings.Fields(text), " ") }

// A drift that was edited afterwards is not to be relied on, and neither is one
// whose session was replaced by another.
func TestReviewDoesNotRelyOnABadDrift(t *testing.T) {
	session := madeSession(t, 1.2)
	holds := driftAfter(t, session)
	path := filepath.Join(holds, "events.jsonl")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	better := strings.Replace(string(text), `"covered":false`, `"covered":true`, 1)
	if better == string(text) {
		t.Fatal("there is nothing to edit")
	}
	if err := os.WriteFile(path, []byte(better), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, said := runMain("review", session); code != exitFine || !strings.Contains(flat(said), "do not rely on it: ") {
		t.Errorf("exit status %d: %s", code, said)
	}
	if code, said := runMain("replay", holds); code != exitFound || !strings.Contains(flat(said), "do not rely on it: ") {
		t.Errorf("exit status %d: %s", code, said)
	}
	short := text[:bytes.Index(text, []byte("\n"))+1] // killed before it was measured
	if err := os.WriteFile(path, short, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, said := runMain("review", session); !strings.Contains(flat(said), "mole: how far the tracker drifted cannot be read: the session was begun to hold it") {
		t.Errorf("cut short: %s", said)
	}
	other := madeSession(t, 1.1) // of the same name, with another head
	moved := filepath.Join(filepath.Dir(other), filepath.Base(holds))
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(holds, moved); err != nil {
		t.Fatal(err)
	}
	if _, said := runMain("review", other); !strings.Contains(flat(said), "do not rely on it: the session has another head") {
		t.Errorf("another session: %s", said)
	}
}

// A drift that is not covered is learnt from: the position error that covers it is
// proposed, up to the next centimetre, and the site file with it is tighter.
func TestReviewLearnsFromTheDrift(t *testing.T) {
	session := madeSession(t, 1.2)
	site := tempFile(t, t.TempDir(), "site.toml", strings.Replace(madeHall, "margin = 0.10", "margin = 0.10\nposition_error = 0.02", 1))
	code, said := runMain("review", session, "--learn", site)
	if !strings.Contains(flat(said), "the drift was not measured at close") || strings.Contains(said, "position_error = ") {
		t.Errorf("before it was measured: exit status %d: %s", code, said)
	}
	driftAfter(t, session)
	var l review.Lesson
	if code, said := runMain("review", session, "--learn", site, "--json"); code != exitFound || json.Unmarshal([]byte(said), &l) != nil || len(l.Vehicles) != 1 {
		t.Fatalf("exit status %d: %s", code, said)
	}
	d := l.Vehicles[0].Drift
	want := math.Ceil(100*d.Worst) / 100
	if d.N != 1 || !d.Brave || d.Declared != 0.02 || d.Worst < 0.05 || len(l.Changes) != 1 || l.Changes[0].Key != "stopping.position_error" || l.Changes[0].New != fmt.Sprint(want) {
		t.Errorf("drift %+v, changes %+v", d, l.Changes)
	}
	code, said = runMain("review", session, "--learn", site)
	if w := inOrder(said, "drift at close, 1 time: the worst calls for a", "-position_error = 0.02", fmt.Sprintf("+position_error = %g", want)); code != exitFound || w != "" {
		t.Errorf("exit status %d, does not say %q:\n%s", code, w, said)
	}
	if line := narrow(said); line != "" {
		t.Errorf("wider than 60 columns: %q", line)
	}
}
