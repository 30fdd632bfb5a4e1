package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"pinfold/config"
	"pinfold/watchdog/review"
)

// fitsTerminal says which lines are longer than a small terminal; paths and lines of
// a site file cannot be broken.
func fitsTerminal(t *testing.T, out string) {
	t.Helper()
	for _, l := range strings.Split(out, "\n") {
		if utf8.RuneCountInString(l) > 60 && !strings.Contains(l, "/") && !strings.HasPrefix(l, " polygon") {
			t.Errorf("more than 60 columns: %q", l)
		}
	}
}

func TestReviewLearns(t *testing.T) {
	folders := []string{madeSession(t, 1.0), madeSession(t, 2.0)}
	dir := t.TempDir()
	site, out := filepath.Join(dir, "site.toml"), filepath.Join(dir, "next.toml")
	if err := os.WriteFile(site, []byte(madeHall), 0o600); err != nil {
		t.Fatal(err)
	}
	args := append([]string{"review", "--learn", site}, folders...)
	code, text, errs := pinfold(append(args, "--out", out)...)
	if code != exitFound || !strings.Contains(text, "BRAVE") || !strings.Contains(text, "-deceleration = 1.2") ||
		!strings.Contains(text, "emergency stop come first") || !strings.Contains(text, "braking in 2 stops") {
		t.Fatalf("exit %d, %s%s", code, text, errs)
	}
	fitsTerminal(t, text)
	old, err := config.Load(site)
	if err != nil {
		t.Fatal(err)
	}
	next, err := config.Load(out)
	if err != nil {
		t.Fatal(err)
	}
	if err := config.Tighter(old, next); err != nil {
		t.Error(err)
	}
	if a := next.Vehicles[0].Config.Stopping.Deceleration; a > 1.0 || a < 0.95 {
		t.Errorf("%g m/s² proposed for 1.0 driven", a)
	}
	if code, _, errs := pinfold(append(args, "--out", out)...); code != exitError || !strings.Contains(errs, "--replace") {
		t.Errorf("over a file that is there: exit %d, %q", code, errs)
	}
	code, text, _ = pinfold(append(args, "--json")...)
	var l review.Lesson
	d := json.NewDecoder(strings.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&l); err != nil || code != exitFound || len(l.Changes) != 1 || len(l.Sessions) != 2 || l.Safety == "" {
		t.Errorf("as JSON: exit %d, %v, %+v", code, err, l)
	}
	if code, text, _ := pinfold("review", "--learn", site, folders[1]); code != exitFine || !strings.Contains(text, "nothing tighter") {
		t.Errorf("a session within what is declared: exit %d, %s", code, text)
	}
	if code, _, errs := pinfold("review", "--learn", site, dir); code != exitError || !strings.Contains(errs, "folders of sessions") {
		t.Errorf("no session: exit %d, %q", code, errs)
	}
}

func TestReviewCompares(t *testing.T) {
	a, b := madeSession(t, 1.0), madeSession(t, 2.0)
	code, out, errs := pinfold("review", a, b)
	if code != exitFine || !strings.Contains(out, a) || !strings.Contains(out, b) || strings.Count(out, "sealed") != 2 ||
		!strings.Contains(out, "emergency stop come first") {
		t.Fatalf("exit %d, %s%s", code, out, errs)
	}
	fitsTerminal(t, out)
	code, out, _ = pinfold("review", "--json", a, b)
	var rows []review.Compared
	if err := json.Unmarshal([]byte(out), &rows); err != nil || code != exitFine || len(rows) != 2 || rows[0].Folder != a {
		t.Errorf("as JSON: exit %d, %v, %+v", code, err, rows)
	}
	for _, c := range []struct {
		want string
		args []string
	}{
		{"one session", []string{"--html", "x.html", a, b}},
		{"one at a time", []string{"--html", "x.html", "--learn", "site.toml", a}},
		{"folders of sessions", []string{a, t.TempDir()}},
		{"counts once", []string{a, b, a + "/"}},
	} {
		if code, _, errs := pinfold(append([]string{"review"}, c.args...)...); code != exitError || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %q", c.args, code, errs)
		}
	}
}
