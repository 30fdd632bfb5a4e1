package trail

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// filled writes a session of about n bytes, with or without a stop.
func filled(t *testing.T, o Options, session string, n int, stop bool) string {
	t.Helper()
	o.Session, o.Files = session, []File{{Name: "site.toml", Data: make([]byte, n)}}
	o.MaxBytes, o.FS, o.OnStatus = 0, quickFS{}, nil
	o.RemoveStops = false
	w := mustCreate(t, o)
	if stop {
		w.Event("wren", "command", 0, map[string]string{"action": "stop"})
	}
	return mustClose(t, w).Folder
}

func gone(folder string) bool {
	_, err := os.Stat(folder)
	return os.IsNotExist(err)
}

func TestOldestWithoutAStopGoesFirst(t *testing.T) { synctest.Test(t, oldestWithoutAStopGoesFirst) }

func oldestWithoutAStopGoesFirst(t *testing.T) {
	o := testOptions(t)
	a := filled(t, o, "a", 400_000, true)
	b := filled(t, o, "b", 400_000, false)
	c := filled(t, o, "c", 400_000, false)
	d := filled(t, o, "d", 400_000, false)
	o.Session, o.MaxBytes = "e", 1_300_000
	w := mustCreate(t, o)
	eventually(t, "the oldest is removed", func() bool { return gone(b) && w.Status().Bytes <= o.MaxBytes })
	if gone(a) || gone(c) || gone(d) {
		t.Errorf("gone: a %v (holds a stop), c %v, d %v (newer)", gone(a), gone(c), gone(d))
	}
	s := mustClose(t, w)
	var r []Removed
	for _, l := range lines(t, s.Folder) {
		var one Removed
		if l.Kind == KindRemoved && json.Unmarshal(l.Body, &one) == nil {
			r = append(r, one)
		}
	}
	if len(r) != 1 || r[0].Session != "b" || !r[0].Sealed || r[0].Bytes < 400_000 || !isHash(r[0].Head) {
		t.Errorf("removed %+v", r)
	}
	mustVerify(t, s.Folder, s.Head)
	mustVerify(t, c, "") // whose previous is gone
}

func TestStopsGoOnlyWhenTold(t *testing.T) { synctest.Test(t, stopsGoOnlyWhenTold) }

func stopsGoOnlyWhenTold(t *testing.T) {
	o := testOptions(t)
	a := filled(t, o, "a", 900_000, true)
	b := filled(t, o, "b", 900_000, true)
	o.Session, o.MaxBytes, o.RemoveStops = "c", 1_300_000, true
	w := mustCreate(t, o)
	eventually(t, "the oldest is removed", func() bool { return gone(a) })
	mustClose(t, w)
	if gone(b) {
		t.Error("the newer one is gone too")
	}
}

func TestBoundWithNothingToRemove(t *testing.T) { synctest.Test(t, boundWithNothingToRemove) }

func boundWithNothingToRemove(t *testing.T) {
	o, told := testOptions(t), &statuses{}
	a := filled(t, o, "a", 2_000_000, true)
	o.Session, o.MaxBytes, o.OnStatus = "b", MinBytes, told.take
	w := mustCreate(t, o)
	eventually(t, "the bound is said", func() bool { return told.has(false, "bound of 1048576 bytes is reached") })
	eventually(t, "the warning is said", func() bool { return told.has(false, "cannot be freed by itself") })
	w.Intake(&Item{})
	w.Event("wren", "level", 0, "kept: events have a reserve")
	if st := w.Status(); st.OK || st.Lost == 0 {
		t.Errorf("status %+v", st)
	}
	s := mustClose(t, w)
	if gone(a) {
		t.Error("a session with a stop is gone")
	}
	if r := mustVerify(t, s.Folder, s.Head); r.Lost == 0 || !hasKind(t, s.Folder, KindSpace) {
		t.Errorf("report %+v", r)
	}
	if !hasKind(t, s.Folder, "level") {
		t.Error("the reserve for events was not there")
	}
}

// A folder that cannot be read as a session may hold anything: it is never
// removed, however old.
func TestWhatCannotBeReadIsNeverRemoved(t *testing.T) {
	synctest.Test(t, whatCannotBeReadIsNeverRemoved)
}

func whatCannotBeReadIsNeverRemoved(t *testing.T) {
	o := testOptions(t)
	a, b := filled(t, o, "a", 400_000, false), filled(t, o, "b", 700_000, false)
	put(t, a, eventsName, []byte("{}\n"))
	o.Session, o.MaxBytes = "c", MinBytes
	w := mustCreate(t, o)
	eventually(t, "the one that can be read is removed", func() bool { return gone(b) })
	mustClose(t, w)
	if gone(a) {
		t.Error("a folder that cannot be read is gone")
	}
}

func TestRemovalWaitsForItsLine(t *testing.T) {
	s := space{doomed: []doom{{"a", 5}, {"b", 7}}}
	if due := s.due(4); len(due) != 0 {
		t.Errorf("before a line was durable: %v", due)
	}
	if due := s.due(6); len(due) != 1 || due[0] != "a" {
		t.Errorf("one line was durable: %v", due)
	}
	if due := s.due(7); len(due) != 2 {
		t.Errorf("both were: %v", due)
	}
}

func TestWarningComesLongBeforeTheBound(t *testing.T) {
	synctest.Test(t, warningComesLongBeforeTheBound)
}

func warningComesLongBeforeTheBound(t *testing.T) {
	o, told := testOptions(t), &statuses{}
	filled(t, o, "a", 1_600_000, true)
	o.Session, o.MaxBytes, o.OnStatus = "b", 2_000_000, told.take
	w := mustCreate(t, o)
	eventually(t, "warned while healthy", func() bool { return told.has(true, "cannot be freed by itself") })
	mustClose(t, w)
}

func TestDiskNearlyFullIsWarnedOf(t *testing.T) { synctest.Test(t, diskNearlyFullIsWarnedOf) }

func diskNearlyFullIsWarnedOf(t *testing.T) {
	o, told, f := testOptions(t), &statuses{}, newFlaky("", 0, false)
	f.free = 100 << 20
	o.FS, o.OnStatus = f, told.take
	w := mustCreate(t, o)
	eventually(t, "warned", func() bool { return told.has(true, "bytes are free on the disk") })
	if st := w.Status(); !st.OK || st.Free != f.free {
		t.Errorf("status %+v", st)
	}
	mustClose(t, w)
}

func TestRemovalThatFails(t *testing.T) {
	for _, kind := range []string{"rename", "remove"} {
		t.Run(kind, func(t *testing.T) { synctest.Test(t, func(t *testing.T) { removalFails(t, kind) }) })
	}
}

func removalFails(t *testing.T, kind string) {
	o, told, f := testOptions(t), &statuses{}, newFlaky("", 0, false)
	a := filled(t, o, "a", 1_200_000, false)
	o.Session, o.MaxBytes, o.OnStatus, o.FS = "b", 1_100_000, told.take, f
	f.kind, f.nth, f.good = kind, 1, true
	if kind == "rename" {
		f.nth = 2 // the first gives the new session its name
	}
	w := mustCreate(t, o)
	eventually(t, "the failure is said", func() bool {
		return strings.Contains(w.Status().Warn, "could not be removed") || !w.Status().OK
	})
	f.heal()
	w.Close(5 * time.Second)
	o.Session, o.FS, o.MaxBytes = "c", quickFS{}, 0
	mustClose(t, mustCreate(t, o))
	for _, name := range folders(t, o.Dir) {
		if name[0] == '.' {
			t.Errorf("left behind: %s (was %s)", name, filepath.Base(a))
		}
	}
}

func TestWallClock(t *testing.T) { synctest.Test(t, wallClock) }

func wallClock(t *testing.T) {
	o := testOptions(t)
	first := mustClose(t, mustCreate(t, o))
	o.Session, o.Started = "s2", o.Started.Add(-48*time.Hour) // a board without a clock of its own
	wall, now := o.Started, time.Duration(0)
	o.Wall = func() time.Time { return wall }
	o.Now = func() time.Duration { return now }
	w := mustCreate(t, o)
	if filepath.Base(w.folder) <= filepath.Base(first.Folder) {
		t.Errorf("folder %s sorts before the older %s", w.folder, first.Folder)
	}
	s := mustClose(t, w)
	if m := meta(t, s.Folder); m.Behind != 48*3600 || !m.Started.Equal(o.Started) {
		t.Errorf("started %v, behind %v s", m.Started, m.Behind)
	}
}

func TestWallClockStepIsSaid(t *testing.T) { synctest.Test(t, wallClockStepIsSaid) }

func wallClockStepIsSaid(t *testing.T) {
	o := testOptions(t)
	steps := make(chan time.Duration, 1)
	var step time.Duration
	o.Wall = func() time.Time { // called by the writer only, once Create is back
		select {
		case step = <-steps:
		default:
		}
		return o.Started.Add(step)
	}
	o.Now = func() time.Duration { return 0 }
	told := &statuses{}
	o.OnStatus = told.take
	w := mustCreate(t, o)
	steps <- -time.Hour
	give(w, 0, 2)
	eventually(t, "the step is in Status, and told", func() bool {
		told.mu.Lock()
		defer told.mu.Unlock()
		st := w.Status()
		return st.Steps == 1 && st.Stepped == -time.Hour && len(told.all) > 0 && told.all[len(told.all)-1].Steps == 1
	})
	s := mustClose(t, w)
	mustVerify(t, s.Folder, s.Head)
	for _, l := range lines(t, s.Folder) {
		var c Clock
		if l.Kind == KindClock && json.Unmarshal(l.Body, &c) == nil && c.Stepped == -3600 {
			return
		}
	}
	t.Error(fmt.Sprint("no line says that the wall clock was stepped by an hour: ", lines(t, s.Folder)))
}
