package console

import (
	"context"
	"net/http"
	"time"
)

// Session is a session of the trail.
type Session struct {
	ID      string    `json:"id"`
	Started time.Time `json:"started"`
	Seconds float64   `json:"seconds"`
	Sealed  bool      `json:"sealed"`
	Stops   int       `json:"stops"`
	Open    bool      `json:"open"` // it is the one that runs: its report goes as far as the trail does
	Err     string    `json:"err,omitempty"`
}

// quiet says whether the console may spend the machine's time on looking back:
// no vehicle may move, and nobody else does.
func (s *Server) quiet(w http.ResponseWriter) (done func(), ok bool) {
	for _, v := range s.hub.screens {
		shown := v.newest.Load()
		if shown == nil {
			refuse(w, http.StatusConflict, "of a vehicle nothing is known yet: looking back waits until it is, and no vehicle has a permit")
			return nil, false
		}
		if shown.State.Go {
			refuse(w, http.StatusConflict, "a vehicle has a permit: looking back waits until none has, so that it takes no time from the judgement")
			return nil, false
		}
	}
	select {
	case s.busy <- struct{}{}:
		return func() { <-s.busy }, true
	default:
		refuse(w, http.StatusTooManyRequests, "another report is being made; wait for it")
		return nil, false
	}
}

func (s *Server) sessions(w http.ResponseWriter, _ *http.Request) {
	if !s.opt.Site.Reports {
		refuse(w, http.StatusNotFound, "there is no looking back here")
		return
	}
	done, ok := s.quiet(w)
	if !ok {
		return
	}
	defer done()
	all, err := s.opt.Sessions()
	if err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	if all == nil {
		all = []Session{}
	}
	answer(w, http.StatusOK, all)
}

func (s *Server) report(w http.ResponseWriter, r *http.Request) {
	if !s.opt.Site.Reports {
		refuse(w, http.StatusNotFound, "there is no looking back here")
		return
	}
	done, ok := s.quiet(w)
	if !ok {
		return
	}
	defer done()
	ctx, cancel := context.WithTimeout(r.Context(), reportIn)
	defer cancel()
	go s.watchGo(ctx, cancel)
	b, err := s.opt.Report(ctx, r.PathValue("id"))
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(answerIn)) // the server's own holds otherwise
	if ctx.Err() != nil && r.Context().Err() == nil {
		refuse(w, http.StatusConflict, "the report was given up: a vehicle has a permit, or it took too long")
		return
	}
	if err != nil {
		refuse(w, http.StatusNotFound, err.Error())
		return
	}
	w.Header().Set("Content-Security-Policy", reportPolicy)
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = w.Write(b) // whoever asked may be gone
}

// watchGo gives a report up as soon as a vehicle has a permit.
func (s *Server) watchGo(ctx context.Context, cancel func()) {
	tick := time.NewTicker(FrameEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		for _, v := range s.hub.screens {
			if shown := v.newest.Load(); shown != nil && shown.State.Go {
				cancel()
				return
			}
		}
	}
}
