package trail

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

const sector = 512 // bytes that a disk writes whole or not at all

var errPower = errors.New("the power is gone")

// faultyFS is a disk that loses power at its call number cutAt, or changes one
// bit of what is written in that call and says nothing. What was synced stays;
// of what was not, each sector is there or not by chance, and the last may be
// half of it: no order is kept.
type faultyFS struct {
	quickFS
	mu     sync.Mutex
	rng    *rand.Rand
	files  map[string]*faultyFile // by base name
	calls  int                    // of write and sync
	cutAt  int
	flipAt int // from here on the next write of a session's file has a bit changed
	dead   bool
	name   string // of the file with the changed bit; empty: none yet
	at     int64  // where that bit is
}

// faultyFile is one file as it is on the disk for certain, and as the program
// sees it.
type faultyFile struct {
	Handle
	fs        *faultyFS
	name      string
	sure, now []byte
}

func (f *faultyFS) OpenFile(name string, flag int, mode fs.FileMode) (Handle, error) {
	h, err := f.quickFS.OpenFile(name, flag, mode)
	if base := filepath.Base(name); err == nil && flag&os.O_CREATE != 0 && (base == eventsName || base == intakeName) {
		file := &faultyFile{Handle: h, fs: f, name: base}
		f.files[base] = file
		return file, nil
	}
	return h, err
}

// count takes one call; the error is what it comes to.
func (f *faultyFS) count() error {
	f.calls++
	if f.cutAt > 0 && f.calls >= f.cutAt {
		f.dead = true
	}
	if f.dead {
		return errPower
	}
	return nil
}

func (h *faultyFile) WriteAt(p []byte, off int64) (int, error) {
	h.fs.mu.Lock()
	defer h.fs.mu.Unlock()
	wasDead, err := h.fs.dead, h.fs.count()
	if wasDead {
		return 0, err
	}
	p = bytes.Clone(p)
	if h.fs.flipAt > 0 && h.fs.calls >= h.fs.flipAt && h.fs.name == "" {
		i := h.fs.rng.IntN(len(p))
		p[i] ^= 1 << h.fs.rng.IntN(8)
		h.fs.name, h.fs.at = h.name, off+int64(i)
	}
	if err != nil { // torn: some of it is on its way when the power goes
		p = p[:h.fs.rng.IntN(len(p)+1)]
	}
	if n := int(off) + len(p); n > len(h.now) {
		h.now = append(h.now, make([]byte, n-len(h.now))...)
	}
	copy(h.now[off:], p)
	if err != nil {
		return len(p), err
	}
	return h.Handle.WriteAt(p, off)
}

func (h *faultyFile) Sync() error {
	h.fs.mu.Lock()
	defer h.fs.mu.Unlock()
	if err := h.fs.count(); err != nil {
		return err
	}
	h.sure = bytes.Clone(h.now)
	return nil
}

// left is what is found of the file once the power is back.
func (h *faultyFile) left() []byte {
	out := bytes.Clone(h.now)
	for at := 0; at < len(out); at += sector {
		end := min(at+sector, len(out))
		if h.fs.rng.IntN(2) == 0 {
			continue // it got there
		}
		for i := at; i < end; i++ {
			out[i] = 0
			if i < len(h.sure) {
				out[i] = h.sure[i]
			}
		}
	}
	return out[:len(h.sure)+h.fs.rng.IntN(len(out)-len(h.sure)+1)]
}

// powerBack leaves the session's files as the disk has them.
func (f *faultyFS) powerBack(t *testing.T, folder string) {
	t.Helper()
	f.mu.Lock()
	defer f.mu.Unlock()
	for name, h := range f.files {
		put(t, folder, name, h.left())
	}
}

// load gives a session work, and says which records were answered as durable.
func load(w *Writer, rng *rand.Rand) (acked map[int]bool) {
	acked = map[int]bool{}
	var mu sync.Mutex
	for n := range 12 {
		give(w, 40*n, 1+rng.IntN(40))
		done := make(chan struct{})
		w.Durable("wren", "request", time.Duration(n)*time.Second, n, func(failed bool) {
			mu.Lock()
			acked[n] = !failed
			mu.Unlock()
			close(done)
		})
		if rng.IntN(2) == 0 {
			<-done
		}
	}
	_, _ = w.Close(3 * time.Second) // fails where the power went
	mu.Lock()
	defer mu.Unlock()
	return acked
}

// faultRounds is how many sessions each of the tests below spoils.
func faultRounds() int {
	if n, err := strconv.Atoi(os.Getenv(killCount)); err == nil {
		return n
	}
	return 40
}

// onFaultyDisk runs one session of seed on a disk with one fault.
func onFaultyDisk(t *testing.T, seed uint64, cut bool) (o Options, f *faultyFS, w *Writer, acked map[int]bool) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 17))
	f = &faultyFS{rng: rng, files: map[string]*faultyFile{}}
	o = testOptions(t)
	o.FS = f
	w = mustCreate(t, o)
	if cut {
		f.cutAt = f.calls + 1 + rng.IntN(30)
	} else {
		f.flipAt = f.calls + 1 + rng.IntN(30)
	}
	return o, f, w, load(w, rand.New(rand.NewPCG(seed, 19)))
}

// TestPowerCutLosesNothingDurable cuts the power in mid-write. Every record
// answered as durable is there, no line up to the last of them is in doubt, and
// the next session begins, says so, and is whole.
func TestPowerCutLosesNothingDurable(t *testing.T) {
	cuts, records, whole, torn, doubt := 0, 0, 0, 0, 0
	for seed := range uint64(faultRounds()) {
		synctest.Test(t, func(t *testing.T) {
			o, f, w, acked := onFaultyDisk(t, seed, true)
			if f.dead {
				cuts++
				f.powerBack(t, w.folder)
			}
			o.FS, o.Session = quickFS{}, "s2"
			next := mustClose(t, mustCreate(t, o))
			if len(recovered(t, next.Folder)) != 1 && f.dead {
				t.Errorf("seed %d: the next session does not say what it found", seed)
			}
			mustVerify(t, next.Folder, next.Head)
			at := requests(t, w.folder)
			last := uint64(0)
			for n, ok := range acked {
				if ok && at[n] == 0 {
					t.Errorf("seed %d: record %d was answered as durable and is gone", seed, n)
				}
				if ok {
					records, last = records+1, max(last, at[n])
				}
			}
			r, err := Verify(w.folder, "")
			if err != nil {
				t.Fatal(err)
			}
			for _, p := range r.Problems {
				if p.Line <= last {
					t.Errorf("seed %d: line %d was durable: %v", seed, last, p)
				}
			}
			if _, err := os.Stat(filepath.Join(w.folder, tornName)); err == nil {
				torn++
			}
			if r.OK() {
				whole++
			} else {
				doubt++
			}
		})
	}
	if cuts == 0 || records == 0 || torn == 0 {
		t.Error("no power cut, no durable record or nothing torn: nothing was proved")
	}
	t.Logf("%d power cuts, %d durable records all there; %d sessions whole once their torn end was moved (%d had one), %d with lines in doubt after the last durable one",
		cuts, records, whole, torn, doubt)
}

// requests are the lines, by number, that hold the records of load, whatever
// stands around them.
func requests(t *testing.T, folder string) map[int]uint64 {
	t.Helper()
	at := map[int]uint64{}
	for i, raw := range bytes.Split(readFolder(t, folder)[eventsName], []byte("\n")) {
		var n int
		if l, err := parseLine(raw); err == nil && l.Kind == "request" && json.Unmarshal(l.Body, &n) == nil {
			at[n] = uint64(i + 1)
		}
	}
	return at
}

// TestFlippedWriteIsNamed has the disk change one bit of a write and say
// nothing. verify names the line or the frame; no other durable record is gone.
func TestFlippedWriteIsNamed(t *testing.T) {
	in := map[string]int{}
	for seed := range uint64(faultRounds()) {
		synctest.Test(t, func(t *testing.T) {
			_, f, w, acked := onFaultyDisk(t, seed, false)
			if f.name == "" {
				mustVerify(t, w.folder, w.Head())
				return
			}
			in[f.name]++
			line := 0
			if f.name == eventsName {
				line = 1 + bytes.Count(f.files[f.name].now[:f.at], []byte("\n"))
			}
			r := mustFind(t, w.folder, "", fmt.Sprintf("seed %d: %s byte %d", seed, f.name, f.at))
			if len(r.Problems) == 0 {
				return
			}
			p := r.Problems[0]
			if f.name == eventsName && int(p.Line) != line && int(p.Line) != line+1 || f.name == intakeName && p.File != f.name {
				t.Errorf("seed %d: %s line %d, byte %d was changed, and verify says: %v", seed, f.name, line, f.at, p)
			}
			if f.name == intakeName && f.at >= intakeHeader && !inFrame(t, w.folder, p.Frame, f.at) {
				t.Errorf("seed %d: byte %d of the intake was changed, and verify says: %v", seed, f.at, p)
			}
			at, gone := requests(t, w.folder), []string{}
			for n, ok := range acked {
				if ok && at[n] == 0 {
					gone = append(gone, fmt.Sprint(n))
				}
			}
			if len(gone) > 1 || len(gone) == 1 && f.name != eventsName {
				t.Errorf("seed %d: durable records %s are gone by one bit", seed, strings.Join(gone, ", "))
			}
		})
	}
	if in[eventsName] == 0 || in[intakeName] == 0 {
		t.Errorf("changed in %v: nothing was proved of the other", in)
	}
	t.Logf("%d bits changed in %s and %d in %s, every one named", in[eventsName], eventsName, in[intakeName], intakeName)
}

// inFrame says whether a byte of the intake is in a frame, by the chain.
func inFrame(t *testing.T, folder string, frame int, at int64) bool {
	t.Helper()
	for _, raw := range bytes.Split(readFolder(t, folder)[eventsName], []byte("\n")) {
		var ref FrameRef
		if l, err := parseLine(raw); err == nil && l.Kind == KindIntake && json.Unmarshal(l.Body, &ref) == nil && ref.Frame == frame {
			return at >= ref.Offset && at < ref.Offset+framePrefix+int64(ref.Length)
		}
	}
	return false
}
