package console

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"time"
)

// pagePolicy lets the page use its own files and nothing else
// (Content Security Policy Level 3).
const pagePolicy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// reportPolicy is for a report, which brings its own style and script: it runs
// as if from nowhere, and reaches nothing of this server.
const reportPolicy = "sandbox allow-scripts; default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// files are the page's, by the name in the address; there are no others.
func files() map[string]string {
	const js, css, svg = "text/javascript; charset=utf-8", "text/css; charset=utf-8", "image/svg+xml"
	return map[string]string{"console.css": css, "console.js": js, "live.js": js, "age.js": js, "vehicle.js": js, "drawing.js": js,
		"strips.js": js, "acts.js": js, "look.js": js, "icon.svg": svg,
		"uplot/uPlot.iife.min.js": js, "uplot/uPlot.min.css": css}
}

func (s *Server) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", func(w http.ResponseWriter, r *http.Request) { serve(w, r, "index.html", "text/html; charset=utf-8") })
	for name, kind := range files() {
		mux.HandleFunc("GET /"+name, func(w http.ResponseWriter, r *http.Request) { serve(w, r, name, kind) })
	}
	mux.HandleFunc("GET /live", s.live)
	mux.HandleFunc("GET /now", s.now)
	mux.HandleFunc("POST /ask", s.ask)
	mux.HandleFunc("GET /sessions", s.sessions)
	mux.HandleFunc("GET /sessions/{id}", s.report)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", pagePolicy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		s.door.works(r)
		defer s.door.waits(r) // also while what is left of its body is waited for
		if why := ours(r); why != "" {
			s.holdUp()
			refuse(w, http.StatusForbidden, why)
			return
		}
		if r.URL.Path != "/ask" && r.URL.Path != "/now" && !s.limit.ordinary.Allow() {
			time.Sleep(tarpit) // with maxConns this bounds what a flood can cost
			refuse(w, http.StatusTooManyRequests, "too much is asked here; wait a second")
			return
		}
		mux.ServeHTTP(w, r)
	})
}

func serve(w http.ResponseWriter, r *http.Request, name, kind string) {
	b, err := page.ReadFile("page/" + name)
	if err != nil {
		refuse(w, http.StatusNotFound, "there is no such page")
		return
	}
	w.Header().Set("Content-Type", kind)
	http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(b))
}

// instant is what a page bounds the age of frames by.
type instant struct {
	Session string  `json:"session"`
	Now     float64 `json:"now"` // s, session instant, of after the request came
}

func (s *Server) instant() instant {
	return instant{Session: s.hub.session(), Now: s.opt.Now().Seconds()}
}

// now tells the instant. Where too much is asked only the answer waits, which bounds
// a frame's age as well: the instant is that of before.
func (s *Server) now(w http.ResponseWriter, _ *http.Request) {
	told := s.instant()
	s.holdUp()
	answer(w, http.StatusOK, told)
}

// live sends frames until the browser goes, is too slow to take one within
// frameWrite, or the console ends.
func (s *Server) live(w http.ResponseWriter, r *http.Request) {
	v := s.hub.join()
	if v == nil {
		w.Header().Set("Retry-After", "5")
		refuse(w, http.StatusServiceUnavailable, fmt.Sprintf("%d browsers watch already, and no more can; close one that is not looked at", MaxViewers))
		return
	}
	defer s.hub.leave(v)
	s.door.stays(r)
	c := http.NewResponseController(w)
	_ = c.SetReadDeadline(time.Time{}) // nothing more is read; where it cannot be set, the stream ends and begins again
	w.Header().Set("Content-Type", "text/event-stream")
	told, err := json.Marshal(s.instant())
	if err != nil {
		return
	}
	var b bytes.Buffer
	event(&b, "instant", told)
	begun := false
	for {
		select {
		case <-r.Context().Done():
			return
		case <-v.ready:
		}
		site, frame, lines, err := s.hub.news(v)
		if err != nil {
			return
		}
		event(&b, "site", site)
		if !begun {
			minute, err := encodePast(s.hub.screens, s.opt.Now())
			if err != nil {
				return
			}
			event(&b, "past", minute)
			begun = true
		}
		event(&b, "lines", lines)
		event(&b, "frame", frame)
		if c.SetWriteDeadline(time.Now().Add(frameWrite)) != nil {
			return
		}
		if _, err := w.Write(b.Bytes()); err != nil || c.Flush() != nil {
			return
		}
		b.Reset()
	}
}

// event appends one event of a stream; JSON has no line breaks.
func event(b *bytes.Buffer, name string, data []byte) {
	if data != nil {
		fmt.Fprintf(b, "event: %s\ndata: %s\n\n", name, data)
	}
}

func answer(w http.ResponseWriter, status int, body any) {
	b, err := json.Marshal(body)
	if err != nil {
		status, b = http.StatusInternalServerError, []byte(`{"error":"the answer cannot be written"}`)
	}
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_, _ = w.Write(b) // whoever asked may be gone
}

func refuse(w http.ResponseWriter, status int, why string) {
	answer(w, status, map[string]string{"error": strings.TrimSpace(why)})
}
