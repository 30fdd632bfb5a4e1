package trail

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

const (
	stampForm     = "20060102T150405Z"
	newPrefix     = ".new-"     // a session that is being made
	removedPrefix = ".removed-" // one that is being removed
	lockName      = ".lock"
	dirMode       = 0o750
	fileMode      = 0o640
)

// List gives the sessions in a trail's folder, oldest first. A folder that
// cannot be read as a session is listed with Err.
func List(dir string) ([]Session, error) { return list(OS{}, dir, isCommand) }

// isCommand is what counts as a stop where the caller does not say.
func isCommand(kind string, _ []byte) bool { return kind == "command" }

func list(fsys FS, dir string, isStop func(string, []byte) bool) ([]Session, error) {
	entries, err := fsys.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("trail: %w", err)
	}
	var all []Session
	for _, e := range entries {
		if _, ok := stampOf(e.Name()); ok && e.IsDir() {
			all = append(all, summarize(fsys, filepath.Join(dir, e.Name()), isStop))
		}
	}
	return all, nil
}

// stampOf reads the time in a session folder's name.
func stampOf(name string) (time.Time, bool) {
	if len(name) < len(stampForm)+2 || name[len(stampForm)] != '-' {
		return time.Time{}, false
	}
	t, err := time.Parse(stampForm, name[:len(stampForm)])
	return t, err == nil
}

// summarize reads what List says of a session.
func summarize(fsys FS, folder string, isStop func(string, []byte) bool) Session {
	s := Session{Folder: folder}
	var err error
	if s.Bytes, err = folderBytes(fsys, folder); err == nil {
		err = s.read(fsys, isStop)
	}
	if err != nil {
		s.Err = err.Error()
	}
	return s
}

func folderBytes(fsys FS, folder string) (n int64, err error) {
	entries, err := fsys.ReadDir(folder)
	if err != nil {
		return 0, err
	}
	for _, e := range entries {
		name := filepath.Join(folder, e.Name())
		if e.IsDir() {
			inside, err := folderBytes(fsys, name)
			if err != nil {
				return 0, err
			}
			n += inside
			continue
		}
		info, err := fsys.Stat(name)
		if err != nil {
			return 0, err
		}
		n += info.Size()
	}
	return n, nil
}

func (s *Session) read(fsys FS, isStop func(string, []byte) bool) error {
	f, err := fsys.OpenFile(filepath.Join(s.Folder, eventsName), os.O_RDONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	m, first, err := readMeta(f)
	if err != nil {
		return err
	}
	s.ID, s.Guard, s.Site, s.Started = m.Session, m.Guard, m.Site, m.Started
	s.Head, s.Lines = first.Hash, 1
	if last, ok := lastLine(f, info.Size()); ok && last.Kind == KindSeal {
		return s.readSeal(last)
	}
	return s.scan(f, info.Size(), isStop)
}

// readMeta reads the first line.
func readMeta(f io.ReaderAt) (m Meta, first Line, err error) {
	head := make([]byte, MaxLine+1)
	n, err := f.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return m, first, err
	}
	raw, _, whole := bytes.Cut(head[:n], []byte("\n"))
	if !whole {
		return m, first, fmt.Errorf("%s has no whole first line", eventsName)
	}
	if first, err = parseLine(raw); err != nil {
		return m, first, fmt.Errorf("%s, line 1: %w", eventsName, err)
	}
	if first.Kind != KindSession {
		return m, first, fmt.Errorf("%s, line 1: kind is %.80q, want %q", eventsName, first.Kind, KindSession)
	}
	if err = json.Unmarshal(first.Body, &m); err != nil {
		return m, first, fmt.Errorf("%s, line 1: %w", eventsName, err)
	}
	if m.Format != formatVersion {
		return m, first, fmt.Errorf("%s, line 1: format %d, this program reads %d", eventsName, m.Format, formatVersion)
	}
	return m, first, nil
}

// lastLine reads the last line where the file ends with a whole one.
func lastLine(f io.ReaderAt, size int64) (Line, bool) {
	from := max(0, size-MaxLine-2)
	end := make([]byte, size-from)
	if n, err := f.ReadAt(end, from); n < len(end) && err != nil {
		return Line{}, false
	}
	body, ok := bytes.CutSuffix(end, []byte("\n"))
	if !ok {
		return Line{}, false
	}
	l, err := parseLine(body[bytes.LastIndexByte(body, '\n')+1:])
	return l, err == nil
}

func (s *Session) readSeal(l Line) error {
	var seal Seal
	if err := json.Unmarshal(l.Body, &seal); err != nil {
		return fmt.Errorf("the seal: %w", err)
	}
	s.Sealed, s.Stops, s.Lines, s.Items, s.Lost = true, seal.Stops, seal.Lines, seal.Items, seal.Lost
	s.Duration, s.Head = l.At, l.Hash
	return nil
}

// scan counts an unsealed session's lines.
func (s *Session) scan(f io.ReaderAt, size int64, isStop func(string, []byte) bool) error {
	s.Lines = 0
	return eachRaw(io.NewSectionReader(f, 0, size), func(r rawLine) error {
		l, err := parseLine(r.text)
		if err != nil || !r.whole {
			return nil
		}
		s.Lines++
		s.Duration, s.Head = l.At, l.Hash
		switch l.Kind {
		case KindIntake:
			var ref FrameRef
			if json.Unmarshal(l.Body, &ref) == nil {
				s.Items += uint64(max(0, ref.Items))
			}
		case KindGap:
			var gap Gap
			if json.Unmarshal(l.Body, &gap) == nil {
				s.Lost += gap.Items + gap.Events
			}
		default:
			if isStop(l.Kind, l.Body) {
				s.Stops++
			}
		}
		return nil
	})
}

// rawLine is a line as it stands in the file.
type rawLine struct {
	n     uint64 // from 1
	off   int64
	text  []byte // without newline; cut at MaxLine+1 bytes; valid during the call
	whole bool   // a newline ends it
}

func eachRaw(r io.Reader, each func(rawLine) error) error {
	in := bufio.NewReaderSize(r, MaxLine+2)
	var off int64
	for n := uint64(1); ; n++ {
		text, err := in.ReadSlice('\n')
		size := int64(len(text))
		line := rawLine{n: n, off: off, text: text, whole: err == nil || errors.Is(err, bufio.ErrBufferFull)}
		switch {
		case err == nil:
			line.text = text[:len(text)-1]
		case errors.Is(err, bufio.ErrBufferFull):
			line.text = bytes.Clone(text[:MaxLine+1])
			for errors.Is(err, bufio.ErrBufferFull) {
				text, err = in.ReadSlice('\n')
				size += int64(len(text))
			}
		case !errors.Is(err, io.EOF):
			return err
		case len(text) == 0:
			return nil
		}
		if err2 := each(line); err2 != nil {
			return err2
		}
		if err != nil {
			if errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		off += size
	}
}
