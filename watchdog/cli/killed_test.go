package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/review"
)

// patientSite is a site whose poses may be late by what a busy machine makes of
// them: what is tested here is not how soon a silence is noticed.
func patientSite(t *testing.T, url string) string {
	t.Helper()
	path := writeSite(t, "", url, 2.8)
	text, err := os.ReadFile(path)
	if err == nil {
		err = os.WriteFile(path, bytes.Replace(text, []byte(`max_age = "100ms"`), []byte(`max_age = "240ms"`), 1), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	return path
}

// session runs a guard, lets it grant and stop, and ends it with sig.
func session(t *testing.T, sig syscall.Signal) (folder string) {
	t.Helper()
	b := mosquittotest.Start(t)
	dir := t.TempDir()
	site := patientSite(t, b.URL)
	guard := start(t, "run", "--site", site, "--trail", dir)
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	stop := make(chan struct{})
	defer close(stop)
	go l.hover(stop, 3, 2, 1.5)
	within(t, 30*time.Second, "a start is granted", func() bool { code, _ := ask("start", "--site", site); return code == exitFine })
	if code, text := ask("stop", "--site", site); code != exitFine {
		t.Fatal(text)
	}
	guard.end(sig)
	return sessionIn(t, dir)
}

// cutAfter copies a session as it would be found had its guard been killed
// after that many lines, with this piece of the next one.
func cutAfter(t *testing.T, folder string, lines []string, n int, piece string) string {
	t.Helper()
	to := filepath.Join(t.TempDir(), filepath.Base(folder))
	if err := os.CopyFS(to, os.DirFS(folder)); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(to, "events.jsonl"), []byte(strings.Join(lines[:n], "")+piece), 0o600); err != nil {
		t.Fatal(err)
	}
	return to
}

// Wherever the kill comes, replay finds no difference in what can be judged
// again, and says what cannot.
func TestReplayOfASessionKilledAnywhere(t *testing.T) {
	t.Parallel()
	folder := session(t, syscall.SIGTERM)
	text, err := os.ReadFile(filepath.Join(folder, "events.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.SplitAfter(string(text), "\n")
	lines = lines[:len(lines)-1] // what follows the last newline
	beyond := uint64(0)
	for n := 2; n < len(lines); n++ {
		r, err := review.Reproduce(cutAfter(t, folder, lines, n, lines[n][:len(lines[n])/2]))
		if err != nil {
			t.Fatalf("cut after line %d: %v", n, err)
		}
		if r.Sealed || !r.Same && r.Records > 0 {
			t.Errorf("cut after line %d of %d: %+v", n, len(lines), r)
		}
		beyond += r.Beyond
	}
	if beyond == 0 {
		t.Error("no cut left a record after the end of the intake: the test tests nothing")
	}
	if r, err := review.Reproduce(folder); err != nil || !r.Same || !r.Sealed || r.Beyond+r.Unwritten != 0 {
		t.Errorf("the whole session: %v %+v", err, r)
	}
}

func TestReplayOfAKilledSessionSaysWhereItsIntakeEnds(t *testing.T) {
	t.Parallel()
	folder := session(t, syscall.SIGKILL)
	var out, errw bytes.Buffer
	code := Main([]string{"replay", folder}, nil, &out, &errw)
	if code != exitFine || !strings.Contains(out.String(), "the intake ends at ") || !strings.Contains(out.String(), "cannot be judged again") {
		t.Errorf("exit status %d: %s%s", code, out.String(), errw.String())
	}
}
