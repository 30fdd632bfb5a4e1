package trail

import (
	"errors"
	"io"
	"io/fs"
	"os"
	"sync"
	"syscall"
)

// quickFS leaves the bytes with the operating system, which is enough where no
// test cuts the power, and spares a shared disk.
type quickFS struct{ OS }

func (q quickFS) OpenFile(name string, flag int, mode fs.FileMode) (Handle, error) {
	h, err := q.OS.OpenFile(name, flag, mode)
	if err != nil {
		return nil, err
	}
	return quickHandle{h}, nil
}

func (quickFS) SyncDir(name string) error {
	_, err := os.Stat(name)
	return err
}

type quickHandle struct{ Handle }

func (quickHandle) Sync() error { return nil }

// flakyFS fails the file calls of one kind from the Nth on, once or for good,
// and can hold syncs at a gate.
type flakyFS struct {
	quickFS
	mu    sync.Mutex
	kind  string // of call that fails; empty: none
	nth   int    // counted from 1
	good  bool   // for good, not once
	seen  map[string]int
	fired int
	err   error
	short bool          // a failing write writes half first
	gate  chan struct{} // not nil: Sync waits for it
	free  int64         // what Free says; 0: the truth
}

// errFull is what a full disk answers.
var errFull error = syscall.ENOSPC

func newFlaky(kind string, nth int, good bool) *flakyFS {
	return &flakyFS{kind: kind, nth: nth, good: good, seen: map[string]int{}, err: errFull}
}

func (f *flakyFS) call(kind string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.seen[kind]++
	if kind == f.kind && (f.seen[kind] == f.nth || (f.good && f.seen[kind] > f.nth)) {
		f.fired++
		return f.err
	}
	return nil
}

// heal ends all failing.
func (f *flakyFS) heal() {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.kind = ""
}

// breakFrom lets every call of a kind fail from now on.
func (f *flakyFS) breakFrom(kind string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.kind, f.nth, f.good = kind, f.seen[kind]+1, true
}

func (f *flakyFS) setGate(g chan struct{}) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.gate = g
}

func (f *flakyFS) setFree(n int64) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.free = n
}

func (f *flakyFS) count() (seen, fired int) {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.seen[f.kind], f.fired
}

func (f *flakyFS) MkdirAll(name string, mode fs.FileMode) error {
	return errors.Join(f.call("mkdir"), f.quickFS.MkdirAll(name, mode))
}

func (f *flakyFS) OpenFile(name string, flag int, mode fs.FileMode) (Handle, error) {
	if err := f.call("open"); err != nil {
		return nil, err
	}
	h, err := f.quickFS.OpenFile(name, flag, mode)
	if err != nil {
		return nil, err
	}
	return &flakyHandle{Handle: h, fs: f}, nil
}

func (f *flakyFS) ReadDir(name string) ([]fs.DirEntry, error) {
	if err := f.call("readdir"); err != nil {
		return nil, err
	}
	return f.quickFS.ReadDir(name)
}

func (f *flakyFS) Stat(name string) (fs.FileInfo, error) {
	if err := f.call("stat"); err != nil {
		return nil, err
	}
	return f.quickFS.Stat(name)
}

func (f *flakyFS) Rename(from, to string) error {
	if err := f.call("rename"); err != nil {
		return err
	}
	return f.quickFS.Rename(from, to)
}

func (f *flakyFS) RemoveAll(name string) error {
	if err := f.call("remove"); err != nil {
		return err
	}
	return f.quickFS.RemoveAll(name)
}

func (f *flakyFS) SyncDir(name string) error {
	if err := f.call("syncdir"); err != nil {
		return err
	}
	return f.quickFS.SyncDir(name)
}

func (f *flakyFS) Free(name string) (int64, error) {
	if err := f.call("free"); err != nil {
		return 0, err
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.free != 0 {
		return f.free, nil
	}
	return f.quickFS.Free(name)
}

func (f *flakyFS) Lock(name string) (io.Closer, error) {
	if err := f.call("lock"); err != nil {
		return nil, err
	}
	return f.quickFS.Lock(name)
}

type flakyHandle struct {
	Handle
	fs *flakyFS
}

func (h *flakyHandle) WriteAt(p []byte, off int64) (int, error) {
	if err := h.fs.call("write"); err != nil {
		if !h.fs.short {
			return 0, err
		}
		n, _ := h.Handle.WriteAt(p[:len(p)/2], off)
		return n, err
	}
	return h.Handle.WriteAt(p, off)
}

func (h *flakyHandle) ReadAt(p []byte, off int64) (int, error) {
	if err := h.fs.call("read"); err != nil {
		return 0, err
	}
	return h.Handle.ReadAt(p, off)
}

func (h *flakyHandle) Sync() error {
	if err := h.fs.call("sync"); err != nil {
		return err
	}
	h.fs.mu.Lock()
	gate := h.fs.gate
	h.fs.mu.Unlock()
	if gate != nil {
		<-gate
	}
	return h.Handle.Sync()
}

func (h *flakyHandle) Truncate(size int64) error {
	if err := h.fs.call("truncate"); err != nil {
		return err
	}
	return h.Handle.Truncate(size)
}

func (h *flakyHandle) Close() error { return errors.Join(h.fs.call("close"), h.Handle.Close()) }

func (h *flakyHandle) Stat() (fs.FileInfo, error) {
	if err := h.fs.call("fstat"); err != nil {
		return nil, err
	}
	return h.Handle.Stat()
}
