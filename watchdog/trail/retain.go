package trail

import (
	"fmt"
	"path/filepath"
	"time"
)

// Removed is written, and durable, before the session is removed.
type Removed struct {
	Session string    `json:"session"`
	Folder  string    `json:"folder"`
	Started time.Time `json:"started"`
	Sealed  bool      `json:"sealed"`
	Stops   int       `json:"stops"`
	Bytes   int64     `json:"bytes"`
	Lines   uint64    `json:"lines"`
	Head    string    `json:"head"`
	Why     string    `json:"why"`
}

// Space is the warning about space, where it changed. An empty Warn ends it.
type Space struct {
	Warn  string `json:"warn"`
	Bytes int64  `json:"bytes"` // of all sessions
	Bound int64  `json:"bound"`
	Free  int64  `json:"free"` // on the disk; -1 unknown
}

// space keeps all sessions together within the bound.
type space struct {
	bound   int64
	copied  int64     // bytes of this session's copied files
	others  []Session // oldest first
	doomed  []doom
	stuck   string // the session that could not be removed
	free    int64  // -1 unknown
	full    bool   // nothing more can be removed and the bound is reached
	said    string // the warning's kind, as last recorded
	warning string // its text
}

// doom is a session about to be removed, and the line that says so.
type doom struct {
	folder string
	line   uint64
}

// due gives the sessions whose line is durable.
func (s *space) due(durable uint64) (folders []string) {
	for _, d := range s.doomed {
		if d.line <= durable {
			folders = append(folders, d.folder)
		}
	}
	return folders
}

// took takes in which sessions are gone.
func (s *space) took(r result) {
	for i, folder := range r.job.remove {
		s.doomed = drop(s.doomed, func(d doom) bool { return d.folder == folder })
		if err := r.removed[i]; err != nil {
			s.stuck = fmt.Sprintf("session %s could not be removed: %.200s", filepath.Base(folder), err.Error())
			for j := range s.others {
				if s.others[j].Folder == folder {
					s.others[j].Err = s.stuck
				}
			}
			continue
		}
		s.others = drop(s.others, func(o Session) bool { return o.Folder == folder })
	}
}

func drop[T any](list []T, which func(T) bool) []T {
	kept := list[:0]
	for _, x := range list {
		if !which(x) {
			kept = append(kept, x)
		}
	}
	return kept
}

func (k *keeper) removable(o *Session) bool {
	return o.Err == "" && (o.Stops == 0 || k.w.o.RemoveStops)
}

// watchSpace dooms the oldest sessions while the bound is passed, and warns long
// before nothing is left to remove.
func (k *keeper) watchSpace() {
	if k.sealLine > 0 {
		return
	}
	s := &k.space
	present := k.events.end() + k.intake.end() + s.copied
	total, fixed := present, present
	for i := range s.others {
		total += s.others[i].Bytes
		if !k.removable(&s.others[i]) {
			fixed += s.others[i].Bytes
		}
	}
	left := total
	if total > s.bound && len(s.doomed) == 0 {
		left = k.doom(total)
	} else if len(s.doomed) > 0 {
		left = min(left, s.bound)
	}
	s.full = left > s.bound
	k.w.mu.Lock()
	k.w.noItems = s.full
	k.w.noLines = left > s.bound+max(s.bound/16, MinBytes)
	k.w.status.Bytes, k.w.status.Bound, k.w.status.Free = total, s.bound, s.free
	k.w.mu.Unlock()
	k.warn(total, fixed)
}

// doom marks sessions for removal, oldest first, until the rest fits, and says
// what will be left.
func (k *keeper) doom(total int64) int64 {
	for i := range k.space.others {
		o := &k.space.others[i]
		if total <= k.space.bound {
			break
		}
		if !k.removable(o) {
			continue
		}
		n := k.line("", KindRemoved, k.now(), encodeBody(Removed{Session: o.ID, Folder: filepath.Base(o.Folder),
			Started: o.Started, Sealed: o.Sealed, Stops: o.Stops, Bytes: o.Bytes, Lines: o.Lines, Head: o.Head,
			Why: fmt.Sprintf("oldest of the sessions, which held %d bytes; the bound is %d", total, k.space.bound)}))
		k.space.doomed = append(k.space.doomed, doom{folder: o.Folder, line: n})
		total -= o.Bytes
	}
	return total
}

// warn keeps the warning and records where it changed.
func (k *keeper) warn(total, fixed int64) {
	s := &k.space
	kind, text := "", ""
	switch {
	case float64(fixed) > warnPart*float64(s.bound):
		kind = "bound"
		text = fmt.Sprintf("%d of the %d bytes for the trail cannot be freed by itself (this session, and those with a stop): move some away, or raise the bound", fixed, s.bound)
	case s.free >= 0 && s.free < freeWarn:
		kind = "disk"
		text = fmt.Sprintf("%d bytes are free on the disk of the trail: free some", s.free)
	case s.stuck != "":
		kind, text = "stuck", s.stuck
	}
	if kind == s.said {
		return
	}
	s.said, s.warning = kind, text
	k.line("", KindSpace, k.now(), encodeBody(Space{Warn: text, Bytes: total, Bound: s.bound, Free: s.free}))
}

// removeSession takes the session's name away at once, and then its bytes.
func removeSession(fsys FS, folder string) error {
	dir, base := filepath.Split(filepath.Clean(folder))
	gone := filepath.Join(dir, removedPrefix+base)
	if err := fsys.Rename(folder, gone); err != nil {
		return err
	}
	if err := fsys.RemoveAll(gone); err != nil {
		return err
	}
	return fsys.SyncDir(filepath.Clean(dir))
}
