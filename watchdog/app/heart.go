package app

import (
	"sync"
	"time"
)

// Notifier tells the service manager about this process. Its calls may block.
type Notifier interface {
	Ready() error
	Stopping() error
	Reloading() error
	Alive() error
	// Every is how often Alive must be called; 0: nobody waits for it.
	Every() time.Duration
}

// heart tells the service manager that the guard is alive, but only while every
// vehicle's loop has judged since it was last told. The loops beat it after
// they judged; nothing else does.
type heart struct {
	notify Notifier
	every  time.Duration
	failed func(error)   // told of each first error after a success
	pulse  chan struct{} // to the goroutine that may block
	done   chan struct{}

	mu     sync.Mutex
	beaten []bool
	missed int // loops that have not judged since the last pulse
	last   time.Duration
	sent   bool
}

func newHeart(n Notifier, loops int, failed func(error)) *heart {
	h := &heart{notify: n, failed: failed, beaten: make([]bool, loops), missed: loops,
		pulse: make(chan struct{}, 1), done: make(chan struct{})}
	if n != nil {
		h.every = n.Every() / 3
	}
	go h.run()
	return h
}

func (h *heart) run() {
	defer close(h.done)
	said := false
	for range h.pulse {
		if h.notify == nil {
			continue
		}
		err := h.notify.Alive()
		if err != nil && !said {
			h.failed(err)
		}
		said = err != nil
	}
}

// beat says that loop i has judged at now.
func (h *heart) beat(i int, now time.Duration) {
	if h.every <= 0 {
		return
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if !h.beaten[i] {
		h.beaten[i] = true
		h.missed--
	}
	if h.missed > 0 || h.sent && now-h.last < h.every {
		return
	}
	select {
	case h.pulse <- struct{}{}:
		h.last, h.sent = now, true
		clear(h.beaten)
		h.missed = len(h.beaten)
	default: // the manager is slow to take the last one
	}
}

// stop ends the heart after the last beat.
func (h *heart) stop() {
	close(h.pulse)
	<-h.done
}
