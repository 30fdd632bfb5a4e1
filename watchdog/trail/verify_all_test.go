package trail

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
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

// What a session that is gone itself may have said is not held against anybody,
// and is not taken for said either.
func TestWhatARemovedSessionSaidIsUntold(t *testing.T) {
	o := testOptions(t)
	a := filled(t, o, "a", 700_000, false)
	filled(t, o, "b", 300_000, true) // kept: it has a stop
	o.Files = []File{{Name: "site.toml", Data: make([]byte, 500_000)}}
	run := func(session string, bound int64, removes string) string {
		o.Session, o.MaxBytes = session, bound
		w := mustCreate(t, o)
		eventually(t, "the oldest is removed", func() bool { return gone(removes) })
		return mustClose(t, w).Folder
	}
	c := run("c", 1_300_000, a)
	run("d", 1_100_000, c) // and with it what says that a was removed
	tr, err := VerifyAll(o.Dir, "")
	if err != nil || !tr.OK() || len(tr.Missing) != 0 || len(tr.Untold) != 1 || tr.Untold[0] != filepath.Base(a) {
		t.Errorf("%+v, %v; untold is to be %s", tr, err, filepath.Base(a))
	}
}

// An end that was never sealed is vouched for by the next session, and by that
// one only as it was.
func TestNextSessionVouchesForAnUnsealedEnd(t *testing.T) {
	o, old, _ := crashed(t, "")
	if r := mustVerify(t, old, ""); r.Next != "" || r.Vouched() {
		t.Errorf("alone: %+v", r)
	}
	mustClose(t, mustCreate(t, o))
	if r := mustVerify(t, old, ""); r.Next != "s2" || !r.Vouched() {
		t.Errorf("followed: %+v", r)
	}
	text, err := os.ReadFile(filepath.Join(old, eventsName))
	if err != nil {
		t.Fatal(err)
	}
	put(t, old, eventsName, text[:bytes.LastIndexByte(text[:len(text)-1], '\n')+1])
	if r := mustFind(t, old, "", "cut at a line"); r.Next != "" || r.Vouched() {
		t.Errorf("cut: %+v", r)
	}
}

// A session under another's name is whole, and said to be another; a trail misses
// the one that it was.
func TestRenamedSessionIsSaid(t *testing.T) {
	o := testOptions(t)
	a := mustClose(t, mustCreate(t, o)).Folder
	o.Session = "s2"
	mustClose(t, mustCreate(t, o))
	if r := mustVerify(t, a, ""); len(r.Notes) != 0 {
		t.Errorf("under its name: %q", r.Notes)
	}
	b := filepath.Join(o.Dir, "20200101T000000Z-other")
	if err := os.Rename(a, b); err != nil {
		t.Fatal(err)
	}
	if r := mustVerify(t, b, ""); len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "named as session other, and holds session s1") {
		t.Errorf("notes %q", r.Notes)
	}
	if tr, err := VerifyAll(o.Dir, ""); err != nil || tr.OK() || len(tr.Missing) != 1 || tr.Missing[0] != filepath.Base(a) {
		t.Errorf("%+v, %v", tr, err)
	}
}
