package cli

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/trail"
)

func TestReviewListsAndRefuses(t *testing.T) {
	dir := t.TempDir()
	run := func(args ...string) (int, string, string) {
		var out, errw bytes.Buffer
		code := Main(append([]string{"review"}, args...), bytes.NewReader(nil), &out, &errw)
		return code, out.String(), errw.String()
	}
	if code, _, errs := run(dir); code != exitError || !strings.Contains(errs, "no session in") {
		t.Errorf("an empty folder: exit %d, %q", code, errs)
	}
	if code, _, errs := run("--html", filepath.Join(dir, "p.html"), dir); code != exitError || !strings.Contains(errs, "one session") {
		t.Errorf("a page of a whole trail: exit %d, %q", code, errs)
	}
	w, err := trail.Create(trail.Options{Dir: dir, Session: "s1", Guard: "g", Site: "hall"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Close(5 * time.Second); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := run(dir); code != exitFine || !strings.Contains(out, "sealed, 0 commands") {
		t.Errorf("a trail of one session: exit %d, %q, %q", code, out, errs)
	}
	code, _, errs := run(sessionIn(t, dir))
	if code != exitError || !strings.Contains(errs, "no site file") {
		t.Errorf("a session without a site file: exit %d, %q", code, errs)
	}
}
