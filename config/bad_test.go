package config

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The golden messages are rewritten by: go test ./config -run TestBad -update
func updating() bool {
	f := flag.Lookup("update")
	return f != nil && f.Value.String() == "true"
}

func TestMain(m *testing.M) {
	flag.Bool("update", false, "rewrite the golden messages of testdata/bad")
	flag.Parse()
	os.Exit(m.Run())
}

// parseFile parses a fixture under the name site.toml, so that messages do not
// depend on where it lies.
func parseFile(t *testing.T, path string) (*Site, error) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// Only these are about the room a pen leaves, which takes most of the time.
	room := !strings.Contains(path, "/bad/") || strings.Contains(path, "leaves") || strings.Contains(path, "too_") || strings.Contains(path, "swallowed") || strings.Contains(path, "many")
	return parse("site.toml", data, means{read: readTestdata, try: func(name string) error { return tryFile(filepath.Join("testdata", name)) }, quick: !room})
}

// quickly parses a text without asking what the pens have room for.
func quickly(text string) (*Site, error) {
	return parse("site.toml", []byte(text), means{read: readTestdata, try: func(string) error { return nil }, quick: true})
}

// readTestdata reads the files fixtures name.
func readTestdata(name string) ([]byte, error) {
	return os.ReadFile(filepath.Join("testdata", name))
}

// TestBad holds every mistake against its golden message: what is said, on
// which line, and what to do next. Each file but those named many has one
// mistake, and must bring one problem: no mistake may drag others with it.
func TestBad(t *testing.T) {
	files, err := filepath.Glob("testdata/bad/*.toml")
	if err != nil || len(files) < 100 {
		t.Fatalf("%d fixtures found (%v), want at least 100", len(files), err)
	}
	for _, path := range files {
		name := strings.TrimSuffix(filepath.Base(path), ".toml")
		t.Run(name, func(t *testing.T) {
			s, err := parseFile(t, path)
			var ps Problems
			if !errors.As(err, &ps) || s != nil {
				t.Fatalf("want Problems and no site, got %v and %v", err, s)
			}
			if one := !strings.HasPrefix(name, "many") && name != "empty" && name != "stopping_missing"; one && len(ps) != 1 {
				t.Errorf("one mistake brings %d problems", len(ps))
			}
			for _, p := range ps {
				if p.What == "" || p.Next == "" || p.File == "" {
					t.Errorf("a problem without file, reason or next step: %+v", p)
				}
			}
			compare(t, strings.TrimSuffix(path, ".toml")+".want", ps.Error()+"\n")
		})
	}
}

func compare(t *testing.T, golden, got string) {
	t.Helper()
	if updating() {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("got:\n%swant:\n%s", got, want)
	}
}

// TestNoFixtureWithoutMistake sees that every golden message has its fixture.
func TestNoFixtureWithoutMistake(t *testing.T) {
	wants, _ := filepath.Glob("testdata/bad/*.want")
	for _, w := range wants {
		if _, err := os.Stat(strings.TrimSuffix(w, ".want") + ".toml"); err != nil {
			t.Errorf("%s has no fixture: %v", w, err)
		}
	}
}

// TestSecretsAreNotShown sees that no message repeats a password.
func TestSecretsAreNotShown(t *testing.T) {
	for _, name := range []string{"url_password", "url_odd_password", "password_in_file", "console_token"} {
		if _, err := parseFile(t, "testdata/bad/"+name+".toml"); err == nil || strings.Contains(err.Error(), "hid") {
			t.Errorf("%s: the message shows the password, or there is none: %v", name, err)
		}
	}
}
