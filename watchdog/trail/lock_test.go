package trail

import (
	"os"
	"path/filepath"
	"testing"
)

// A lock file that looks left behind, and is removed, lets no second process in:
// it would look after the session that the first one is writing.
func TestRemovedLockFileLetsNobodyIn(t *testing.T) {
	o := testOptions(t)
	w := mustCreate(t, o)
	if err := os.Remove(filepath.Join(o.Dir, lockName)); err != nil {
		t.Fatal(err)
	}
	o.Session = "s2"
	if other, err := Create(o); err == nil {
		mustClose(t, other)
		t.Error("two processes write to one trail")
	}
	s := mustClose(t, w)
	mustVerify(t, s.Folder, s.Head)
	mustClose(t, mustCreate(t, o)) // given back
}
