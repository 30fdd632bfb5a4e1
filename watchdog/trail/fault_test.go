package trail

import (
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// fileCalls are all but "remove", which TestRemovalThatFails breaks.
var fileCalls = []string{"mkdir", "open", "readdir", "stat", "rename", "syncdir", "free", "lock",
	"write", "read", "sync", "truncate", "close", "fstat"}

// TestEveryFileCallFails breaks the Nth call of each kind, once and for good,
// for every N that a session makes, after a first session that left a torn tail.
// Whatever happens: no panic, no hang, a record answered as durable is in the
// chain, what is whole verifies, and a session that could not begin leaves
// nothing and can begin later.
func TestEveryFileCallFails(t *testing.T) {
	dry := newFlaky("", 0, false)
	failOne(t, dry)
	for _, kind := range fileCalls {
		if dry.seen[kind] == 0 {
			t.Errorf("a session makes no call of kind %s: this test proves nothing about it", kind)
		}
		for nth := 1; nth <= dry.seen[kind]; nth++ {
			for _, good := range []bool{false, true} {
				t.Run(fmt.Sprintf("%s %d for good %v", kind, nth, good), func(t *testing.T) {
					synctest.Test(t, func(t *testing.T) { failOne(t, newFlaky(kind, nth, good)) })
				})
			}
		}
	}
}

func failOne(t *testing.T, f *flakyFS) {
	t.Helper()
	o := testOptions(t)
	old := mustCreate(t, o)
	give(old, 0, 50)
	mustClose(t, old)
	tear(t, old.folder)

	o.Session, o.FS, o.DurableWithin = "s2", f, 600*time.Millisecond
	f.short = f.nth%2 == 0
	w, err := Create(o)
	if err != nil {
		_, n := f.count()
		if n == 0 {
			t.Fatalf("no call failed, yet Create says %v", err)
		}
		if !strings.Contains(err.Error(), errFull.Error()) {
			t.Errorf("the error hides its cause: %v", err)
		}
		if n := len(folders(t, o.Dir)); n != 1 && f.kind != "remove" {
			t.Errorf("%d folders after a failed Create, want the first session's alone", n)
		}
		createsAfterwards(t, o)
		return
	}
	give(w, 0, 40)
	answer := make(chan bool, 1)
	w.Durable("wren", "request", time.Second, "ask", func(failed bool) { answer <- failed })
	var failed bool
	select {
	case failed = <-answer:
	case <-time.After(5 * time.Second):
		t.Fatal("the durable record was never answered")
	}
	sealed, err := w.Close(800 * time.Millisecond)
	_, n := f.count()
	if n == 0 && (failed || err != nil) {
		t.Fatalf("no call failed, yet durable failed %v, close %v", failed, err)
	}
	if err == nil {
		r := mustVerify(t, sealed.Folder, sealed.Head)
		if !r.Sealed || (!failed && !hasKind(t, w.folder, "request")) {
			t.Errorf("sealed %v, request found %v", r.Sealed, hasKind(t, w.folder, "request"))
		}
	} else if !failed && !hasKind(t, w.folder, "request") {
		t.Error("a record answered as durable is gone")
	}
	createsAfterwards(t, o)
	mustVerify(t, w.folder, w.Head())
}

func folders(t testing.TB, dir string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if e.IsDir() {
			names = append(names, e.Name())
		}
	}
	return names
}

// createsAfterwards begins another session on a sound disk.
func createsAfterwards(t *testing.T, o Options) {
	t.Helper()
	o.FS, o.Session = quickFS{}, "s3"
	w := mustCreate(t, o)
	sealed := mustClose(t, w)
	mustVerify(t, sealed.Folder, sealed.Head)
	list, err := List(o.Dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range list {
		if s.Err != "" {
			t.Errorf("session %s: %s", s.Folder, s.Err)
		}
	}
}

// tear cuts the seal in half, as a crash in mid-write does.
func tear(t *testing.T, folder string) {
	t.Helper()
	name := folder + "/" + eventsName
	info, err := os.Stat(name)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(name, info.Size()-50); err != nil {
		t.Fatal(err)
	}
}

func lines(t testing.TB, folder string) (all []Line) {
	t.Helper()
	r, err := Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if err := r.Events(func(l Line) error {
		l.Body = append(json.RawMessage(nil), l.Body...)
		all = append(all, l)
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return all
}

func hasKind(t testing.TB, folder, kind string) bool {
	t.Helper()
	for _, l := range lines(t, folder) {
		if l.Kind == kind {
			return true
		}
	}
	return false
}
