package trail

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"time"
)

// FS is every file call a Writer makes, so that a test can fail each in turn.
type FS interface {
	MkdirAll(name string, mode fs.FileMode) error
	OpenFile(name string, flag int, mode fs.FileMode) (Handle, error)
	ReadDir(name string) ([]fs.DirEntry, error)
	Stat(name string) (fs.FileInfo, error)
	Rename(from, to string) error
	RemoveAll(name string) error
	SyncDir(name string) error
	Free(name string) (int64, error) // bytes that a program without special rights may still write
	Lock(name string) (io.Closer, error)
}

// Handle is an open file.
type Handle interface {
	io.ReaderAt
	io.WriterAt
	io.Closer
	Sync() error
	Truncate(size int64) error
	Stat() (fs.FileInfo, error)
}

// OS is the operating system's file system.
type OS struct{}

// MkdirAll makes name and what leads to it.
func (OS) MkdirAll(name string, mode fs.FileMode) error { return os.MkdirAll(name, mode) }

// OpenFile opens a file as os.OpenFile does, and nothing else: a pipe in a file's
// place would keep whoever opens it waiting for its other end, a guard that
// starts included.
func (OS) OpenFile(name string, flag int, mode fs.FileMode) (Handle, error) {
	f, err := os.OpenFile(name, flag|syscall.O_NONBLOCK, mode)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err == nil && !info.Mode().IsRegular() {
		err = &fs.PathError{Op: "open", Path: name, Err: errNoFile}
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

var errNoFile = errors.New("is not a regular file")

// ReadDir lists a folder, sorted by name.
func (OS) ReadDir(name string) ([]fs.DirEntry, error) { return os.ReadDir(name) }

// Stat follows links.
func (OS) Stat(name string) (fs.FileInfo, error) { return os.Stat(name) }

// Rename replaces to.
func (OS) Rename(from, to string) error { return os.Rename(from, to) }

// RemoveAll removes name and what is in it.
func (OS) RemoveAll(name string) error { return os.RemoveAll(name) }

// SyncDir makes the names in a folder durable.
func (OS) SyncDir(name string) error {
	d, err := os.Open(filepath.Clean(name))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Free is the space left on the disk that holds name.
func (OS) Free(name string) (int64, error) {
	var s syscall.Statfs_t
	if err := syscall.Statfs(name, &s); err != nil {
		return -1, fmt.Errorf("free space of %s: %w", name, err)
	}
	return int64(s.Bavail) * int64(s.Bsize), nil
}

// How often and how far apart the lock is tried.
const (
	lockTries = 3
	lockPause = 10 * time.Millisecond
)

// Lock takes name for this process, and the folder that it stands in, so that
// nobody gets the lock by removing the file. It is given back when the process
// ends, however it ends.
func (OS) Lock(name string) (io.Closer, error) {
	dir, err := os.Open(filepath.Dir(name))
	if err != nil {
		return nil, err
	}
	// A network's file system may not lock folders; the file is what counts there.
	if err := syscall.Flock(int(dir.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, errors.Join(fmt.Errorf("lock %s: %w", filepath.Dir(name), err), dir.Close())
	}
	f, err := lockFile(name)
	if err != nil {
		return nil, errors.Join(err, dir.Close())
	}
	return &lock{file: f, dir: dir}, nil
}

// lock is a file that is locked, and its folder.
type lock struct{ file, dir *os.File }

// Close gives the lock back.
func (l *lock) Close() error { return errors.Join(l.file.Close(), l.dir.Close()) }

func lockFile(name string) (*os.File, error) {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	for try := 0; ; try++ {
		if err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err == nil {
			return f, nil
		}
		if try == lockTries {
			return nil, errors.Join(fmt.Errorf("lock %s: %w", name, err), f.Close())
		}
		time.Sleep(lockPause) // verify may be looking whether somebody holds it
	}
}
