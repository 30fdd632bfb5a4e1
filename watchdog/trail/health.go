package trail

import (
	"fmt"
	"time"
)

// report works out the health and tells the caller where it changed.
func (k *keeper) report(now time.Time) {
	w := k.w
	w.mu.Lock()
	s := &w.status
	was := k.told
	s.Err = k.ill(now)
	s.OK, s.Warn = s.Err == "", k.space.warning
	s.Steps, s.Stepped = k.steps, k.stepped
	said := *s
	w.mu.Unlock()
	k.told = said
	if w.o.OnStatus != nil && (!k.toldOnce || was.OK != said.OK || was.Err != said.Err || was.Warn != said.Warn || was.Steps != said.Steps) {
		k.toldOnce = true
		w.o.OnStatus(said)
	}
}

// ill says what keeps the trail from being whole; mu is held.
func (k *keeper) ill(now time.Time) string {
	w := k.w
	switch {
	case k.err != nil:
		return fmt.Sprintf("cannot be written: %.300s", k.err.Error())
	case k.busy && now.Sub(k.busySince) >= w.o.StallAfter:
		return fmt.Sprintf("the disk has not answered for %v", w.o.StallAfter)
	case k.gone != nil:
		return fmt.Sprintf("%.300s", k.gone.Error())
	case k.space.full:
		return fmt.Sprintf("its bound of %d bytes is reached and nothing may be removed: move sessions away, or raise the bound", k.space.bound)
	case w.lost.any() || k.gapLine > k.durable:
		return "records were lost, and the chain does not say so yet"
	}
	return ""
}
