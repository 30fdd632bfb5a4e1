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
	if code, text := verify(dir); code != exitWriting || !strings.Contains(text, "still being written") {
		t.Errorf("the whole trail: exit status %d, %s", code, text)
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

// A whole trail is proved session by session, and so is that none is missing.
func TestVerifyProvesAWholeTrail(t *testing.T) {
	dir := t.TempDir()
	key := filepath.Join(t.TempDir(), "seal.key")
	var folders, heads []string
	begin := func(name string) *trail.Writer {
		w, err := trail.Create(trail.Options{Dir: dir, Session: name, KeyFile: key})
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	for _, name := range []string{"a", "b", "c"} {
		sealed, err := begin(name).Close(10 * time.Second)
		if err != nil {
			t.Fatal(err)
		}
		folders, heads = append(folders, sealed.Folder), append(heads, sealed.Head)
	}
	expect := func(name string, status int, want string, args ...string) {
		t.Helper()
		code, text := verify(append(args, dir)...)
		if code != status || !strings.Contains(flat(text), want) {
			t.Errorf("%s: exit status %d, want %d and %q:\n%s", name, code, status, want, text)
		}
		if line := narrow(text); line != "" && len(args) == 0 && status != exitUnsealed && status != exitWriting {
			t.Errorf("%s: wider than 60 columns: %q", name, line)
		}
	}
	expect("sealed", exitFine, "3 sessions: nothing was changed in what is here")
	expect("with a head", exitFine, filepath.Base(folders[1])+": sealed, and holds the head", "--head", heads[1])
	expect("with a head of none", exitFound, "nowhere in the chain", "--head", strings.Repeat("ab", 32))
	expect("with its key", exitFine, "nothing was changed", "--key", key)
	expect("with another key", exitFound, "and not by the demanded", "--key", strings.Repeat("ab", 32))
	expect("as JSON", exitFine, `"Missing": null`, "--json")

	cutSeal(t, folders[2])
	expect("the newest without its seal", exitUnsealed, "a cut tail cannot be told")
	expect("and with the head that it had", exitFound, "nowhere in the chain", "--head", heads[2])
	w := begin("d")
	expect("vouched for", exitWriting, filepath.Base(folders[2])+": NOT SEALED; its end is vouched for by the next session")
	if _, err := w.Close(10 * time.Second); err != nil {
		t.Fatal(err)
	}
	expect("vouched for", exitFine, "4 sessions: nothing was changed in what is here")
	cutSeal(t, folders[1])
	expect("another cut", exitFound, "its end was cut off or altered")
	if err := os.RemoveAll(folders[1]); err != nil {
		t.Fatal(err)
	}
	expect("taken away", exitFound, filepath.Base(folders[1])+": TAKEN AWAY")
}

// cutSeal takes the last line away.
func cutSeal(t *testing.T, folder string) {
	t.Helper()
	events := filepath.Join(folder, "events.jsonl")
	text, err := os.ReadFile(events)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(events, text[:bytes.LastIndexByte(text[:len(text)-1], '\n')+1], 0o600); err != nil {
		t.Fatal(err)
	}
}
