package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"

	"pinfold/watchdog/trail"
)

// writeWhole writes a file beside its name first, so that neither a full disk
// nor an error leaves half of one. A file that is there is only replaced where
// replace is set; flag is how the command line names the file.
func writeWhole(path, flag string, replace bool, write func(io.Writer) error) error {
	if err := mayWrite(path, flag, replace); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), ".pinfold-*")
	if err != nil {
		return fmt.Errorf("%w; give %s a file in a folder that can be written", err, flag)
	}
	err = errors.Join(write(f), f.Chmod(0o644), f.Sync())
	err = errors.Join(err, f.Close())
	if err == nil {
		err = mayWrite(path, flag, replace) // it took a while
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// replaceFile writes path by way of a new file beside it, in one step: a reader
// sees the old or the new. A symbolic link is followed, and the file it leads to
// replaced; the mode of what is there is kept, and its owner where this user may
// give files away.
func replaceFile(path string, data []byte) error {
	mode := fs.FileMode(0o644)
	real, err := filepath.EvalSymlinks(path)
	switch {
	case err == nil:
		path = real
	case !errors.Is(err, fs.ErrNotExist):
		return err
	default:
		if _, err := os.Lstat(path); err == nil {
			return fmt.Errorf("%s is a symbolic link that leads nowhere: make what it leads to, or take it away", path)
		}
	}
	old, err := os.Stat(path)
	switch {
	case err == nil && !old.Mode().IsRegular():
		return fmt.Errorf("%s is there and is not a file: give another name", path)
	case err == nil:
		mode = old.Mode().Perm()
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if st, ok := sysOf(old); ok && os.Geteuid() == 0 {
		err = errors.Join(err, f.Chown(int(st.Uid), int(st.Gid)))
	}
	err = errors.Join(err, f.Chmod(mode), f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

// sysOf is what the system says of a file; false where there is none.
func sysOf(info fs.FileInfo) (*syscall.Stat_t, bool) {
	if info == nil {
		return nil, false
	}
	st, ok := info.Sys().(*syscall.Stat_t)
	return st, ok
}

// writePage writes a page as writeWhole does. A page that is there is replaced; a
// file that is none was named by mistake.
func writePage(path string, write func(io.Writer) error) error {
	if err := mayWrite(path, "--html", true); err != nil {
		return err
	}
	if err := isPage(path); err != nil {
		return err
	}
	return writeWhole(path, "--html", true, write)
}

// pageBegins is how each page that Pinfold writes begins.
const pageBegins = "<!DOCTYPE html>"

// isPage says why the file at path, if there is one, is not to be replaced by a
// page.
func isPage(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("%w; give --html another name", err)
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.Size() == 0 {
		return nil
	}
	begins := make([]byte, len(pageBegins))
	if _, err := io.ReadFull(f, begins); err != nil || string(begins) != pageBegins {
		return fmt.Errorf("%s is there and is no page; give --html another name, or take it away", path)
	}
	return nil
}

// mayWrite says why path is not to be written.
func mayWrite(path, flag string, replace bool) error {
	if trail.PartOf(path) {
		return fmt.Errorf("%s is part of a session's trail, which is never written over; give %s another name", path, flag)
	}
	info, err := os.Lstat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%w; give %s a file in a folder that can be written", err, flag)
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is there and is not a file; give %s another name", path, flag)
	case !replace:
		return fmt.Errorf("%s is there already; give %s another name, or --replace", path, flag)
	}
	return nil
}
