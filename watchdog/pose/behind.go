package pose

import "time"

// A sender whose stamps or numbers begin anew, without a tracker id that says
// so, would be refused until they have caught up: for an hour after one stamp
// that leapt ahead by an hour, for ever where a tracker without a clock of its
// own counts from zero. Poses that go on like a live tracker's, only behind,
// are therefore taken for a tracker that restarted: its alignment is void, so
// none of them is trusted, and nothing is granted until the next alignment.
//
// That opens nothing to poses that are replayed: they too are let in as a
// restarted tracker's alone, and only where the true one has been silent for
// RestartAfter. As long as it is not, each of its samples begins the count anew.

const (
	// RestartAfter is how long samples must have come in good order, all of them
	// refused as older than the newest kept one, to be a restarted tracker.
	RestartAfter = 2 * time.Second
	// behindPace is how far, as a share of the time by arrival, the time by
	// their stamps may differ from it.
	behindPace = 0.25
)

// behind follows samples that are refused as old. The zero value follows none.
type behind struct {
	on      bool
	first   int64         // ns, stamp of the first
	begun   time.Duration // arrival of the first
	last    Sample        // the newest
	arrived time.Duration
}

// note takes one more refused sample and says whether they are by now a tracker
// of their own: each after the last, without a gap in arrival or stamp longer
// than maxAge, at the pace of the clock here, for RestartAfter.
func (b *behind) note(s *Sample, arrived, maxAge time.Duration) bool {
	step := time.Duration(s.Stamp - b.last.Stamp)
	inSeq := !s.HasSeq || !b.last.HasSeq || s.Seq > b.last.Seq
	if !b.on || step <= 0 || step > maxAge || !inSeq || s.Tracker != b.last.Tracker || arrived < b.arrived || arrived-b.arrived > maxAge {
		*b = behind{on: true, first: s.Stamp, begun: arrived}
	}
	b.last, b.arrived = *s, arrived
	took, told := arrived-b.begun, time.Duration(s.Stamp-b.first)
	off := told - took
	if off < 0 {
		off = -off
	}
	return took >= RestartAfter && float64(off) <= behindPace*float64(took)
}
