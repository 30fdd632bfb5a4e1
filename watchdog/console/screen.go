package console

import (
	"sync/atomic"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
)

// Shown is what a vehicle's loop shows. It is not changed once shown.
type Shown struct {
	State wire.State // as on the broker; its seq is that of the newest published
	Snap  watchdog.Snapshot
}

// Screen holds the newest of one vehicle. Its loop calls Due and Show, which
// never wait for anybody; what was not looked at is replaced. A nil Screen is
// never due and shows nothing.
type Screen struct {
	newest  atomic.Pointer[Shown]
	watched *atomic.Int32 // browsers
	last    time.Duration // of the loop alone
	past    past          // of the hub's clock
}

// Due says whether somebody would see more than was shown last.
func (s *Screen) Due(now time.Duration) bool {
	return s != nil && s.watched.Load() > 0 && now-s.last >= FrameEvery
}

// Show shows what the loop knows at now.
func (s *Screen) Show(state *wire.State, snap *watchdog.Snapshot, now time.Duration) {
	if s == nil {
		return
	}
	s.last = now
	s.newest.Store(&Shown{State: *state, Snap: *snap})
}
