package cli

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/trail"
)

// Input that is not there, is no file or holds nothing is told at once, with
// the exit status of what could not run.
func TestInputThatIsNone(t *testing.T) {
	dir := t.TempDir()
	site := writeSite(t, filepath.Join(dir, "site.toml"), "mqtt://127.0.0.1:9", 2.8)
	pipe := filepath.Join(dir, "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Fatal(err)
	}
	empty := filepath.Join(dir, "empty.csv")
	if err := os.WriteFile(empty, []byte("t_ns,x,y,z,qw,qx,qy,qz\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	wide := filepath.Join(dir, "wide.toml")
	if err := os.WriteFile(wide, []byte("\xff\xfe[\x00s\x00i\x00t\x00e\x00]\x00"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		code int
		want string
		args []string
	}{
		{exitError, "is a folder, not a file; give the path of a site file", []string{"check", "--site", dir}},
		{exitError, "is a pipe or device, not a file", []string{"check", "--site", pipe}},
		{exitError, "no such file or directory; give the path", []string{"check", "--site", filepath.Join(dir, "none")}},
		{exitFound, "UTF-16", []string{"check", "--site", wide}},
		{exitError, "is a pipe or device, not a file", []string{"replay", "--site", site, pipe}},
		{exitError, "no such file or directory; name a recording", []string{"replay", filepath.Join(dir, "none")}},
		{exitError, "holds no sample", []string{"replay", "--site", site, empty}},
		{exitError, "holds no sample", []string{"replay", "--json", "--site", site, empty}},
	} {
		done := make(chan string, 1)
		go func() {
			var out, errw bytes.Buffer
			if code := Main(c.args, nil, &out, &errw); code != c.code || !strings.Contains(out.String()+errw.String(), c.want) {
				t.Errorf("%q: exit status %d, want %d and %q:\n%s%s", c.args, code, c.code, c.want, out.String(), errw.String())
			}
			close(done)
		}()
		select {
		case <-done:
		case <-time.After(5 * time.Second):
			t.Fatalf("%q: hangs", c.args)
		}
	}
}

// ^C ends the demo with a sentence, not with the name of an error inside.
func TestDemoEndedByAPerson(t *testing.T) {
	t.Parallel()
	demo := start(t, "demo", "--console", "off", "--trail", t.TempDir())
	demo.waitFor("wren")
	time.Sleep(500 * time.Millisecond)
	code := demo.end(syscall.SIGINT)
	if text := demo.text(); code != exitFound || strings.Contains(text, "context") || !strings.Contains(text, "the demo was ended before its story was told") {
		t.Errorf("exit status %d", code)
	}
}

// What a trail says may have come from anywhere: nothing of it moves a cursor.
func TestTextsFromATrailAreWrittenOut(t *testing.T) {
	var out bytes.Buffer
	printWrapped(&out, "stop asked by x\x1b[2J\u202e", "  ")
	(&verifyCmd{}).print(&streams{out: &out}, &trail.Report{Session: "s\x1b[2J", Public: "\a", Sealed: true, Lines: 1})
	if strings.ContainsAny(out.String(), "\x1b\a\u202e") || !strings.Contains(out.String(), `s\u001b[2J`) {
		t.Errorf("printed %q", out.String())
	}
}
