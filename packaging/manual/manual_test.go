package manual

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"pinfold/watchdog/cli"
)

func model(t *testing.T) *kong.Application {
	t.Helper()
	app, err := cli.Model()
	if err != nil {
		t.Fatal(err)
	}
	return app
}

func written(t *testing.T) string {
	t.Helper()
	var b bytes.Buffer
	if err := Page(&b, model(t), "1.2.3", time.Date(2026, 3, 14, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// TestPageIsWhole: every command, argument, flag and exit status is there, and
// what there is beside them.
func TestPageIsWhole(t *testing.T) {
	text := written(t)
	has := func(lines string) {
		t.Helper()
		if !strings.Contains(text, lines) {
			t.Errorf("the page lacks %q", lines)
		}
	}
	n := 0
	for _, c := range model(t).Leaves(true) {
		n++
		has(".SS " + esc(c.Name) + "\n" + esc(c.Help) + "\n")
		for _, f := range c.Flags {
			has(`\-\-` + esc(f.Name))
			has(esc(f.Help))
		}
	}
	for _, s := range cli.Statuses() {
		has(fmt.Sprintf(".TP\n.B %d\n%s", s.Code, esc(s.Text)))
	}
	for _, word := range []string{"SIGTERM", "SIGHUP", "/etc/pinfold/site.toml", "/var/lib/pinfold", "emergency stop", "not a certified safety function"} {
		has(word)
	}
	if n < 12 || len(cli.Statuses()) < 6 {
		t.Errorf("%d commands, %d exit statuses", n, len(cli.Statuses()))
	}
}

// TestPageByTheToolsThatReadIt: mandoc finds nothing wrong in it.
func TestPageByTheToolsThatReadIt(t *testing.T) {
	if _, err := exec.LookPath("mandoc"); err != nil {
		t.Skip("needs mandoc (Debian package mandoc)")
	}
	path := filepath.Join(t.TempDir(), "pinfold.1")
	if err := os.WriteFile(path, []byte(written(t)), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("mandoc", "-T", "lint", "-W", "warning", path).CombinedOutput()
	if err != nil || len(out) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
}

// TestBashCompletes runs the completion in bash, as bash does.
func TestBashCompletes(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("needs bash")
	}
	dir := t.TempDir()
	var b bytes.Buffer
	if err := Bash(&b, model(t)); err != nil {
		t.Fatal(err)
	}
	for name, data := range map[string][]byte{"completion": b.Bytes(), "site.toml": nil, "walk.csv": nil} {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(filepath.Join(dir, "trails"), 0o700); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ typed, want string }{
		{"pinfold re", "rehearse relay replay review"},
		{"pinfold run --si", "--site"},
		{"pinfold run --site s", "site.toml"},
		{"pinfold run --site = s", "site.toml"},
		{"pinfold run --trail ", "trails"},
		{"pinfold ask r", "reset"},
		{"pinfold ask ", "start stop land reset"},
		{"pinfold verify tr", "trails"},
		{"pinfold demo --he", "--help"},
		{"pinfold --ver", "--version"},
	} {
		script := `source ./completion; COMP_WORDS=("$@"); COMP_CWORD=$(($#-1)); _pinfold; printf '%s\n' "${COMPREPLY[@]}" | sort`
		words := strings.Split(c.typed, " ")
		run := exec.Command(bash, append([]string{"--norc", "-euc", script, "bash"}, words...)...)
		run.Dir = dir
		out, err := run.CombinedOutput()
		want := strings.Fields(c.want)
		for _, w := range want {
			if !strings.Contains("\n"+string(out), "\n"+w+"\n") {
				t.Errorf("%q: lacks %s", c.typed, w)
			}
		}
		if n := len(strings.Fields(string(out))); err != nil || n != len(want) {
			t.Errorf("%q: %v: offers %q, want %q", c.typed, err, out, want)
		}
	}
}
