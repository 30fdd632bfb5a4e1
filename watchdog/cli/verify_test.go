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
	"pinfold/watchdog/trail"
)

func verify(args ...string) (int, string) {
	var out, errw bytes.Buffer
	code := Main(append([]string{"verify"}, args...), nil, &out, &errw)
	return code, out.String() + errw.String()
}

// Each thing that verify can find has its exit status.
func TestVerifyHasAnExitStatusForEachFinding(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	dir := t.TempDir()
	site := writeSite(t, "", b.URL, 2.8)
	guard := start(t, "run", "--site", site, "--trail", dir)
	guard.waitFor("watching")
	l := listen(t, b.URL, "wren")
	time.Sleep(1500 * time.Millisecond) // a frame or two
	folder, head := sessionIn(t, dir), l.last().Trail
	other := strings.Repeat("ab", 32)
	expect := func(name string, status int, want string, args ...string) {
		t.Helper()
		if code, text := verify(append(args, folder)...); code != status || !strings.Contains(text, want) {
			t.Errorf("%s: exit status %d, want %d and %q:\n%s", name, code, status, want, text)
		}
	}
	key, err := trail.PublicKey(filepath.Join(dir, "trail.key"))
	if err != nil {
		t.Fatal(err)
	}
	expect("running", exitWriting, "still being written")
	expect("running, as JSON", exitWriting, `"Writing": true`, "--json")
	expect("running, with its head", exitFine, "up to the head", "--head", head)
	expect("running, with its key", exitWriting, "still being written", "--key", key)
	expect("an empty head", exitError, "give the 64 hex digits", "--head", "")
	expect("a head that is none", exitError, "give the 64 hex digits", "--head", "zz"+head[2:])
	expect("half a head", exitError, "give the 64 hex digits", "--head", head[:32])
	expect("an empty key", exitError, "give the 64 hex digits", "--key", "")
	if code, text := verify(dir); code != exitError || !strings.Contains(text, "is a trail with 1 session; name the folder of one session, such as "+folder) {
		t.Errorf("no session: exit status %d, %s", code, text)
	}

	guard.end(syscall.SIGKILL)
	expect("killed", exitUnsealed, "not sealed: a cut tail cannot be told without the head; give --head")
	expect("killed, with its head", exitFine, "nothing was changed or cut off up to the head", "--head", strings.ToUpper(head))
	expect("killed, with another head", exitFound, "nowhere in the chain", "--head", other)
	expect("killed, another key demanded", exitFound, "and not by the demanded", "--key", other)

	tornIn(t, folder, expect)

	again := start(t, "run", "--site", site, "--trail", dir)
	again.waitFor("watching")
	if code := again.end(syscall.SIGTERM); code != exitFine {
		t.Fatalf("exit status %d", code)
	}
	list, err := trail.List(dir)
	if err != nil || len(list) != 2 {
		t.Fatalf("%d sessions: %v", len(list), err)
	}
	folder = list[1].Folder
	expect("sealed", exitFine, "nothing was changed")
	expect("sealed, by the key file", exitFine, "nothing was changed", "--key", filepath.Join(dir, "trail.key"))
	expect("sealed, another key demanded", exitFound, "and not by the demanded", "--key", other)
	events := filepath.Join(folder, "events.jsonl")
	text, err := os.ReadFile(events)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(events, bytes.Replace(text, []byte(`"wren"`), []byte(`"wrem"`), 1), 0o600); err != nil {
		t.Fatal(err)
	}
	expect("altered", exitFound, "the trail does not hold")
}

// tornIn looks at a killed session whose last line is half there, as after a
// power cut, and leaves it as it was.
func tornIn(t *testing.T, folder string, expect func(name string, status int, want string, args ...string)) {
	t.Helper()
	events := filepath.Join(folder, "events.jsonl")
	whole, err := os.ReadFile(events)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(events, whole[:len(whole)-20], 0o600); err != nil {
		t.Fatal(err)
	}
	expect("killed in mid-line", exitUnsealed, "torn in its last line")
	if err := os.WriteFile(events, whole, 0o600); err != nil {
		t.Fatal(err)
	}
}
