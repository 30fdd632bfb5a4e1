package recording

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"

	"pinfold/watchdog/pose"
)

// MaxLine is the longest line taken, bytes.
const MaxLine = 4096

// Reader reads samples from a recording. It is not for use by two goroutines
// at once.
type Reader struct {
	in     *bufio.Reader
	file   io.Closer // where Open opened it
	name   string
	line   int
	layout layout
	err    error // the first error, or io.EOF: given again for ever
}

// Open opens the recording at path and reads up to its first sample, to tell
// its format. Close it after use.
func Open(path string) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("recording: %w", err)
	}
	r, err := NewReader(f, path)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.file = f
	return r, nil
}

// NewReader reads a recording from in; name stands for it in errors.
func NewReader(in io.Reader, name string) (*Reader, error) {
	r := &Reader{in: bufio.NewReaderSize(in, MaxLine), name: name}
	if mark, err := r.in.Peek(3); err == nil && string(mark) == "\xef\xbb\xbf" {
		r.in.Discard(3)
	}
	if err := r.detect(); err != nil {
		return nil, err
	}
	return r, nil
}

// Close closes the file that Open opened; for any other Reader it does nothing.
func (r *Reader) Close() error {
	if r.file == nil {
		return nil
	}
	return r.file.Close()
}

// Next is the next sample in file order, or io.EOF after the last. Any other
// error names file, line and value; the recording ends with it.
func (r *Reader) Next() (pose.Sample, error) {
	if r.err != nil {
		return pose.Sample{}, r.err
	}
	text, err := r.read()
	if err != nil {
		r.err = err
		return pose.Sample{}, err
	}
	s, err := r.layout.sample(text)
	if err != nil {
		r.err = r.at(err)
		return pose.Sample{}, r.err
	}
	return s, nil
}

// read is the next line that is neither empty nor a comment, without white
// space around it.
func (r *Reader) read() ([]byte, error) {
	for {
		text, err := r.in.ReadSlice('\n')
		if len(text) == 0 && errors.Is(err, io.EOF) {
			return nil, io.EOF
		}
		r.line++
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			return nil, r.at(fmt.Errorf("line longer than %d bytes: is this a text recording?", MaxLine))
		case err != nil && !errors.Is(err, io.EOF):
			return nil, r.at(err)
		}
		if text = bytes.TrimSpace(text); len(text) > 0 && text[0] != '#' {
			return text, nil
		}
	}
}

// detect reads the header of a CSV file, or finds TUM text and leaves its
// first line to be read.
func (r *Reader) detect() error {
	if err := r.skip(); err != nil {
		return err
	}
	front, _ := r.in.Peek(MaxLine)
	first, _, _ := bytes.Cut(front, []byte("\n"))
	if !bytes.ContainsRune(first, ',') {
		r.layout = tumLayout()
		return nil
	}
	header, err := r.read()
	if err != nil {
		return err
	}
	r.layout, err = csvLayout(header)
	if err != nil {
		return r.at(err)
	}
	return nil
}

// skip passes over comments and white space to the first line that counts.
func (r *Reader) skip() error {
	for {
		front, err := r.in.Peek(1)
		switch {
		case err != nil && !errors.Is(err, io.EOF):
			return r.at(err)
		case err != nil:
			return r.at(fmt.Errorf("no sample in it: expected CSV with a header, or TUM text"))
		case front[0] == '#':
			if err := r.skipComment(); err != nil {
				return err
			}
		case bytes.ContainsAny(front, " \t\r\n"):
			if front[0] == '\n' {
				r.line++
			}
			r.in.Discard(1)
		default:
			return nil
		}
	}
}

func (r *Reader) skipComment() error {
	text, err := r.in.ReadSlice('\n')
	r.line++
	if errors.Is(err, bufio.ErrBufferFull) {
		return r.at(fmt.Errorf("comment longer than %d bytes: %.40q…: shorten it", MaxLine, text))
	}
	return nil // the end of the file shows at the next Peek
}

func (r *Reader) at(err error) error { return fmt.Errorf("%s:%d: %w", r.name, max(r.line, 1), err) }
