package trail

import (
	"crypto/x509"
	"encoding/pem"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A session that a process writes to is told from one that was never sealed,
// also where the newest line is half there.
func TestBeingWrittenIsToldFromNeverSealed(t *testing.T) {
	o := testOptions(t)
	w := mustCreate(t, o)
	give(w, 0, 20)
	done := make(chan bool, 1)
	w.Durable("wren", "request", time.Second, "ask", func(failed bool) { done <- failed })
	<-done
	r := mustVerify(t, w.folder, "")
	if !r.Writing || r.Sealed || !strings.Contains(strings.Join(r.Notes, "\n"), "still being written") {
		t.Errorf("while it is written: %+v", r)
	}
	copied := filepath.Join(t.TempDir(), filepath.Base(w.folder))
	if err := os.CopyFS(copied, os.DirFS(w.folder)); err != nil {
		t.Fatal(err)
	}
	if r := mustVerify(t, copied, ""); r.Writing || r.Sealed {
		t.Errorf("a copy that nobody writes to: %+v", r)
	}
	half := filepath.Join(o.Dir, filepath.Base(w.folder)+"z") // later by name, and nothing in it: as if a next session began
	if err := os.Mkdir(half, 0o700); err != nil {
		t.Fatal(err)
	}
	if beingWritten(w.folder) {
		t.Error("a session before the newest counts as being written")
	}
	if err := os.Remove(half); err != nil {
		t.Fatal(err)
	}
	folder := mustClose(t, w).Folder
	if r := mustVerify(t, folder, ""); r.Writing || !r.Sealed {
		t.Errorf("closed: %+v", r)
	}
}

// A half-written last line is a fault only where nobody writes it.
func TestHalfALineWhileItIsWritten(t *testing.T) {
	o := testOptions(t)
	folder := mustClose(t, mustCreate(t, o)).Folder
	text, err := os.ReadFile(filepath.Join(folder, eventsName))
	if err != nil {
		t.Fatal(err)
	}
	whole := strings.SplitAfter(string(text), "\n")
	put(t, folder, eventsName, []byte(whole[0]+whole[1][:10]))
	lock, err := OS{}.Lock(filepath.Join(o.Dir, lockName))
	if err != nil {
		t.Fatal(err)
	}
	if r := mustVerify(t, folder, ""); !r.Writing {
		t.Errorf("report %+v", r)
	}
	if err := lock.Close(); err != nil {
		t.Fatal(err)
	}
	if r := mustFind(t, folder, "", "half a line that nobody writes"); r.Writing {
		t.Errorf("report %+v", r)
	}
}

func TestPublicKeyIsReadFromWhateverAPersonHasOfIt(t *testing.T) {
	dir := t.TempDir()
	key := rfc8032Key(t)
	private := filepath.Join(dir, "trail.key")
	writeKeyFile(t, private, key)
	want := publicHex(key)
	der, err := x509.MarshalPKIXPublicKey(key.Public())
	if err != nil {
		t.Fatal(err)
	}
	put(t, dir, "public.pem", pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}))
	put(t, dir, "public.hex", []byte(want+"\n"))
	put(t, dir, "other", []byte("nothing of the kind"))
	put(t, dir, "long", make([]byte, maxKeyFile+1))
	for _, given := range []string{want, strings.ToUpper(want), private, filepath.Join(dir, "public.pem"), filepath.Join(dir, "public.hex")} {
		if got, err := ReadPublic(given); err != nil || got != want {
			t.Errorf("%s: %s, %v", given, got, err)
		}
	}
	for _, given := range []string{"", want[:62], dir, filepath.Join(dir, "other"), filepath.Join(dir, "long"), filepath.Join(dir, "nothing")} {
		if got, err := ReadPublic(given); err == nil || !strings.Contains(err.Error(), "give the 64 hex digits") {
			t.Errorf("%q: %s, %v; want an error that says what to give", given, got, err)
		}
	}
}

func TestDemandedKey(t *testing.T) {
	r := &Report{Lines: 1, Public: "ab", Sealed: true}
	if r.DemandKey("ab"); !r.OK() || !r.Sealed {
		t.Errorf("the key it has: %+v", r)
	}
	if r.DemandKey("cd"); r.OK() || r.Sealed || len(r.Problems) != 1 {
		t.Errorf("another key: %+v", r)
	}
}

// Whoever holds the lock writes nothing behind a seal.
func TestNothingIsBeingWrittenBehindTheSeal(t *testing.T) {
	o := testOptions(t)
	folder := mustClose(t, mustCreate(t, o)).Folder
	text, err := os.ReadFile(filepath.Join(folder, eventsName))
	if err != nil {
		t.Fatal(err)
	}
	put(t, folder, eventsName, append(text, `{"seq":`...))
	lock, err := OS{}.Lock(filepath.Join(o.Dir, lockName))
	if err != nil {
		t.Fatal(err)
	}
	defer lock.Close()
	if r := mustFind(t, folder, "", "half a line behind the seal"); r.Writing {
		t.Errorf("report %+v", r)
	}
}
