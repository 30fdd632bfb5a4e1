package trail

import (
	"os"
	"path/filepath"
	"testing"
)

func TestWholeTrail(t *testing.T) {
	o := testOptions(t)
	var all []Sealed
	for _, name := range []string{"a", "b", "c"} {
		o.Session = name
		all = append(all, mustClose(t, mustCreate(t, o)))
	}
	tr, err := VerifyAll(o.Dir, all[1].Head)
	if err != nil || !tr.OK() || len(tr.Reports) != 3 || tr.Reports[1].HeadAt == 0 {
		t.Fatalf("%+v, %v", tr, err)
	}
	if tr, err := VerifyAll(o.Dir, noHash); err != nil || tr.OK() {
		t.Errorf("a head of no session: %+v, %v", tr, err)
	}
	if err := os.RemoveAll(all[1].Folder); err != nil {
		t.Fatal(err)
	}
	tr, err = VerifyAll(o.Dir, "")
	if err != nil || tr.OK() || len(tr.Missing) != 1 || tr.Missing[0] != filepath.Base(all[1].Folder) {
		t.Errorf("a session taken away: %+v, %v", tr, err)
	}
	if (*Trail)(nil).OK() || new(Trail).OK() {
		t.Error("the zero trail is OK")
	}
	if _, err := VerifyAll(t.TempDir(), ""); err == nil {
		t.Error("an empty folder verifies")
	}
}

func TestRemovedSessionIsNotMissed(t *testing.T) {
	o := testOptions(t)
	a := filled(t, o, "a", 900_000, false)
	filled(t, o, "b", 300_000, false)
	o.Session, o.MaxBytes = "c", 1_100_000
	w := mustCreate(t, o)
	eventually(t, "the oldest is removed", func() bool { return gone(a) })
	mustClose(t, w)
	if tr, err := VerifyAll(o.Dir, ""); err != nil || !tr.OK() {
		t.Errorf("%+v, %v", tr, err)
	}
}
