package trail

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// Create begins a session: it takes the trail's folder for this process, looks
// after sessions that a crash left, and returns once the session's first line
// is durable. On an error nothing of the session is left.
func Create(o Options) (*Writer, error) {
	if err := o.settle(); err != nil {
		return nil, fmt.Errorf("trail: %w", err)
	}
	if err := o.FS.MkdirAll(o.Dir, dirMode); err != nil {
		return nil, fmt.Errorf("trail: %w", err)
	}
	lock, err := o.FS.Lock(filepath.Join(o.Dir, lockName))
	if err != nil {
		return nil, fmt.Errorf("trail %s: another process writes there (is a guard at work already?), or it is read-only; give each its own folder: %w", o.Dir, err)
	}
	w, err := begin(o, lock)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("trail %s: %w", o.Dir, err), lock.Close())
	}
	return w, nil
}

// settle checks the options and fills in what was left out.
func (o *Options) settle() error {
	if o.Dir == "" {
		return errors.New("no folder given for it")
	}
	if !isFileName(o.Session) || len(o.Session) > MaxName {
		return fmt.Errorf("session %.80q: use 1 to %d letters, digits, '.', '_' or '-'", o.Session, MaxName)
	}
	if len(o.Vehicles) > MaxNames || len(o.Topics) > MaxNames {
		return fmt.Errorf("%d vehicles and %d topics: at most %d each", len(o.Vehicles), len(o.Topics), MaxNames)
	}
	switch {
	case o.MaxBytes == 0:
		o.MaxBytes = DefaultBytes
	case o.MaxBytes < MinBytes:
		return fmt.Errorf("bound of %d bytes: at least %d are needed", o.MaxBytes, int64(MinBytes))
	}
	if err := checkFiles(o.Files); err != nil {
		return err
	}
	o.settleTools()
	return nil
}

func (o *Options) settleTools() {
	if o.FS == nil {
		o.FS = OS{}
	}
	if o.Wall == nil {
		o.Wall = time.Now
	}
	wall := o.Wall
	o.Wall = func() time.Time { return wall().Round(0).UTC() } // Round strips the monotonic reading
	if o.Started.IsZero() {
		o.Started = o.Wall()
	}
	o.Started = o.Started.Round(0).UTC()
	if o.Now == nil {
		start := time.Now()
		o.Now = func() time.Duration { return time.Since(start) }
	}
	if o.IsStop == nil {
		o.IsStop = isCommand
	}
	if o.StallAfter <= 0 {
		o.StallAfter = StallAfter
	}
	if o.DurableWithin <= 0 {
		o.DurableWithin = DurableWithin
	}
	o.Guard, o.Site, o.Version = cutName(o.Guard), cutName(o.Site), cutName(o.Version)
}

func checkFiles(files []File) error {
	if len(files) > MaxFiles {
		return fmt.Errorf("%d files to copy: at most %d", len(files), MaxFiles)
	}
	seen := map[string]bool{}
	for _, f := range files {
		switch {
		case !isFileName(f.Name) || len(f.Name) > 2*MaxName:
			return fmt.Errorf("file name %.80q: use 1 to %d letters, digits, '.', '_' or '-', not '.' first", f.Name, 2*MaxName)
		case len(f.Data) > MaxFile:
			return fmt.Errorf("file %s has %d bytes: at most %d", f.Name, len(f.Data), MaxFile)
		case seen[f.Name]:
			return fmt.Errorf("file name %s is given twice", f.Name)
		}
		seen[f.Name] = true
	}
	return nil
}

// isFileName says whether s can stand as a file's name anywhere.
func isFileName(s string) bool {
	if s == "" || s[0] == '.' {
		return false
	}
	for i := range len(s) {
		c := s[i] | 0x20
		if (c < 'a' || c > 'z') && (s[i] < '0' || s[i] > '9') && !strings.ContainsRune("._-", rune(s[i])) {
			return false
		}
	}
	return true
}

// begin looks after the sessions there are and starts the new one.
func begin(o Options, lock io.Closer) (*Writer, error) {
	if err := sweep(o.FS, o.Dir); err != nil {
		return nil, err
	}
	others, found, err := lookAfter(o)
	if err != nil {
		return nil, err
	}
	key, err := loadKey(o.FS, o.KeyFile)
	if err != nil {
		return nil, err
	}
	zip, err := newSqueezer()
	if err != nil {
		return nil, err
	}
	w := &Writer{o: o, key: key, in: newIntakeBuf(), wake: make(chan struct{}, 1), ended: make(chan struct{})}
	k := &keeper{w: w, zip: zip, now: o.Now, spareIn: newIntakeBuf(), head: noHash}
	k.space = space{bound: o.MaxBytes, others: others, free: -1}
	stamp, behind := nextStamp(o.Started, others)
	w.folder = filepath.Join(o.Dir, stamp.Format(stampForm)+"-"+o.Session)
	m := w.meta(behind, others)
	if err := k.first(m); err != nil {
		return nil, err
	}
	if k.disk, err = k.makeFolder(); err != nil {
		return nil, err
	}
	k.disk.lock = lock
	firstHead := k.head
	for _, r := range found {
		k.line("", KindRecovered, k.now(), encodeBody(r))
	}
	k.begun(m, firstHead)
	return w, nil
}

// begun starts the two goroutines.
func (k *keeper) begun(m Meta, head string) {
	w := k.w
	k.offset = w.o.Wall().Sub(w.o.Started) - k.now()
	for _, f := range m.Files {
		k.space.copied += f.Bytes
	}
	w.status = Status{OK: true, Lines: k.durable, Head: head, Bound: k.space.bound,
		Free: -1, Folder: w.folder, Public: m.Public}
	go k.disk.run()
	go k.run()
}

// sweep removes what a crash left of sessions that never began, or that were
// being removed.
func sweep(fsys FS, dir string) error {
	entries, err := fsys.ReadDir(dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), newPrefix) || strings.HasPrefix(e.Name(), removedPrefix) {
			if err := fsys.RemoveAll(filepath.Join(dir, e.Name())); err != nil {
				return err
			}
		}
	}
	return nil
}

// lookAfter lists the sessions and recovers those a crash left. It reports on
// the newest, and on every one it had to cut.
func lookAfter(o Options) ([]Session, []Recovered, error) {
	all, err := list(o.FS, o.Dir, o.IsStop)
	if err != nil {
		return nil, nil, err
	}
	var found []Recovered
	for i := range all {
		if all[i].Sealed {
			continue
		}
		bytes := all[i].Bytes
		r, err := recoverSession(o.FS, all[i])
		if err != nil {
			r.Why = fmt.Sprintf("could not be looked after: %.300s", err.Error())
		}
		again := summarize(o.FS, all[i].Folder, o.IsStop)
		if i == len(all)-1 || err != nil || again.Bytes != bytes || again.Head != all[i].Head {
			found = append(found, r)
		}
		all[i] = again
	}
	return all, found, nil
}

// nextStamp gives the time for the folder's name: the start, or a second after
// the newest folder where the wall clock stands behind it, so that names sort as
// the sessions came. behind is by how much it stood behind, s.
func nextStamp(started time.Time, others []Session) (stamp time.Time, behind float64) {
	stamp = started.Truncate(time.Second)
	if len(others) == 0 {
		return stamp, 0
	}
	newest, ok := stampOf(filepath.Base(others[len(others)-1].Folder))
	if !ok || stamp.After(newest) {
		return stamp, 0
	}
	return newest.Add(time.Second), newest.Sub(stamp).Seconds()
}

func (w *Writer) meta(behind float64, others []Session) Meta {
	o := &w.o
	m := Meta{Format: formatVersion, Session: o.Session, Guard: o.Guard, Site: o.Site, Version: o.Version,
		Started: o.Started, Behind: behind, Public: publicHex(w.key),
		Vehicles: []string{}, Topics: []string{}, Files: []FileRef{}}
	for _, v := range o.Vehicles {
		m.Vehicles = append(m.Vehicles, cutName(v))
	}
	for _, t := range o.Topics {
		m.Topics = append(m.Topics, cutText(t, MaxTopic))
	}
	for _, f := range o.Files {
		sum := sha256.Sum256(f.Data)
		m.Files = append(m.Files, FileRef{Name: f.Name, Bytes: int64(len(f.Data)), SHA256: hex.EncodeToString(sum[:])})
	}
	if n := len(others); n > 0 {
		p := &others[n-1]
		m.Previous = &Previous{Session: p.ID, Folder: filepath.Base(p.Folder), Sealed: p.Sealed, Lines: p.Lines, Head: p.Head}
	}
	return m
}

// first forms the first line and the intake's header.
func (k *keeper) first(m Meta) error {
	body, err := marshal(m)
	if err != nil {
		return fmt.Errorf("first record: %w", err)
	}
	k.line("", KindSession, k.now(), body)
	if n := len(k.events.buf); n > MaxLine {
		return fmt.Errorf("first record has %d bytes, at most %d: shorten the names of vehicles, topics and files", n, MaxLine)
	}
	k.intake.buf = appendIntakeHeader(nil)
	return nil
}

// makeFolder makes the session's folder beside its place, durable with its first
// line, and gives it its name last: a session that can be seen is whole.
func (k *keeper) makeFolder() (*disk, error) {
	w, fsys := k.w, k.w.o.FS
	at := filepath.Join(w.o.Dir, newPrefix+filepath.Base(w.folder))
	d := &disk{fs: fsys, dir: w.o.Dir, folder: w.folder,
		jobs: make(chan job, 1), results: make(chan result, 1), ended: make(chan struct{})}
	err := k.fill(d, at)
	if err == nil {
		err = fsys.Rename(at, w.folder)
	}
	if err == nil {
		if err = fsys.SyncDir(w.o.Dir); err != nil {
			err = errors.Join(err, fsys.RemoveAll(w.folder))
		}
	}
	if err == nil {
		return d, nil
	}
	for _, h := range []Handle{d.events, d.intake} {
		if h != nil {
			err = errors.Join(err, h.Close())
		}
	}
	return nil, errors.Join(err, fsys.RemoveAll(at))
}

// fill writes the folder's first contents.
func (k *keeper) fill(d *disk, at string) (err error) {
	fsys := k.w.o.FS
	if err = fsys.MkdirAll(filepath.Join(at, filesName), dirMode); err != nil {
		return err
	}
	for _, f := range k.w.o.Files {
		if err = writeFile(fsys, filepath.Join(at, filesName, f.Name), f.Data, fileMode); err != nil {
			return err
		}
	}
	const flag = os.O_CREATE | os.O_EXCL | os.O_RDWR
	if d.intake, err = fsys.OpenFile(filepath.Join(at, intakeName), flag, fileMode); err != nil {
		return err
	}
	if d.events, err = fsys.OpenFile(filepath.Join(at, eventsName), flag, fileMode); err != nil {
		return err
	}
	j := job{intake: k.intake.part(), events: k.events.part(), sync: true}
	if err = d.write(j); err != nil {
		return err
	}
	k.intake.done(j.intake, true, nil)
	k.events.done(j.events, true, nil)
	k.durable = k.seq
	if err = fsys.SyncDir(filepath.Join(at, filesName)); err != nil {
		return err
	}
	return fsys.SyncDir(at)
}
