package cli

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// chainAnew writes a session's chain anew after an edit, as one who knows the
// format but has no key would: each line fits the one before, and the seal stays.
func chainAnew(t *testing.T, folder string, edit func(line string) string) {
	t.Helper()
	events := filepath.Join(folder, "events.jsonl")
	text, err := os.ReadFile(events)
	if err != nil {
		t.Fatal(err)
	}
	var out bytes.Buffer
	prev := strings.Repeat("0", 64)
	for _, line := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n") {
		var l struct {
			Prev string `json:"prev"`
		}
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		line = edit(strings.Replace(line, l.Prev, prev, 1))
		prev = fmt.Sprintf("%x", sha256.Sum256([]byte(line)))
		fmt.Fprintln(&out, line)
	}
	if err := os.WriteFile(events, out.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// A trail that was written anew gives the same decisions, since only what is not
// judged was changed: everything that reads it says that it does not hold.
func TestTrailWrittenAnewIsSaidByEveryReader(t *testing.T) {
	session, dir := madeSession(t, 1.2), t.TempDir()
	site := tempFile(t, dir, "site.toml", madeHall)
	chainAnew(t, session, func(line string) string {
		return strings.Replace(line, `"guard":"g"`, `"guard":"x"`, 1)
	})
	page := filepath.Join(dir, "page.html")
	for _, args := range [][]string{
		{"verify", session}, {"review", session}, {"review", session, "--html", page}, {"replay", session},
		{"replay", session, "--json"}, {"replay", session, "--site", site}, {"replay", session, "--site", site, "--json"},
		{"review", session, "--export", "csv", "--out", filepath.Join(dir, "a.csv")},
		{"review", session, "--export", "geojson", "--out", filepath.Join(dir, "a.geojson"), "--json"},
	} {
		code, out, errs := pinfold(args...)
		if code != exitFound || !strings.Contains(flat(out+errs), "the trail does not hold") || !strings.Contains(flat(out+errs), "signature does not fit") {
			t.Errorf("%v: exit %d, %q, %q", args, code, out, errs)
		}
	}
	if code, _, errs := pinfold("review", session, "--learn", site); code != exitError || !strings.Contains(errs, "its trail does not hold") {
		t.Errorf("learn: exit %d, %q", code, errs)
	}
	if html, err := os.ReadFile(page); err != nil || !strings.Contains(string(html), "THE TRAIL DOES NOT HOLD") {
		t.Errorf("the page does not say so: %v", err)
	}
}

// What a folder of unknown origin says of itself steers no terminal.
func TestWhatATrailSaysOfItselfSteersNoTerminal(t *testing.T) {
	session, dir := madeSession(t, 1.2), t.TempDir()
	site := tempFile(t, dir, "site.toml", madeHall)
	evil := `\u001b[2J\u001b]0;x\u0007\u202e`
	chainAnew(t, session, func(line string) string {
		for _, key := range []string{"session", "guard", "site", "version"} {
			line = strings.Replace(line, `"`+key+`":"`, `"`+key+`":"`+evil, 1)
		}
		return line
	})
	above := filepath.Dir(session)
	named := filepath.Join(above, "20991231T000000Z-\x1b[31mred")
	if err := os.CopyFS(named, os.DirFS(session)); err != nil {
		t.Fatal(err)
	}
	broken := filepath.Join(above, "20991231T000001Z-\x1b[31m")
	if err := os.Mkdir(broken, 0o700); err != nil {
		t.Fatal(err)
	}
	tempFile(t, broken, "events.jsonl", "{\"seq\":1,\"prev\":\"\x1b\"}\n")
	for _, args := range [][]string{
		{"verify", session}, {"verify", named}, {"verify", broken}, {"verify", above}, {"replay", session}, {"replay", broken},
		{"review", session}, {"review", named}, {"review", broken}, {"review", above}, {"review", session, named},
		{"review", session, "--html", filepath.Join(dir, "p.html")}, {"replay", session, "--site", site}, {"review", session, "--learn", site},
		{"review", named, "--export", "csv", "--out", filepath.Join(dir, "a.csv")},
	} {
		_, out, errs := pinfold(args...)
		if text := out + errs; text == "" || strings.ContainsAny(strings.ReplaceAll(text, "\n", ""), "\x1b\x07\u202e\r") {
			t.Errorf("%q: %q", args, text)
		}
	}
}

// A decision at another instant is another decision; a last line that a kill left
// half there is nobody's edit.
func TestReplayHoldsInstantsAndBearsATornEnd(t *testing.T) {
	session, moved := madeSession(t, 1.2), madeSession(t, 1.2)
	n := 0
	chainAnew(t, moved, func(line string) string {
		if i := strings.Index(line, `,"vehicle":"mole","kind":"level"`); i > 0 && n == 0 {
			n++
			return line[:i] + "1" + line[i:] // ten times as late, and 1 ns
		}
		return line
	})
	if code, _, errs := pinfold("replay", moved); n != 1 || code != exitFound || !strings.Contains(errs, "did not come to the same decisions") {
		t.Errorf("%d moved: exit %d, %q", n, code, errs)
	}
	cutSeal(t, session)
	events := filepath.Join(session, "events.jsonl")
	text, err := os.ReadFile(events)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(events, append(text, `{"seq":`...), 0o600); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(t.TempDir(), "a.csv")
	for _, args := range [][]string{{"replay", session}, {"review", session, "--export", "csv", "--out", out}} {
		if code, _, errs := pinfold(args...); code != exitFine {
			t.Errorf("%v: exit %d, %q", args, code, errs)
		}
	}
}
