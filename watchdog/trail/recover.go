package trail

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Recovered says what a session looked like that was not sealed, when the next
// one began: it vouches for what that session's own chain could not.
type Recovered struct {
	Session     string `json:"session"`
	Folder      string `json:"folder"`
	Lines       uint64 `json:"lines"` // whole, from the first
	Head        string `json:"head"`  // of the last of them
	Torn        int64  `json:"torn_bytes"`
	TornFile    string `json:"torn_file"`   // where they are now; empty: none
	TornSHA256  string `json:"torn_sha256"` // of that file
	Loose       int64  `json:"loose_bytes"` // of intake.pfi, after the last frame in the chain
	LooseSHA256 string `json:"loose_sha256"`
	Why         string `json:"why"`
}

// survey is what a look at events.jsonl found.
type survey struct {
	lines   uint64 // whole, from the first
	head    string
	end     int64 // of the last of them
	size    int64
	torn    bool   // what follows end is not one line: a write that was cut off
	damage  string // what follows end holds lines, and the first does not fit
	looseAt int64  // end of the last frame in the chain
}

func surveyEvents(f Handle) (survey, error) {
	s := survey{head: noHash, looseAt: intakeHeader}
	info, err := f.Stat()
	if err != nil {
		return s, err
	}
	s.size = info.Size()
	bad := false
	err = eachRaw(io.NewSectionReader(f, 0, s.size), func(r rawLine) error {
		l, err := parseLine(r.text)
		switch {
		case err != nil || !r.whole:
			bad = true
		case bad || l.Prev != s.head || l.Seq != r.n:
			bad = true
			if s.damage == "" {
				s.damage = fmt.Sprintf("line %d does not follow line %d: left as it is, run verify", r.n, s.lines)
			}
		default:
			s.lines, s.head, s.end = r.n, l.Hash, r.off+int64(len(r.text))+1
			s.loose(l)
		}
		return nil
	})
	s.torn = bad && s.damage == "" && s.size-s.end <= MaxTail
	return s, err
}

func (s *survey) loose(l Line) {
	var ref FrameRef
	if l.Kind == KindIntake && json.Unmarshal(l.Body, &ref) == nil {
		s.looseAt = ref.Offset + framePrefix + int64(ref.Length)
	}
}

// recoverSession moves what a crash left half-written at the end of the chain
// into a file beside it, byte for byte, and says what it found. Lines that do
// not fit the chain are not a crash's work: they stay.
func recoverSession(fsys FS, o Session) (Recovered, error) {
	r := Recovered{Session: o.ID, Folder: filepath.Base(o.Folder)}
	f, err := fsys.OpenFile(filepath.Join(o.Folder, eventsName), os.O_RDWR, 0)
	if err != nil {
		return r, err
	}
	defer f.Close()
	s, err := surveyEvents(f)
	if err != nil {
		return r, err
	}
	r.Lines, r.Head, r.Why = s.lines, s.head, "ended without a seal"
	if s.damage != "" {
		r.Why = s.damage
	}
	if s.torn {
		if err := cutTorn(fsys, o.Folder, f, s); err != nil {
			return r, err
		}
	}
	if err := r.readTorn(fsys, o.Folder); err != nil {
		return r, err
	}
	return r, r.readLoose(fsys, o.Folder, s.looseAt)
}

// cutTorn copies first, makes the copy durable, and cuts then: a crash in
// between leaves both.
func cutTorn(fsys FS, folder string, f Handle, s survey) error {
	torn := make([]byte, s.size-s.end)
	if n, err := f.ReadAt(torn, s.end); n < len(torn) {
		return err
	}
	name := filepath.Join(folder, tornName)
	if old, err := readAll(fsys, name, MaxTail); err == nil && !bytes.Equal(old, torn) {
		torn = append(old, torn...)
	}
	err := writeFile(fsys, name+".new", torn, fileMode)
	if err == nil {
		err = fsys.Rename(name+".new", name)
	}
	if err == nil {
		err = fsys.SyncDir(folder)
	}
	if err == nil {
		err = f.Truncate(s.end)
	}
	if err == nil {
		err = f.Sync()
	}
	return err
}

func (r *Recovered) readTorn(fsys FS, folder string) error {
	torn, err := readAll(fsys, filepath.Join(folder, tornName), 4*MaxTail)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	r.Torn, r.TornFile, r.TornSHA256 = int64(len(torn)), tornName, hashOf(torn)
	return err
}

func (r *Recovered) readLoose(fsys FS, folder string, from int64) error {
	f, err := fsys.OpenFile(filepath.Join(folder, intakeName), os.O_RDONLY, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	n, sum, err := hashFrom(f, from)
	r.Loose, r.LooseSHA256 = n, sum
	return err
}

// readAll reads a file of at most limit bytes.
func readAll(fsys FS, name string, limit int64) ([]byte, error) {
	f, err := fsys.OpenFile(name, os.O_RDONLY, 0)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.NewSectionReader(f, 0, limit+1))
	if err == nil && int64(len(data)) > limit {
		err = fmt.Errorf("%s is longer than %d bytes", name, limit)
	}
	return data, err
}
