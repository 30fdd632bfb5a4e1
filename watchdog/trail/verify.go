package trail

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Verify proves a session: every line against the chain, every frame and copied
// file against its hash, the seal against its key, and what the next session
// says of this one. expectHead, where not empty, is a head that was published
// while the session ran: it must stand in the chain. The error is not nil only
// where there is nothing to look at.
func Verify(folder, expectHead string) (*Report, error) {
	return verify(OS{}, folder, expectHead)
}

func verify(fsys FS, folder, expectHead string) (*Report, error) {
	info, err := fsys.Stat(folder)
	if err != nil {
		return nil, fmt.Errorf("verify: %w", err)
	}
	if !info.IsDir() {
		return nil, fmt.Errorf("verify %s: not a session's folder; give the folder that holds %s", folder, eventsName)
	}
	v := &verifier{fs: fsys, folder: folder, want: strings.ToLower(strings.TrimSpace(expectHead)), prev: noHash, r: &Report{Folder: folder}}
	v.writing = beingWritten(folder)
	if err := v.intake.open(fsys, folder); err != nil {
		v.problem(intakeName, 0, -1, 0, "cannot be read: %v", err)
	}
	defer v.intake.close()
	v.chain()
	v.ending()
	v.files()
	v.neighbours()
	v.r.Writing = v.writing && !v.sealed
	return v.r, nil
}

type verifier struct {
	fs     FS
	folder string
	want   string // a head, or empty
	// writing: a process writes to the session, as it was before it was read.
	writing bool
	r       *Report
	meta    *Meta
	intake  frameCheck

	prev   string        // hash of the bytes of the line before
	at     time.Duration // of the last line that fits
	last   Line          // the last that could be read
	sealed bool          // a seal was read, whether it holds or not
	seal   Seal
}

// problem notes what is wrong and since when.
func (v *verifier) problem(file string, line uint64, frame int, off int64, form string, args ...any) {
	v.r.Count++
	if len(v.r.Problems) >= MaxFaults {
		return
	}
	p := Problem{File: file, Line: line, Frame: frame, Offset: off, What: fmt.Sprintf(form, args...), Since: v.at}
	if v.meta != nil {
		p.Wall = v.meta.Started.Add(v.at)
	}
	v.r.Problems = append(v.r.Problems, p)
}

func (v *verifier) note(form string, args ...any) {
	if len(v.r.Notes) < MaxFaults {
		v.r.Notes = append(v.r.Notes, fmt.Sprintf(form, args...))
	}
}

// chain walks events.jsonl.
func (v *verifier) chain() {
	f, err := v.fs.OpenFile(filepath.Join(v.folder, eventsName), os.O_RDONLY, 0)
	if err != nil {
		v.problem(eventsName, 0, -1, 0, "cannot be read: %v", err)
		return
	}
	defer f.Close()
	info, err := f.Stat()
	if err == nil {
		err = eachRaw(io.NewSectionReader(f, 0, info.Size()), v.line)
	}
	if err != nil {
		v.problem(eventsName, v.r.Lines+1, -1, 0, "cannot be read further: %v", err)
	}
}

func (v *verifier) line(r rawLine) error {
	if !r.whole && v.writing && !v.sealed {
		v.note("line %d is being written", r.n)
		return nil
	}
	if !r.whole {
		v.r.Torn = true
		v.problem(eventsName, r.n, -1, r.off, "ends inside a line, after %d bytes of it: a write was cut off, or the end was; if the session is still running verify it later, else the next run moves the piece to %s", len(r.text), tornName)
		return nil
	}
	l, err := parseLine(r.text)
	if err != nil {
		v.problem(eventsName, r.n, -1, r.off, "altered: %v", err)
		v.prev = hashOf(r.text)
		return nil
	}
	good := v.link(r, &l)
	v.prev = l.Hash
	v.r.Lines++
	v.r.Head, v.last = l.Hash, l
	if l.Hash == v.want {
		v.r.HeadAt = r.n
	}
	v.kind(r, &l)
	if good {
		v.at = l.At
	}
	return nil
}

// link checks a line against the one before.
func (v *verifier) link(r rawLine, l *Line) bool {
	count := v.r.Count
	switch {
	case l.Prev != v.prev && r.n == 1:
		v.problem(eventsName, r.n, -1, r.off, "is not a first line: lines before it were removed, or it was altered")
	case l.Prev != v.prev:
		v.problem(eventsName, r.n, -1, r.off, "does not follow line %d: it vouches for %.12s…, line %d has %.12s…; line %d was altered, or lines were removed, added or exchanged here", r.n-1, l.Prev, r.n-1, v.prev, r.n-1)
	case l.Seq != r.n:
		v.problem(eventsName, r.n, -1, r.off, "says it is line %d", l.Seq)
	}
	if v.sealed {
		v.problem(eventsName, r.n, -1, r.off, "stands after the seal")
	}
	return v.r.Count == count
}

func (v *verifier) kind(r rawLine, l *Line) {
	if (l.Kind == KindSession) != (r.n == 1) {
		v.problem(eventsName, r.n, -1, r.off, "kind %.80q: the first line, and only that, is of kind %q", l.Kind, KindSession)
		return
	}
	switch l.Kind {
	case KindSession:
		v.first(r, l)
	case KindIntake:
		v.frame(r, l)
	case KindGap:
		v.gap(r, l)
	case KindSigned:
		v.checkSigned(r, l)
	case KindSeal:
		v.checkSeal(r, l)
	}
}

func (v *verifier) first(r rawLine, l *Line) {
	var m Meta
	if err := json.Unmarshal(l.Body, &m); err != nil {
		v.problem(eventsName, r.n, -1, r.off, "first record cannot be read: %v", err)
		return
	}
	if m.Format != formatVersion {
		v.problem(eventsName, r.n, -1, r.off, "format %d, this program proves format %d", m.Format, formatVersion)
	}
	v.meta, v.r.Session, v.r.Public = &m, m.Session, m.Public
}

func (v *verifier) gap(r rawLine, l *Line) {
	var g Gap
	if err := json.Unmarshal(l.Body, &g); err != nil {
		v.problem(eventsName, r.n, -1, r.off, "gap cannot be read: %v", err)
		return
	}
	v.r.Lost += g.Items + g.Events
	v.note("line %d: %d items and %d records were lost between %v and %v: %s", r.n, g.Items, g.Events, g.From, g.To, g.Why)
}

func (v *verifier) frame(r rawLine, l *Line) {
	var ref FrameRef
	if err := json.Unmarshal(l.Body, &ref); err != nil {
		v.problem(eventsName, r.n, -1, r.off, "intake record cannot be read: %v", err)
		return
	}
	if what := v.intake.check(&ref); what != "" {
		v.problem(intakeName, r.n, ref.Frame, ref.Offset, "%s", what)
	}
	v.r.Frames++
	v.r.Items = v.intake.items
}

// ending checks what can only be said at the end.
func (v *verifier) ending() {
	if v.want != "" && v.r.HeadAt == 0 {
		v.problem(eventsName, v.r.Lines, -1, 0, "the expected head %.80s is nowhere in the chain: its end was cut off, or all of it was written anew", v.want)
	} else if v.r.HeadAt > 0 && v.r.HeadAt < v.r.Lines {
		v.note("the expected head is line %d; %d lines follow it", v.r.HeadAt, v.r.Lines-v.r.HeadAt)
	}
	if !v.sealed && sealLike(&v.last) {
		v.problem(eventsName, v.last.Seq, -1, 0, "has the body of a seal and is of kind %.80q: altered", v.last.Kind)
	}
	loose := v.intake.size - v.intake.next
	switch {
	case !v.sealed && v.writing:
		v.note("not sealed: it is still being written")
	case !v.sealed:
		v.note("not sealed: it ended without a close, or its end was cut off")
		if loose > 0 {
			v.note("%d bytes of %s after frame %d are not in the chain", loose, intakeName, v.intake.frame-1)
		}
	case loose != 0 || v.intake.size != v.seal.Intake:
		v.problem(intakeName, 0, -1, v.intake.next, "has %d bytes, its frames end at %d, and the seal says %d", v.intake.size, v.intake.next, v.seal.Intake)
	}
}

// files checks the copied files, and names what does not belong.
func (v *verifier) files() {
	if v.meta == nil {
		v.problem(eventsName, 1, -1, 0, "without a first record the copied files and the seal cannot be proved")
		return
	}
	v.name()
	known := map[string]bool{}
	for _, ref := range v.meta.Files {
		name := filepath.Join(filesName, ref.Name)
		known[name] = true
		data, err := readAll(v.fs, filepath.Join(v.folder, name), MaxFile)
		switch {
		case !isFileName(ref.Name):
			v.problem(eventsName, 1, -1, 0, "file name %.80q leads out of the session", ref.Name)
		case err != nil:
			v.problem(name, 0, -1, 0, "cannot be read: %v", err)
		case int64(len(data)) != ref.Bytes || hashOf(data) != ref.SHA256:
			v.problem(name, 0, -1, 0, "altered: has %d bytes and SHA-256 %.12s…, the first record says %d and %.12s…", len(data), hashOf(data), ref.Bytes, ref.SHA256)
		default:
			v.r.Files++
		}
	}
	known[eventsName], known[intakeName], known[tornName] = true, true, true
	v.strangers("", known)
	v.strangers(filesName, known)
}

// name notes where the folder's name is another session's: nothing vouches for it.
func (v *verifier) name() {
	base := filepath.Base(filepath.Clean(v.folder))
	if _, ok := stampOf(base); ok && base[len(stampForm)+1:] != v.meta.Session {
		v.note("the folder is named as session %.80s, and holds session %.80s: it was renamed", base[len(stampForm)+1:], v.meta.Session)
	}
}

func (v *verifier) strangers(under string, known map[string]bool) {
	entries, err := v.fs.ReadDir(filepath.Join(v.folder, under))
	if err != nil {
		v.problem(filepath.Join(under, "."), 0, -1, 0, "cannot be read: %v", err)
		return
	}
	for _, e := range entries {
		name := filepath.Join(under, e.Name())
		if !known[name] && (name != filesName || !e.IsDir()) {
			v.note("%s is no part of the trail: nothing vouches for it", name)
		}
	}
}
