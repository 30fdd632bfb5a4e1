package trail

import (
	"errors"
	"os"
	"path/filepath"
	"syscall"
)

// beingWritten says whether a process on this machine writes to the session:
// it holds the lock of the trail's folder, and no later session stands there.
// What cannot be told is no.
func beingWritten(folder string) bool {
	folder, err := filepath.Abs(folder)
	if err != nil {
		return false
	}
	dir, base := filepath.Split(folder)
	entries, err := os.ReadDir(dir)
	if err != nil {
		return false
	}
	for _, e := range entries {
		if _, ok := stampOf(e.Name()); ok && e.IsDir() && e.Name() > base {
			return false
		}
	}
	return locked(filepath.Join(dir, lockName))
}

// locked says whether a process holds the lock, by asking for a share of it for
// a moment.
func locked(name string) bool {
	f, err := os.OpenFile(name, os.O_RDONLY|syscall.O_NONBLOCK, 0) // a pipe of that name keeps nobody waiting
	if err != nil {
		return false
	}
	defer f.Close()
	return errors.Is(syscall.Flock(int(f.Fd()), syscall.LOCK_SH|syscall.LOCK_NB), syscall.EWOULDBLOCK)
}
