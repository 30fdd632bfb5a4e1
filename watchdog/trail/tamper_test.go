package trail

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// specimen is a small sealed session, and its files by name.
func specimen(t testing.TB) (Sealed, map[string][]byte) {
	t.Helper()
	w := mustCreate(t, testOptions(t))
	give(w, 0, 30)
	done := make(chan bool, 1)
	w.Durable("wren", "request", time.Second, "ask", func(failed bool) { done <- failed })
	<-done
	give(w, 30, 30)
	w.Event("wren", "command", time.Second, map[string]string{"action": "stop"})
	s := mustClose(t, w)
	return s, readFolder(t, s.Folder)
}

func readFolder(t testing.TB, folder string) map[string][]byte {
	t.Helper()
	files := map[string][]byte{}
	for _, name := range []string{eventsName, intakeName, "files/site.toml", "files/cage.geojson"} {
		data, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		files[name] = data
	}
	return files
}

func put(t testing.TB, folder, name string, data []byte) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(folder, name), data, 0o600); err != nil {
		t.Fatal(err)
	}
}

// mustFind wants a report with at least one problem.
func mustFind(t testing.TB, folder, head, what string) *Report {
	t.Helper()
	r, err := Verify(folder, head)
	if err != nil {
		t.Fatalf("%s: %v", what, err)
	}
	if r.OK() {
		t.Errorf("%s: not found", what)
	}
	return r
}

// TestEveryByteCounts flips a random bit of every byte of the seal, which no
// line vouches for, and of every 17th of the rest. Where
// PINFOLD_TRAIL_TAMPERS says how many, every byte has its turn and as many
// random changes are made on top.
func TestEveryByteCounts(t *testing.T) {
	s, files := specimen(t)
	more, _ := strconv.Atoi(os.Getenv("PINFOLD_TRAIL_TAMPERS"))
	rng := rand.New(rand.NewPCG(11, 13))
	flip := func(name string, at int, by byte) {
		bad := bytes.Clone(files[name])
		bad[at] ^= by
		put(t, s.Folder, name, bad)
		mustFind(t, s.Folder, "", fmt.Sprintf("%s byte %d ^ %02x", name, at, by))
	}
	for name, data := range files {
		seal := bytes.LastIndexByte(data[:len(data)-1], '\n')
		for at := range data {
			if more > 0 || at%17 == 0 || (name == eventsName && at > seal) {
				flip(name, at, 1<<rng.IntN(8))
			}
		}
		put(t, s.Folder, name, data)
	}
	names := []string{eventsName, intakeName}
	for i := range more {
		name := names[i%2]
		flip(name, rng.IntN(len(files[name])), byte(1+rng.IntN(255)))
		put(t, s.Folder, name, files[name])
	}
	mustVerify(t, s.Folder, s.Head)
}

func TestCutsAreFound(t *testing.T) {
	s, files := specimen(t)
	for _, name := range []string{eventsName, intakeName, "files/site.toml"} {
		data := files[name]
		for n := 0; n < len(data); n += 1 + len(data)/300 {
			put(t, s.Folder, name, data[:n])
			r := mustFind(t, s.Folder, s.Head, fmt.Sprintf("%s cut to %d bytes, head known", name, n))
			if name == eventsName && r.Sealed {
				t.Errorf("cut to %d bytes and called sealed", n)
			}
		}
		put(t, s.Folder, name, append(bytes.Clone(data), 'x'))
		mustFind(t, s.Folder, "", name+" with a byte more")
		put(t, s.Folder, name, data)
	}
	mustVerify(t, s.Folder, s.Head)
}

// TestCutAtALineIsSaidWithoutAHead cuts whole lines off the end: what is left is
// a whole chain, and only the missing seal tells.
func TestCutAtALineIsSaidWithoutAHead(t *testing.T) {
	s, files := specimen(t)
	all := bytes.SplitAfter(files[eventsName], []byte("\n"))
	all = all[:len(all)-1]
	for n := 1; n < len(all); n++ {
		put(t, s.Folder, eventsName, bytes.Join(all[:n], nil))
		r, err := Verify(s.Folder, "")
		if err != nil || r.Sealed || len(r.Notes) == 0 {
			t.Errorf("cut after line %d: %+v, %v", n, r, err)
		}
		mustFind(t, s.Folder, s.Head, fmt.Sprintf("cut after line %d, head known", n))
	}
}

func TestLinesRemovedSwappedOrRepeatedAreFound(t *testing.T) {
	s, files := specimen(t)
	all := bytes.SplitAfter(files[eventsName], []byte("\n"))
	all = all[:len(all)-1]
	edit := func(what string, change func(l [][]byte) [][]byte) *Report {
		put(t, s.Folder, eventsName, bytes.Join(change(append([][]byte(nil), all...)), nil))
		return mustFind(t, s.Folder, "", what)
	}
	for i := range len(all) - 1 { // the last is the seal: see above
		r := edit(fmt.Sprintf("line %d removed", i+1), func(l [][]byte) [][]byte { return append(l[:i], l[i+1:]...) })
		if i > 0 && r.Problems[0].Line != uint64(i+1) {
			t.Errorf("line %d removed, found at %v", i+1, r.Problems[0])
		}
		edit(fmt.Sprintf("lines %d and %d swapped", i+1, i+2), func(l [][]byte) [][]byte {
			l[i], l[i+1] = l[i+1], l[i]
			return l
		})
		edit(fmt.Sprintf("line %d twice", i+1), func(l [][]byte) [][]byte {
			return append(l[:i:i], append([][]byte{l[i]}, l[i:]...)...)
		})
	}
}

// TestRewrittenTailNeedsTheKey writes the chain anew from an altered line on,
// every hash right: the seal cannot be made again.
func TestRewrittenTailNeedsTheKey(t *testing.T) {
	s, files := specimen(t)
	var out []byte
	prev := noHash
	for i, raw := range bytes.Split(bytes.TrimSuffix(files[eventsName], []byte("\n")), []byte("\n")) {
		l, err := parseLine(raw)
		if err != nil {
			t.Fatal(err)
		}
		if i == 4 {
			l.Vehicle = "mole"
		}
		line := appendLine(nil, l.Seq, prev, l.At, l.Vehicle, l.Kind, l.Body)
		prev = hashOf(line)
		out = append(append(out, line...), '\n')
	}
	put(t, s.Folder, eventsName, out)
	r := mustFind(t, s.Folder, "", "rewritten from line 5 on")
	if r.Sealed || r.Count != 1 || r.Problems[0].Line != r.Lines {
		t.Errorf("report %+v", r)
	}
}

func TestProblemSaysWhereAndSinceWhen(t *testing.T) {
	s, files := specimen(t)
	all := bytes.SplitAfter(files[eventsName], []byte("\n"))
	bad := bytes.Clone(files[eventsName])
	off := len(all[0]) + len(all[1]) + len(all[2]) // in line 4
	bad[off+90] ^= 1
	put(t, s.Folder, eventsName, bad)
	r := mustFind(t, s.Folder, "", "line 4")
	third, err := parseLine(bytes.TrimSpace(all[2]))
	if err != nil {
		t.Fatal(err)
	}
	p := r.Problems[0]
	if p.File != eventsName || p.Line < 4 || p.Line > 5 || p.Since < third.At {
		t.Errorf("problem %+v", p)
	}
	if want := time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC).Add(p.Since); !p.Wall.Equal(want) {
		t.Errorf("since %v, want %v", p.Wall, want)
	}
}

func TestVerifyRefusesWhatIsNoSession(t *testing.T) {
	dir := t.TempDir()
	if _, err := Verify(filepath.Join(dir, "none"), ""); err == nil {
		t.Error("a folder that is not there verifies")
	}
	if r, err := Verify(dir, ""); err == nil && r.OK() {
		t.Error("an empty folder verifies")
	}
	if r := new(Report); r.OK() || (*Report)(nil).OK() {
		t.Error("the zero report is OK")
	}
}
