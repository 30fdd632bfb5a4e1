package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

// mayDraw says why the picture is not to be written: the zone goes there, or
// somebody else's file is there.
func (t *target) mayDraw() error {
	if sameFile(t.file, t.svg) {
		return fmt.Errorf("the zone and its picture would both be written to %s; give --out or --svg another name", t.svg)
	}
	info, err := os.Lstat(t.svg)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("%w; give --svg a file in a folder that can be written", err)
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is there and is not a file; give --svg another name", t.svg)
	case t.redraw:
		return nil
	}
	ours, err := drawnHere(t.svg)
	if err == nil && !ours {
		err = fmt.Errorf("%s is there, and is no picture that trace drew; give --svg another name, or say --redraw to replace it", t.svg)
	}
	return err
}

// drawnHere tells whether the file begins as every picture of trace does.
func drawnHere(path string) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close()
	head := make([]byte, len(pictureMark))
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false, err
	}
	return string(head[:n]) == pictureMark, nil
}

// sameFile tells whether two paths name one file, or would.
func sameFile(a, b string) bool {
	if x, err := os.Stat(a); err == nil {
		if y, err := os.Stat(b); err == nil && os.SameFile(x, y) {
			return true
		}
	}
	x, errA := filepath.Abs(a)
	y, errB := filepath.Abs(b)
	return errA == nil && errB == nil && x == y
}

// draw writes the picture, if it still may.
func (t *target) draw(svg []byte) error {
	if err := t.mayDraw(); err != nil {
		return err
	}
	return replaceFile(t.svg, svg)
}
