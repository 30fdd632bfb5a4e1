package trail

import (
	"encoding/json"
	"math/rand/v2"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

// statuses collects what OnStatus is told.
type statuses struct {
	mu  sync.Mutex
	all []Status
}

func (s *statuses) take(st Status) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all = append(s.all, st)
}

// has says whether one was told that is (un)healthy and whose Err or Warn holds text.
func (s *statuses) has(ok bool, text string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, st := range s.all {
		if st.OK == ok && strings.Contains(st.Err+st.Warn, text) {
			return true
		}
	}
	return false
}

func eventually(t *testing.T, what string, cond func() bool) {
	t.Helper()
	for end := time.Now().Add(10 * time.Second); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if cond() {
			return
		}
	}
	t.Fatalf("not within 10 s: %s", what)
}

func TestStalledSyncDelaysNobodyAndIsSaid(t *testing.T) {
	synctest.Test(t, stalledSyncDelaysNobodyAndIsSaid)
}

func stalledSyncDelaysNobodyAndIsSaid(t *testing.T) {
	o, told, gate := testOptions(t), &statuses{}, make(chan struct{})
	f := newFlaky("", 0, false)
	o.FS, o.OnStatus, o.StallAfter, o.DurableWithin = f, told.take, 100*time.Millisecond, 150*time.Millisecond
	w := mustCreate(t, o)
	f.setGate(gate)
	answer := make(chan bool, 1)
	w.Durable("wren", "request", time.Second, "ask", func(failed bool) { answer <- failed })
	eventually(t, "the stall is in Status", func() bool { return !w.Status().OK })
	if !told.has(false, "has not answered for 100ms") {
		t.Errorf("OnStatus was not told of the stall: %+v", told.all)
	}
	if !<-answer {
		t.Error("a record behind a stalled fsync was answered as durable")
	}
	begin := time.Now()
	give(w, 0, 5000) // would take as long as the gate stays shut if any call waited
	if took := time.Since(begin); took > 3*time.Second {
		t.Errorf("5000 items and 500 events took %v behind a stalled fsync", took)
	}
	f.setGate(nil)
	close(gate)
	eventually(t, "healthy again", func() bool { return w.Status().OK })
	sealed := mustClose(t, w)
	r := mustVerify(t, sealed.Folder, sealed.Head)
	if r.Items != 5000 || r.Lost != 0 || !hasKind(t, sealed.Folder, KindLate) {
		t.Errorf("%d items, %d lost, late line %v; want 5000, 0, true", r.Items, r.Lost, hasKind(t, sealed.Folder, KindLate))
	}
}

func TestOutageIsSurvivedAndItsLossSaid(t *testing.T) {
	for _, errno := range []error{syscall.ENOSPC, syscall.EROFS, syscall.EIO} {
		t.Run(errno.Error(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { outage(t, errno) })
		})
	}
}

func outage(t *testing.T, errno error) {
	o, told := testOptions(t), &statuses{}
	f := newFlaky("", 0, false)
	f.err, f.short = errno, true
	o.FS, o.OnStatus = f, told.take
	w := mustCreate(t, o)
	give(w, 0, 100)
	f.breakFrom("write")
	f.setFree(7)
	given := 100
	payload := make([]byte, 4<<10)
	rng := rand.New(rand.NewPCG(1, 2)) // bytes that do not compress fill the bounds soon
	for i := range payload {
		payload[i] = byte(rng.Uint32())
	}
	eventually(t, "a loss", func() bool {
		for range 500 { // more than the queue and the tail hold together, in time
			w.Intake(&Item{Vehicle: 1, Kind: 1, At: time.Duration(given) * time.Millisecond, Payload: payload})
			given++
		}
		return w.Status().Lost > 500
	})
	if st := w.Status(); st.OK || st.Err == "" {
		t.Errorf("status in the outage: %+v", st)
	}
	if st := w.Status(); st.Free != 7 {
		t.Errorf("%d bytes are said to be free where a write has just failed and 7 are", st.Free)
	}
	eventually(t, "told of the outage", func() bool { return told.has(false, errno.Error()) })
	f.heal()
	eventually(t, "healthy again", func() bool { return w.Status().OK })
	give(w, 0, 100)
	given += 100
	sealed := mustClose(t, w)
	r := mustVerify(t, sealed.Folder, sealed.Head)
	if r.Lost != sealed.Lost || r.Items+r.Lost != uint64(given) || r.Lost <= 500 {
		t.Errorf("%d given, %d in the trail, %d said lost in the chain, %d in the seal", given, r.Items, r.Lost, sealed.Lost)
	}
	for _, l := range lines(t, sealed.Folder) {
		var g Gap
		if l.Kind == KindGap && json.Unmarshal(l.Body, &g) == nil && (g.From > g.To || g.AfterItems > r.Items) {
			t.Errorf("gap %+v", g)
		}
	}
}

func TestFailedSyncWritesAgain(t *testing.T) { synctest.Test(t, failedSyncWritesAgain) }

func failedSyncWritesAgain(t *testing.T) {
	o, f := testOptions(t), newFlaky("", 0, false)
	o.FS, o.DurableWithin = f, 5*time.Second
	w := mustCreate(t, o)
	f.mu.Lock()
	f.kind, f.nth, f.good = "sync", f.seen["sync"]+2, false // the events' own, once
	before := f.seen["write"]
	f.mu.Unlock()
	answer := make(chan bool, 1)
	w.Intake(&Item{})
	w.Durable("wren", "request", 0, "ask", func(failed bool) { answer <- failed })
	if <-answer {
		t.Fatal("failed for good after one failed fsync")
	}
	f.mu.Lock()
	writes := f.seen["write"] - before
	f.mu.Unlock()
	if writes < 4 { // intake and events, twice each
		t.Errorf("%d writes: after a failed fsync the bytes must be written again", writes)
	}
	mustVerify(t, mustClose(t, w).Folder, "")
}

func TestVanishedFolderIsSaid(t *testing.T) { synctest.Test(t, vanishedFolderIsSaid) }

func vanishedFolderIsSaid(t *testing.T) {
	o := testOptions(t)
	w := mustCreate(t, o)
	k := (OS{}).Rename(w.folder, w.folder+"x")
	if k != nil {
		t.Fatal(k)
	}
	eventually(t, "the folder is missed", func() bool { return strings.Contains(w.Status().Err, "not where it was") })
	if _, err := w.Close(time.Second); err != nil {
		t.Logf("close: %v", err)
	}
}

func TestFloodOfEventsIsBoundedAndCounted(t *testing.T) {
	synctest.Test(t, floodOfEventsIsBoundedAndCounted)
}

func floodOfEventsIsBoundedAndCounted(t *testing.T) {
	o, gate := testOptions(t), make(chan struct{})
	f := newFlaky("", 0, false)
	o.FS = f
	w := mustCreate(t, o)
	f.setGate(gate)
	body := strings.Repeat("x", 30<<10)
	given := 0
	eventually(t, "events are lost", func() bool {
		for range 100 {
			w.Event("wren", "fault", 0, body)
			given++
		}
		return w.Status().Lost > 10
	})
	f.setGate(nil)
	close(gate)
	sealed := mustClose(t, w)
	r := mustVerify(t, sealed.Folder, sealed.Head)
	kept := 0
	for _, l := range lines(t, sealed.Folder) {
		if l.Kind == "fault" {
			kept++
		}
	}
	if uint64(kept)+r.Lost != uint64(given) || r.Lost == 0 {
		t.Errorf("%d given, %d kept, %d said lost", given, kept, r.Lost)
	}
}
