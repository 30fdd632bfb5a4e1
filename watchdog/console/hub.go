package console

import (
	"encoding/json"
	"fmt"
	"sync"
	"sync/atomic"
	"time"
)

// Line is one thing a person should read.
type Line struct {
	No      uint64  `json:"no"` // counts from 1
	At      float64 `json:"at"` // s, session instant
	Vehicle string  `json:"vehicle"`
	Level   string  `json:"level"`
	Text    string  `json:"text"`
}

// hub makes frames and knows who watches.
type hub struct {
	screens []*Screen
	watched atomic.Int32
	frame   atomic.Pointer[[]byte]
	now     func() time.Duration

	mu      sync.Mutex
	site    Site
	siteNo  int
	lines   []Line
	lineNo  uint64
	viewers map[*viewer]bool
	ended   bool
}

// viewer is one browser that watches.
type viewer struct {
	ready  chan struct{} // something is new
	site   int           // number of the site it has
	lineNo uint64        // newest line it has
}

func newHub(site Site, now func() time.Duration) *hub {
	h := &hub{site: site.whole(), siteNo: 1, now: now, viewers: map[*viewer]bool{}}
	for range site.Vehicles {
		h.screens = append(h.screens, &Screen{watched: &h.watched})
	}
	return h
}

// run makes frames until stop is closed.
func (h *hub) run(stop <-chan struct{}, failed func(string)) {
	tick := time.NewTicker(FrameEvery)
	defer tick.Stop()
	for {
		select {
		case <-stop:
			return
		case <-tick.C:
		}
		err := h.keep()
		if err == nil && h.watched.Load() > 0 {
			err = h.turn()
		}
		if err != nil {
			failed("the console can show nothing more: " + err.Error())
			return // every page turns grey
		}
	}
}

// rescued makes an error of a panic: whatever fails here, the guard goes on.
func rescued(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("%v", p)
	}
}

// keep takes what is shown into the last minute.
func (h *hub) keep() (err error) {
	defer rescued(&err)
	for _, s := range h.screens {
		s.past.add(s.newest.Load())
	}
	return nil
}

// turn makes one frame and tells everybody of it.
func (h *hub) turn() (err error) {
	defer rescued(&err)
	h.mu.Lock()
	site := h.site
	h.mu.Unlock()
	b, err := encode(h.now(), h.screens, &site)
	if err != nil {
		return err
	}
	h.frame.Store(&b)
	h.knock()
	return nil
}

func (h *hub) knock() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for v := range h.viewers {
		select {
		case v.ready <- struct{}{}:
		default: // it has not taken the last one yet, and will take this one instead
		}
	}
}

// join adds a viewer, nil where there are enough.
func (h *hub) join() *viewer {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.ended || len(h.viewers) >= MaxViewers {
		return nil
	}
	v := &viewer{ready: make(chan struct{}, 1)}
	h.viewers[v] = true
	h.watched.Store(int32(len(h.viewers)))
	return v
}

func (h *hub) leave(v *viewer) {
	h.mu.Lock()
	defer h.mu.Unlock()
	delete(h.viewers, v)
	h.watched.Store(int32(len(h.viewers)))
}

// say takes a line; the oldest makes room.
func (h *hub) say(l Line) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.lineNo++
	l.No = h.lineNo
	if len(h.lines) == maxLines {
		h.lines = append(h.lines[:0], h.lines[1:]...)
	}
	h.lines = append(h.lines, l)
}

func (h *hub) setSite(s Site) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.site, h.siteNo = s.whole(), h.siteNo+1
}

func (h *hub) session() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.site.Session
}

// news is what v has not had yet: the site, the newest frame, lines. The last
// minute, which goes with the first of them, is the business of whoever asks.
func (h *hub) news(v *viewer) (site, frame, lines []byte, err error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if v.site != h.siteNo {
		if site, err = json.Marshal(&h.site); err != nil {
			return nil, nil, nil, err
		}
		v.site = h.siteNo
	}
	if v.lineNo != h.lineNo {
		from := len(h.lines) - min(len(h.lines), int(h.lineNo-v.lineNo))
		if lines, err = json.Marshal(h.lines[from:]); err != nil {
			return nil, nil, nil, err
		}
		v.lineNo = h.lineNo
	}
	if p := h.frame.Load(); p != nil {
		frame = *p
	}
	return site, frame, lines, nil
}
