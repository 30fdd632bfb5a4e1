package console

import (
	"encoding/json"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

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

// ask takes what a person asks. Where too much is asked only the answer waits: a
// stop, or a land, is out by then.
func (s *Server) ask(w http.ResponseWriter, r *http.Request) {
	a, vehicles, status, why := s.takeAsked(w, r)
	s.holdUp()
	if status != 0 {
		refuse(w, status, why)
		return
	}
	answer(w, http.StatusAccepted, map[string]any{"asked": a.Ask, "vehicles": vehicles})
}

// takeAsked carries out what is asked, of so many vehicles; status is 0 where it
// could be. A stop or a land goes out before anything else is looked at that could
// refuse it for being one too many.
func (s *Server) takeAsked(w http.ResponseWriter, r *http.Request) (a asked, vehicles, status int, why string) {
	if a, status, why = s.readAsked(w, r); status != 0 {
		return a, 0, status, why
	}
	which, ok := s.which(a.Vehicle)
	if !ok {
		return a, 0, http.StatusNotFound, "there is no such vehicle"
	}
	word, _ := watchdog.ParseAsk(a.Ask)
	m := wire.Request{Ask: a.Ask, By: by(a.By), Nonce: a.Nonce, Retrieve: a.Retrieve}
	switch word {
	case watchdog.AskStop, watchdog.AskLand:
		m.Nonce, m.Retrieve = "", false
		for _, i := range which {
			s.halts[2*i+int(word-watchdog.AskStop)].ask(m.Append(nil))
		}
	case watchdog.AskStart, watchdog.AskReset:
		if len(which) != 1 || a.Vehicle == "" {
			return a, 0, http.StatusBadRequest, "start and reset are asked for one vehicle at a time; name it"
		}
		if len(a.Nonce) > wire.NameMax {
			return a, 0, http.StatusBadRequest, "the nonce is too long"
		}
		if status, why := s.bearer(r); status != 0 {
			time.Sleep(tarpit)
			return a, 0, status, why
		}
		if !s.limit.motion.Allow() {
			return a, 0, http.StatusTooManyRequests, "too many starts and resets; wait a second"
		}
		s.opt.Ask(which[0], m.Append(nil))
	default:
		return a, 0, http.StatusBadRequest, "ask start, stop, land or reset"
	}
	return a, len(which), 0, ""
}

// holdUp has an answer wait where too much is asked.
func (s *Server) holdUp() {
	if !s.limit.ordinary.Allow() {
		time.Sleep(tarpit)
	}
}

// readAsked reads the body; status is 0 where it could be.
func (s *Server) readAsked(w http.ResponseWriter, r *http.Request) (a asked, status int, why string) {
	// No form and no plain text: what another page could send without asking.
	if t, _, _ := strings.Cut(r.Header.Get("Content-Type"), ";"); t != "application/json" {
		return a, http.StatusUnsupportedMediaType, "the body must be application/json"
	}
	s.door.waits(r) // whoever is slow with the rest keeps nobody out
	defer s.door.works(r)
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

// by is who asks, as it stands in the trail. A name that is too long is cut: nobody
// is kept from a stop by a name.
func by(name string) string {
	if name = strings.TrimSpace(wire.Printable(name)); name == "" {
		return "console"
	}
	if len(name) > maxBy {
		end := maxBy - len("…")
		for !utf8.RuneStart(name[end]) {
			end--
		}
		name = name[:end] + "…"
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
