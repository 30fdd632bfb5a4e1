package trail

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"runtime"
	"strings"
	"testing"

	"github.com/klauspost/compress/zstd"
)

// anew writes a chain without its seal anew after an edit, every hash right, as
// one who knows the format can, and gives it and its intake to verify.
func anew(t *testing.T, s Sealed, files map[string][]byte, edit func(l *Line, intake []byte) []byte) *Report {
	t.Helper()
	intake := bytes.Clone(files[intakeName])
	var out []byte
	prev := noHash
	for _, raw := range bytes.Split(bytes.TrimSuffix(files[eventsName], []byte("\n")), []byte("\n")) {
		l, err := parseLine(raw)
		if err != nil {
			t.Fatal(err)
		}
		if l.Kind == KindSeal {
			continue
		}
		intake = edit(&l, intake)
		line := appendLine(nil, l.Seq, prev, l.At, l.Vehicle, l.Kind, l.Body)
		prev = hashOf(line)
		out = append(append(out, line...), '\n')
	}
	put(t, s.Folder, eventsName, out)
	put(t, s.Folder, intakeName, intake)
	r, err := Verify(s.Folder, "")
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// frameEdit changes what the chain says of the second frame.
func frameEdit(change func(ref *FrameRef, intake []byte) []byte) func(*Line, []byte) []byte {
	return func(l *Line, intake []byte) []byte {
		var ref FrameRef
		if l.Kind != KindIntake || json.Unmarshal(l.Body, &ref) != nil || ref.Frame != 1 {
			return intake
		}
		intake = change(&ref, intake)
		l.Body = encodeBody(ref)
		return intake
	}
}

// Of a chain that was written anew, what it says must still fit the intake and
// itself; of one that was not edited, nothing is said.
func TestChainWrittenAnewMustFitItself(t *testing.T) {
	s, files := specimen(t)
	line5 := func(change func(l *Line)) func(*Line, []byte) []byte {
		return func(l *Line, intake []byte) []byte {
			if l.Seq == 5 {
				change(l)
			}
			return intake
		}
	}
	frame := func(change func(ref *FrameRef)) func(*Line, []byte) []byte {
		return frameEdit(func(ref *FrameRef, intake []byte) []byte { change(ref); return intake })
	}
	for _, c := range []struct {
		name, want string
		edit       func(*Line, []byte) []byte
	}{
		{"nothing", "", line5(func(*Line) {})},
		{"its number", "says it is line 6", line5(func(l *Line) { l.Seq++ })},
		{"another first line", "the first line, and only that", line5(func(l *Line) { l.Kind = KindSession })},
		{"items before it", "items is due", frame(func(ref *FrameRef) { ref.First++ })},
		{"its number", "frame 1 at byte", frame(func(ref *FrameRef) { ref.Frame++ })},
		{"its items", "items from", frame(func(ref *FrameRef) { ref.Items++ })},
		{"its begin", "items from", frame(func(ref *FrameRef) { ref.From++ })},
		{"its end", "items from", frame(func(ref *FrameRef) { ref.To-- })},
		{"its length", "cannot be a frame", frame(func(ref *FrameRef) { ref.Length = 2*MaxFrame + 1 })},
		{"its prefix", "its prefix says 99 ", frameEdit(func(ref *FrameRef, intake []byte) []byte {
			binary.LittleEndian.PutUint32(intake[ref.Offset:], 99)
			return intake
		})},
		{"bytes between two frames", "is due", frameEdit(func(ref *FrameRef, intake []byte) []byte {
			intake = append(append(bytes.Clone(intake[:ref.Offset]), "hidden"...), intake[ref.Offset:]...)
			ref.Offset += int64(len("hidden"))
			return intake
		})},
	} {
		r := anew(t, s, files, c.edit)
		if c.want == "" {
			if !r.OK() || r.Sealed {
				t.Errorf("%s: %+v", c.name, r)
			}
		} else if r.OK() || !strings.Contains(r.Err().Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, r.Err(), c.want)
		}
	}
}

// A frame that would fill the memory is named, and fills none.
func TestFrameThatExpandsWithoutEndIsNamed(t *testing.T) {
	s, files := specimen(t)
	enc, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	defer enc.Close()
	one := enc.EncodeAll(make([]byte, 256<<20), nil)
	small := enc.EncodeAll(make([]byte, 1<<20), nil)
	for name, bomb := range map[string][]byte{"one": one, "many behind each other": bytes.Repeat(small, 256)} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r := anew(t, s, files, frameEdit(func(ref *FrameRef, intake []byte) []byte {
			ref.Length, ref.SHA256 = len(bomb), hashOf(bomb)
			return append(binary.LittleEndian.AppendUint32(bytes.Clone(intake[:ref.Offset]), uint32(len(bomb))), bomb...)
		}))
		runtime.ReadMemStats(&after)
		if r.OK() || !strings.Contains(r.Err().Error(), "zstd: ") {
			t.Errorf("%s: %v", name, r.Err())
		}
		if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 64 {
			t.Errorf("%s: %d MB were allocated for it", name, mb)
		}
	}
}

// A signature covers what stands before it; behind it nothing may be added, such
// as a key that is read in the place of one that was signed.
func TestNothingStandsBehindASignature(t *testing.T) {
	w := mustCreate(t, testOptions(t))
	done := make(chan bool, 1)
	if err := w.Signed("wren", "walk", 0, map[string]int{"edges": 4}, func(failed bool) { done <- failed }); err != nil || <-done {
		t.Fatal(err)
	}
	w.Event("wren", "command", 0, nil)
	s := mustClose(t, w)
	files := readFolder(t, s.Folder)
	all := bytes.SplitAfter(files[eventsName], []byte("\n"))
	seal := len(all) - 2
	behind := func(line []byte, more string) []byte {
		return append(append(bytes.Clone(line[:len(line)-len("}}\n")]), more...), "}}\n"...)
	}
	for _, more := range []string{`,"stops":0`, `,"x":1`, ` `} {
		put(t, s.Folder, eventsName, append(bytes.Join(all[:seal], nil), behind(all[seal], more)...))
		if r := mustFind(t, s.Folder, "", more); r.Sealed || !strings.Contains(r.Err().Error(), "the seal is not in the form a trail writes") {
			t.Errorf("%s behind the seal's signature: %v", more, r.Err())
		}
	}
	for _, more := range []string{`,"about":"x"`, `,"record":{"edges":5}`} {
		for i, line := range all {
			if l, err := parseLine(bytes.TrimSpace(line)); err == nil && l.Kind == KindSigned {
				put(t, s.Folder, eventsName, append(bytes.Join(all[:i], nil), behind(line, more)...))
			}
		}
		if r := mustFind(t, s.Folder, "", more); len(r.Signed) > 0 || !strings.Contains(r.Err().Error(), "the signed record is not in the form a trail writes") {
			t.Errorf("%s behind a record's signature: %v", more, r.Err())
		}
	}
}

// A reader believes no more than verify does.
func TestReaderStopsAtWhatDoesNotFit(t *testing.T) {
	s, files := specimen(t)
	r, err := Open(s.Folder)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if data, err := r.File("site.toml"); err != nil || !bytes.Equal(data, files["files/site.toml"]) {
		t.Errorf("%q, %v", data, err)
	}
	put(t, s.Folder, "files/site.toml", []byte("[site]\nname = \"yard\"\n"))
	if data, err := r.File("site.toml"); err == nil || !strings.Contains(err.Error(), "was altered") {
		t.Errorf("altered: %q, %v", data, err)
	}
	anew(t, s, files, func(l *Line, intake []byte) []byte {
		if l.Seq == 5 {
			l.Seq = 6
		}
		return intake
	})
	other, err := Open(s.Folder)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if err := other.Events(func(Line) error { return nil }); err == nil || !strings.Contains(err.Error(), "does not follow") {
		t.Errorf("another number: %v", err)
	}
	long := appendItem(nil, &Item{Payload: make([]byte, MaxPayload+1)})
	if _, err := eachItem(long, func(*Item) error { return nil }); err == nil {
		t.Error("an item over the bound is read")
	}
}

// What is too long for the end of a write that was cut off is left as it is.
func TestMoreThanATornEndIsLeft(t *testing.T) {
	o, old, _ := crashed(t, strings.Repeat("x", MaxTail+1))
	before := readFolder(t, old)[eventsName]
	mustClose(t, mustCreate(t, o))
	if !bytes.Equal(before, readFolder(t, old)[eventsName]) {
		t.Error("it was cut")
	}
	mustFind(t, old, "", "a long tail")
}
