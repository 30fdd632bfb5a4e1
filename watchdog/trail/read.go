package trail

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Reader reads one session, also while it is being written. It stops at what
// does not fit; Verify says more about that.
type Reader struct {
	folder string
	events Handle
	intake frameCheck
	meta   Meta
}

// Open opens a session's folder.
func Open(folder string) (*Reader, error) {
	r := &Reader{folder: folder}
	var err error
	if r.events, err = (OS{}).OpenFile(filepath.Join(folder, eventsName), os.O_RDONLY, 0); err != nil {
		return nil, fmt.Errorf("%w; give the folder of one session", err)
	}
	if r.meta, _, err = readMeta(r.events); err == nil {
		err = r.intake.open(OS{}, folder)
	}
	if err != nil {
		r.Close()
		return nil, fmt.Errorf("session %s: %w", folder, err)
	}
	return r, nil
}

// Close lets the files go.
func (r *Reader) Close() error {
	r.intake.close()
	return r.events.Close()
}

// Meta is the session's first record.
func (r *Reader) Meta() Meta { return r.meta }

// Folder is the session's folder, as it was given to Open.
func (r *Reader) Folder() string { return r.folder }

// Events calls each with every line in order. A last line without its newline is
// one that is being written, or torn, and is left out. A line that does not fit
// the chain ends the walk with an error.
func (r *Reader) Events(each func(Line) error) error {
	info, err := r.events.Stat()
	if err != nil {
		return err
	}
	prev := noHash
	return eachRaw(io.NewSectionReader(r.events, 0, info.Size()), func(raw rawLine) error {
		if !raw.whole {
			return nil
		}
		l, err := parseLine(raw.text)
		if err == nil && (l.Prev != prev || l.Seq != raw.n) {
			err = fmt.Errorf("does not follow line %d", raw.n-1)
		}
		if err != nil {
			return fmt.Errorf("%s, line %d: %w; run verify on the session", filepath.Join(r.folder, eventsName), raw.n, err)
		}
		prev = l.Hash
		return each(l)
	})
}

// Items calls each with every item in the order in which it was given, as far
// as the chain vouches for it. The item is valid during the call only. Gaps in
// it stand in the events, as Gap.
func (r *Reader) Items(each func(*Item) error) error {
	return r.Events(func(l Line) error {
		if l.Kind != KindIntake {
			return nil
		}
		var ref FrameRef
		if err := json.Unmarshal(l.Body, &ref); err != nil {
			return fmt.Errorf("line %d: %w", l.Seq, err)
		}
		raw, err := r.intake.read(&ref)
		if err == nil {
			_, err = eachItem(raw, each)
		}
		if err != nil {
			return fmt.Errorf("frame %d: %w", ref.Frame, err)
		}
		return nil
	})
}

// File gives a file that was copied into the session, once its hash fits.
func (r *Reader) File(name string) ([]byte, error) {
	for _, ref := range r.meta.Files {
		if ref.Name != name || !isFileName(name) {
			continue
		}
		data, err := readAll(OS{}, filepath.Join(r.folder, filesName, name), MaxFile)
		if err != nil {
			return nil, err
		}
		if hashOf(data) != ref.SHA256 {
			return nil, fmt.Errorf("%s in session %s was altered; run verify on the session", name, r.folder)
		}
		return data, nil
	}
	return nil, fmt.Errorf("session %s holds no file %.80q", r.folder, name)
}
