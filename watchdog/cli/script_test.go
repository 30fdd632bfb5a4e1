package cli

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// TestScripts runs testdata/script: each file is what a person types at a
// terminal and what is to come of it. Lines:
//
//	$ trace room --site site.toml    a command of the program
//	exit 2                           its exit status; 0 where not given
//	says TEXT                        is in what it prints, on either stream
//	not TEXT                         is not
//	file NAME TEXT                   the file NAME is there, with TEXT in it
//	none NAME                        there is no file NAME
//	# ...                            for the reader
//
// After the first line "-- NAME --" stand the files that are there beforehand,
// each after a line with its name.
func TestScripts(t *testing.T) {
	list, err := filepath.Glob("testdata/script/*.txt")
	if err != nil || len(list) == 0 {
		t.Fatalf("%d scripts: %v", len(list), err)
	}
	for i, path := range list {
		if list[i], err = filepath.Abs(path); err != nil {
			t.Fatal(err)
		}
	}
	for _, path := range list {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) { runScript(t, path) })
	}
}

type script struct {
	t    *testing.T
	said string
	code int
	want int
	cmd  string
}

func runScript(t *testing.T, path string) {
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Chdir(t.TempDir())
	head, rest, _ := strings.Cut(string(data), "\n-- ")
	for _, part := range strings.Split(rest, "\n-- ") {
		name, text, ok := strings.Cut(part, " --\n")
		if !ok {
			continue
		}
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	s := &script{t: t}
	for n, line := range strings.Split(head, "\n") {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			s.line(fmt.Sprintf("%s:%d", filepath.Base(path), n+1), line)
		}
	}
	s.ended(path)
}

// line carries out one line of a script.
func (s *script) line(at, line string) {
	word, rest, _ := strings.Cut(line, " ")
	var err error
	switch word {
	case "$":
		s.ended(at)
		var out bytes.Buffer
		s.cmd, s.want = line, 0
		s.code = Main(strings.Fields(rest), nil, &out, &out)
		s.said = out.String()
	case "exit":
		if s.want, err = strconv.Atoi(rest); err != nil {
			s.t.Fatalf("%s: %v", at, err)
		}
	case "says":
		if !strings.Contains(s.said, rest) {
			s.t.Errorf("%s: %s: does not say %q:\n%s", at, s.cmd, rest, s.said)
		}
	case "not":
		if strings.Contains(s.said, rest) {
			s.t.Errorf("%s: %s: says %q:\n%s", at, s.cmd, rest, s.said)
		}
	case "file":
		name, text, _ := strings.Cut(rest, " ")
		if data, err := os.ReadFile(name); err != nil || !strings.Contains(string(data), text) {
			s.t.Errorf("%s: %s: %v, want %q in it:\n%s", at, s.cmd, err, text, data)
		}
	case "none":
		if _, err := os.Stat(rest); err == nil {
			s.t.Errorf("%s: %s: there is a file %s", at, s.cmd, rest)
		}
	default:
		s.t.Fatalf("%s: %q is no line of a script", at, line)
	}
}

// ended compares the last command's exit status.
func (s *script) ended(at string) {
	if s.cmd != "" && s.code != s.want {
		s.t.Errorf("before %s: %s: exit status %d, want %d:\n%s", at, s.cmd, s.code, s.want, s.said)
	}
}
