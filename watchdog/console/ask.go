package console

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link/wire"
)

// asked is the body of POST /ask.
type asked struct {
	Ask      string `json:"ask"`
	Vehicle  string `json:"vehicle"` // empty: all of them, for stop and land
	By       string `json:"by"`
	Nonce    string `json:"nonce"`
	Retrieve bool   `json:"retrieve"`
}

// ask takes what a person asks. A stop or a land goes out before anything else
// is looked at that could refuse it for being one too many.
func (s *Server) ask(w http.ResponseWriter, r *http.Request) {
	a, status, why := readAsked(w, r)
	if status != 0 {
		refuse(w, status, why)
		return
	}
	which, ok := s.which(a.Vehicle)
	if !ok {
		refuse(w, http.StatusNotFound, "there is no such vehicle")
		return
	}
	word, _ := watchdog.ParseAsk(a.Ask)
	m := wire.Request{Ask: a.Ask, By: by(a.By), Nonce: a.Nonce, Retrieve: a.Retrieve}
	switch word {
	case watchdog.AskStop, watchdog.AskLand:
		m.Nonce, m.Retrieve = "", false
		for _, i := range which {
			s.halts[2*i+int(word-watchdog.AskStop)].ask(m.Append(nil))
		}
		if !s.limit.ordinary.Allow() {
			time.Sleep(tarpit) // it is done; only the answer waits
		}
	case watchdog.AskStart, watchdog.AskReset:
		if len(which) != 1 || a.Vehicle == "" {
			refuse(w, http.StatusBadRequest, "start and reset are asked for one vehicle at a time; name it")
			return
		}
		if status, why := s.bearer(r); status != 0 {
			time.Sleep(tarpit)
			refuse(w, status, why)
			return
		}
		if !s.limit.motion.Allow() {
			refuse(w, http.StatusTooManyRequests, "too many starts and resets; wait a second")
			return
		}
		s.opt.Ask(which[0], m.Append(nil))
	default:
		refuse(w, http.StatusBadRequest, "ask start, stop, land or reset")
		return
	}
	answer(w, http.StatusAccepted, map[string]any{"asked": a.Ask, "vehicles": len(which)})
}

// readAsked reads the body; status is 0 where it could be.
func readAsked(w http.ResponseWriter, r *http.Request) (a asked, status int, why string) {
	// No form and no plain text: what another page could send without asking.
	if t, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); t != "application/json" {
		return a, http.StatusUnsupportedMediaType, "the body must be application/json"
	}
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxAsk))
	d.DisallowUnknownFields()
	if err := d.Decode(&a); err != nil {
		if _, tooLarge := err.(*http.MaxBytesError); tooLarge {
			return a, http.StatusRequestEntityTooLarge, "the body is too large"
		}
		return a, http.StatusBadRequest, "the body is not what can be asked"
	}
	if _, err := d.Token(); err != io.EOF {
		return a, http.StatusBadRequest, "the body goes on after what is asked"
	}
	if len(a.Nonce) > wire.NameMax || len(a.By) > maxBy {
		return a, http.StatusBadRequest, "the nonce or the name is too long"
	}
	return a, 0, ""
}

// which lists the vehicles of a name; all of them where it is empty.
func (s *Server) which(name string) (all []int, ok bool) {
	for i := range s.opt.Site.Vehicles {
		if name == "" || s.opt.Site.Vehicles[i].Name == name {
			all = append(all, i)
		}
	}
	return all, len(all) > 0
}

// by is who asks, as it stands in the trail.
func by(name string) string {
	if name = strings.TrimSpace(wire.Printable(name)); name == "" {
		return "console"
	}
	return name + " at the console"
}

// halter puts the stops of one vehicle, or its lands: the first at once, and of
// those that follow within haltEvery one at its end, so that each of them comes to
// one that is judged after it was asked, and no flood of them reaches the judgement.
type halter struct {
	vehicle int
	put     func(vehicle int, request []byte)

	mu      sync.Mutex
	last    time.Time
	waiting []byte // nil: none
	timer   *time.Timer
	closed  bool
}

func newHalter(vehicle int, put func(int, []byte)) *halter {
	return &halter{vehicle: vehicle, put: put}
}

func (h *halter) ask(request []byte) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.waiting != nil || h.closed {
		return // the one that waits is still to be judged
	}
	left := haltEvery - time.Since(h.last)
	if left <= 0 {
		h.last = time.Now()
		h.put(h.vehicle, request)
		return
	}
	h.waiting = request
	h.timer = time.AfterFunc(left, h.due)
}

func (h *halter) due() {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.waiting == nil || h.closed {
		return
	}
	h.put(h.vehicle, h.waiting)
	h.waiting, h.last = nil, time.Now()
}

func (h *halter) close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	if h.timer != nil {
		h.timer.Stop()
	}
}
