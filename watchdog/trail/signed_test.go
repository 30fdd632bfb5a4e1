package trail

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// signedSession writes a session with a signed line in it, and closes it.
func signedSession(t *testing.T) Sealed {
	t.Helper()
	w := mustCreate(t, testOptions(t))
	give(w, 0, 20)
	answer := make(chan bool, 1)
	if err := w.Signed("wren", "walk", 150*time.Millisecond, map[string]int{"walked": 9}, func(failed bool) { answer <- failed }); err != nil {
		t.Fatal(err)
	}
	if <-answer {
		t.Fatal("the signed line is not durable")
	}
	w.Event("wren", "signed", time.Second, "a caller's kind of that name is another")
	return mustClose(t, w)
}

func TestSignedLineHoldsBesideTheSeal(t *testing.T) {
	s := signedSession(t)
	r := mustVerify(t, s.Folder, s.Head)
	if len(r.Signed) != 1 || r.Signed[0].About != "walk" || r.Signed[0].Vehicle != "wren" {
		t.Fatalf("signed lines %+v", r.Signed)
	}
	for _, l := range lines(t, s.Folder) {
		var b Signed
		if l.Seq != r.Signed[0].Line {
			continue
		}
		if err := l.Decode(&b); err != nil || string(b.Record) != `{"walked":9}` || len(b.Signature) != 128 {
			t.Errorf("%+v, %v", b, err)
		}
	}
}

// TestSignedLineHoldsWithoutASeal: the signature stands for itself where the
// session ends before its seal; and no other record can be put under it, not
// even with a chain made anew.
func TestSignedLineHoldsWithoutASeal(t *testing.T) {
	s := signedSession(t)
	name := filepath.Join(s.Folder, eventsName)
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	upTo := bytes.Index(text, []byte(`"kind":"signed"`))
	upTo += bytes.IndexByte(text[upTo:], '\n') + 1
	put(t, s.Folder, eventsName, text[:upTo])
	if r, err := Verify(s.Folder, ""); err != nil || !r.OK() || r.Sealed || len(r.Signed) != 1 {
		t.Fatalf("%v, %+v", err, r)
	}
	put(t, s.Folder, eventsName, bytes.Replace(text[:upTo], []byte(`"walked":9`), []byte(`"walked":8`), 1))
	r, err := Verify(s.Folder, "")
	if err != nil || r.OK() || len(r.Signed) != 0 || !strings.Contains(r.Problems[0].What, "signature") {
		t.Errorf("a changed record: %v, %+v", err, r)
	}
}

func TestWhatCannotBeSignedWholeIsRefused(t *testing.T) {
	w := mustCreate(t, testOptions(t))
	never := func(bool) { t.Error("it was answered") }
	if err := w.Signed("wren", "walk", 0, strings.Repeat("x", MaxBody), never); err == nil {
		t.Error("a cut record was signed")
	}
	if err := w.Signed("wren", "walk", 0, json.RawMessage(`{"a":`), never); err == nil {
		t.Error("a broken record was signed")
	}
	mustClose(t, w)
}
