package trail

import (
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// Trail says what VerifyAll found in a whole trail's folder.
type Trail struct {
	Reports []*Report // by session, oldest first
	Missing []string  // folders that a later session names, that are not there, and that no session says it removed
	Untold  []string  // the same, where a session that may have said so was removed itself
}

// OK says that no session has a problem and none is missing. Of those that are
// Untold it says nothing.
func (t *Trail) OK() bool {
	if t == nil || len(t.Reports) == 0 || len(t.Missing) > 0 {
		return false
	}
	for _, r := range t.Reports {
		if !r.OK() {
			return false
		}
	}
	return true
}

// VerifyAll proves every session in a trail's folder, and that none between
// them has gone without a line that says so. A newest session that was taken
// away whole leaves no mark here: keep its published head elsewhere. A head
// that was published is looked for in all sessions; where it is in none, the
// newest report has the problem.
func VerifyAll(dir, expectHead string) (*Trail, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("verify: %w", err)
	}
	t, there, removed := &Trail{}, map[string]bool{}, map[string]bool{}
	var named []string
	for _, e := range entries {
		if _, ok := stampOf(e.Name()); !ok || !e.IsDir() {
			continue
		}
		folder := filepath.Join(dir, e.Name())
		r, err := Verify(folder, "")
		if err != nil {
			return nil, err
		}
		there[e.Name()] = true
		t.Reports = append(t.Reports, r)
		if before := mentions(folder, removed); before != "" {
			named = append(named, before)
		}
	}
	if len(t.Reports) == 0 {
		return nil, fmt.Errorf("verify %s: no session in it", dir)
	}
	for _, name := range named {
		switch {
		case there[name] || removed[name]:
		case removedAfter(name, removed):
			t.Untold = append(t.Untold, name)
		default:
			t.Missing = append(t.Missing, name)
		}
	}
	return t, t.expect(expectHead)
}

// removedAfter says whether a session that began after the one in folder was
// removed: only such a one can have said that it removed that.
func removedAfter(folder string, removed map[string]bool) bool {
	for name := range removed {
		if name > folder {
			return true
		}
	}
	return false
}

// expect looks for a published head in every session.
func (t *Trail) expect(head string) error {
	if head == "" {
		return nil
	}
	for i := range t.Reports {
		r, err := Verify(t.Reports[i].Folder, head)
		if err != nil {
			return err
		}
		if r.HeadAt > 0 || i == len(t.Reports)-1 {
			t.Reports[i] = r
			return nil
		}
	}
	return nil
}

// mentions gives the folder that a session names as the one before it, and adds
// those it says it removed.
func mentions(folder string, removed map[string]bool) (before string) {
	f, err := os.Open(filepath.Join(folder, eventsName))
	if err != nil {
		return "" // Verify has said so
	}
	defer f.Close()
	if m, _, err := readMeta(f); err == nil && m.Previous != nil {
		before = m.Previous.Folder
	}
	info, err := f.Stat()
	if err != nil {
		return before
	}
	_ = eachRaw(io.NewSectionReader(f, 0, info.Size()), func(raw rawLine) error {
		var gone Removed
		if l, err := parseLine(raw.text); err == nil && l.Kind == KindRemoved && json.Unmarshal(l.Body, &gone) == nil {
			removed[gone.Folder] = true
		}
		return nil
	})
	return before
}
