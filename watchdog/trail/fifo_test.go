package trail

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"
)

// within fails the test where do hangs.
func within(t *testing.T, what string, do func()) {
	t.Helper()
	done := make(chan struct{})
	go func() {
		defer close(done)
		do()
	}()
	select {
	case <-done:
	case <-time.After(10 * time.Second):
		t.Fatalf("%s hangs", what)
	}
}

// A pipe that stands in a file's place is said, and holds up neither who proves
// or reads the session nor the guard that starts beside it.
func TestPipeInAFilesPlaceHoldsUpNobody(t *testing.T) {
	for _, name := range []string{eventsName, intakeName, filepath.Join(filesName, "site.toml"), tornName, "../" + lockName} {
		t.Run(name, func(t *testing.T) {
			o := testOptions(t)
			o.Files = []File{{Name: "site.toml", Data: []byte("x")}}
			w := mustCreate(t, o)
			give(w, 0, 10)
			s := mustClose(t, w)
			other := strings.HasSuffix(name, lockName) || name == tornName
			path := filepath.Join(s.Folder, name)
			if err := os.RemoveAll(path); err != nil {
				t.Fatal(err)
			}
			if err := syscall.Mkfifo(path, 0o600); err != nil {
				t.Fatal(err)
			}
			within(t, "verify", func() {
				if r, err := Verify(s.Folder, ""); err != nil || r.OK() != other || !other && !strings.Contains(r.Err().Error(), "is not a regular file") {
					t.Errorf("%+v, %v", r, err)
				}
			})
			within(t, "reading", func() {
				if r, err := Open(s.Folder); err == nil {
					if data, err := r.File("site.toml"); err == nil && strings.HasPrefix(name, filesName) {
						t.Errorf("%q was read from a pipe", data)
					}
					r.Close()
				}
			})
			within(t, "the next session", func() {
				o.Session = "s2"
				w, err := Create(o)
				if err != nil {
					t.Errorf("the next session: %v", err)
					return
				}
				mustClose(t, w)
			})
		})
	}
}
