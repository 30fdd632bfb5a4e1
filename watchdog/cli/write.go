package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
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

// mayWrite says why path is not to be written.
func mayWrite(path, flag string, replace bool) error {
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
