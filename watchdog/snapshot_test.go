package watchdog

import (
	"math"
	"reflect"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// Figures are the Snapshot without its lists: through a start, a way to the wall
// and the stop before it, nothing else differs.
func TestFiguresAreTheSnapshotWithoutItsLists(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	lists := 0
	for range 400 {
		r.move(10*time.Millisecond, pose.Vec{X: 0.5})
		s, f := r.g.Snapshot(), r.g.Figures()
		lists += len(s.Causes) + len(s.Near) + len(s.Latched) + len(s.Blocked)
		s.Causes, s.Near, s.Latched, s.Blocked, s.BackLacks, s.Astray = nil, nil, nil, nil, nil, false
		if !reflect.DeepEqual(s, f) && !math.IsNaN(s.Nearest.Clearance) { // NaN equals nothing
			t.Fatalf("the figures are\n%+v, the snapshot's\n%+v", f, s)
		}
	}
	if lists == 0 || r.g.Level() < Stop {
		t.Errorf("%d causes, level %v: nothing was left out", lists, r.g.Level())
	}
}
