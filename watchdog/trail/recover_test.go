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

// crashed is a trail with one session whose end a crash left as given: the last
// line without its seal, and then tail.
func crashed(t *testing.T, tail string) (o Options, folder string, whole []byte) {
	t.Helper()
	o = testOptions(t)
	w := mustCreate(t, o)
	give(w, 0, 100)
	s := mustClose(t, w)
	data := readFolder(t, s.Folder)[eventsName]
	whole = data[:bytes.LastIndexByte(data[:len(data)-1], '\n')+1]
	put(t, s.Folder, eventsName, append(bytes.Clone(whole), tail...))
	o.Session = "s2"
	return o, s.Folder, whole
}

func recovered(t *testing.T, folder string) (all []Recovered) {
	t.Helper()
	for _, l := range lines(t, folder) {
		var r Recovered
		if l.Kind == KindRecovered {
			if err := json.Unmarshal(l.Body, &r); err != nil {
				t.Fatal(err)
			}
			all = append(all, r)
		}
	}
	return all
}

func TestTornTailIsMovedAndVouchedFor(t *testing.T) {
	for name, tail := range map[string]string{
		"half a line":     `{"seq":16,"prev":"`,
		"zeros":           strings.Repeat("\x00", 300),
		"zeros and lines": "\x00\x00\n\x00\x00\n{",
		"a bad line":      "{\"seq\":16}\n",
	} {
		t.Run(name, func(t *testing.T) {
			o, old, whole := crashed(t, tail)
			s := mustClose(t, mustCreate(t, o))
			if data, err := os.ReadFile(filepath.Join(old, eventsName)); err != nil || !bytes.Equal(data, whole) {
				t.Errorf("events: %v; the whole lines were not left alone", err)
			}
			if torn, err := os.ReadFile(filepath.Join(old, tornName)); err != nil || string(torn) != tail {
				t.Errorf("torn %q, %v; want %q", torn, err, tail)
			}
			rec := recovered(t, s.Folder)
			if len(rec) != 1 || rec[0].Torn != int64(len(tail)) || rec[0].Session != "s1" || rec[0].Folder != filepath.Base(old) {
				t.Fatalf("recovered %+v", rec)
			}
			r := mustVerify(t, old, rec[0].Head)
			if r.Sealed || r.Lines != rec[0].Lines {
				t.Errorf("report %+v", r)
			}
			put(t, old, tornName, []byte("{}"))
			mustFind(t, old, "", "altered torn bytes")
		})
	}
}

func TestUntornCrashIsSaidAndNothingIsCut(t *testing.T) {
	o, old, whole := crashed(t, "")
	s := mustClose(t, mustCreate(t, o))
	rec := recovered(t, s.Folder)
	if len(rec) != 1 || rec[0].Torn != 0 || rec[0].TornFile != "" {
		t.Errorf("recovered %+v", rec)
	}
	if _, err := os.Stat(filepath.Join(old, tornName)); err == nil {
		t.Error("a torn file without torn bytes")
	}
	all := bytes.SplitAfter(whole, []byte("\n"))
	put(t, old, eventsName, bytes.Join(all[:len(all)-2], nil))
	r := mustFind(t, old, "", "a line cut off a crashed session, the next one knows its head")
	if !strings.Contains(r.Problems[0].What, "session s2 says") {
		t.Errorf("problem %v", r.Problems[0])
	}
}

// TestDamageIsNotCut alters a line in the middle: later lines are whole, so no
// crash did it, and nothing may be moved.
func TestDamageIsNotCut(t *testing.T) {
	o, old, whole := crashed(t, "")
	bad := bytes.Clone(whole)
	bad[len(bad)/2] ^= 4
	put(t, old, eventsName, bad)
	s := mustClose(t, mustCreate(t, o))
	if data, _ := os.ReadFile(filepath.Join(old, eventsName)); !bytes.Equal(data, bad) {
		t.Error("a damaged chain was changed")
	}
	if rec := recovered(t, s.Folder); len(rec) != 1 || !strings.Contains(rec[0].Why, "run verify") {
		t.Errorf("recovered %+v", rec)
	}
	mustFind(t, old, "", "damage in the middle")
}

func TestLooseIntakeIsVouchedFor(t *testing.T) {
	o, old, _ := crashed(t, "")
	name := filepath.Join(old, intakeName)
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	put(t, old, intakeName, append(data, "a frame that no line speaks of"...))
	s := mustClose(t, mustCreate(t, o))
	if rec := recovered(t, s.Folder); len(rec) != 1 || rec[0].Loose != 30 {
		t.Fatalf("recovered %+v", rec)
	}
	if r := mustVerify(t, old, ""); !strings.Contains(strings.Join(r.Notes, "\n"), "30 bytes of intake.pfi") {
		t.Errorf("notes %q", r.Notes)
	}
	put(t, old, intakeName, append(data, "a frame that no line speaks oF"...))
	mustFind(t, old, "", "altered loose intake")
}

func TestSecondRunSaysNothingNew(t *testing.T) {
	o, old, _ := crashed(t, "half")
	mustClose(t, mustCreate(t, o))
	o.Session = "s3"
	s := mustClose(t, mustCreate(t, o))
	if rec := recovered(t, s.Folder); len(rec) != 0 {
		t.Errorf("recovered again: %+v", rec)
	}
	mustVerify(t, old, "")
}

func TestSessionsReferToEachOther(t *testing.T) {
	o := testOptions(t)
	first := mustClose(t, mustCreate(t, o))
	o.Session = "s2"
	second := mustClose(t, mustCreate(t, o))
	m := meta(t, second.Folder)
	want := Previous{Session: "s1", Folder: filepath.Base(first.Folder), Sealed: true, Lines: first.Lines, Head: first.Head}
	if m.Previous == nil || *m.Previous != want {
		t.Errorf("previous %+v, want %+v", m.Previous, want)
	}
	if p := meta(t, first.Folder).Previous; p != nil {
		t.Errorf("the first session has a previous one: %+v", p)
	}
	// A whole seal cut off: only the next session knows that there was one.
	data := readFolder(t, first.Folder)[eventsName]
	put(t, first.Folder, eventsName, data[:bytes.LastIndexByte(data[:len(data)-1], '\n')+1])
	mustFind(t, first.Folder, "", "seal cut off, next session stands beside")
}

func meta(t *testing.T, folder string) Meta {
	t.Helper()
	r, err := Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	return r.Meta()
}

func TestTwoWritersInOneFolderAreRefused(t *testing.T) {
	o := testOptions(t)
	w := mustCreate(t, o)
	o.Session = "s2"
	if _, err := Create(o); err == nil || !strings.Contains(err.Error(), "another process writes there") {
		t.Errorf("second writer: %v", err)
	}
	mustVerify(t, mustClose(t, w).Folder, "")
	mustClose(t, mustCreate(t, o))
}

func TestRunningSessionCanBeRead(t *testing.T) {
	w := mustCreate(t, testOptions(t))
	defer mustClose(t, w)
	give(w, 0, 20)
	done := make(chan bool, 1)
	w.Durable("wren", "request", time.Second, "ask", func(failed bool) { done <- failed })
	<-done
	if !hasKind(t, w.folder, "request") || !hasKind(t, w.folder, KindIntake) {
		t.Error("the running session does not show its durable lines")
	}
	r := mustVerify(t, w.folder, w.Head())
	if r.Sealed || r.Items != 20 {
		t.Errorf("report %+v", r)
	}
}
