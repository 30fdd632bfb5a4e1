package review

import (
	"fmt"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/trail"
	"pinfold/watchdog/walk"
)

// Session sums up one session's trail.
type Session struct {
	ID     string `json:"session"`
	Guard  string `json:"guard"`
	Site   string `json:"site"`
	Folder string `json:"folder"`
	Head   string `json:"head"`
	Rows   []Row  `json:"episodes"`
	Faults []Note `json:"faults"`
	// Walks are the lists of walks along the edges, the newest of each vehicle.
	Walks []walk.List `json:"walks,omitempty"`
	last  time.Duration
}

// Row is one episode with the answer it got. Times are session instants in
// seconds.
type Row struct {
	Vehicle string  `json:"vehicle"`
	From    float64 `json:"from_s"`
	To      float64 `json:"to_s"`
	Cause   string  `json:"cause"`
	Name    string  `json:"name"`
	Worst   float64 `json:"worst"` // in Unit; for a zone how far the reach passed the edge
	Limit   float64 `json:"limit"`
	Unit    string  `json:"unit"`
	Breach  float64 `json:"breach_m"` // how deep the body itself was outside; 0 never
	Text    string  `json:"text"`
	// Level is the vehicle's level when the episode was confirmed: while
	// waiting nothing is raised.
	Level  string            `json:"level"`
	Answer *watchdog.Stopped `json:"answer"` // how the vehicle answered the stop it led to; null: it led to none
	open   bool
}

// Note is one sentence about something that happened once.
type Note struct {
	At      float64 `json:"at_s"`
	Vehicle string  `json:"vehicle"`
	Text    string  `json:"text"`
}

// Read sums up the session in folder.
func Read(folder string) (*Session, error) {
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	m := r.Meta()
	s := &summary{levels: map[string]string{}, carried: map[string]bool{}, rows: map[string]int{}, led: map[string]int{}, called: map[string]time.Duration{},
		out: Session{ID: m.Session, Guard: m.Guard, Site: m.Site, Folder: folder, Rows: []Row{}, Faults: []Note{}}}
	if err := r.Events(s.line); err != nil {
		return nil, err
	}
	return &s.out, nil
}

// summary gathers a Session from its lines.
type summary struct {
	out     Session
	levels  map[string]string        // by vehicle
	carried map[string]bool          // by vehicle: in a person's hands, motors off
	rows    map[string]int           // newest row by vehicle, cause and name
	led     map[string]int           // row that led to the command of that cause, by the same
	called  map[string]time.Duration // newest command, by the same
}

func (s *summary) line(l trail.Line) error {
	s.out.Head, s.out.last = l.Hash, max(s.out.last, l.At)
	var err error
	switch l.Kind {
	case trail.KindSigned:
		err = s.walked(&l)
	case "guard":
		err = s.begun(&l)
	}
	switch watchdog.RecordKind(l.Kind) {
	case watchdog.RecLevel:
		var b watchdog.LevelChange
		err = l.Decode(&b)
		s.levels[l.Vehicle] = b.To
	case watchdog.RecOpen, watchdog.RecEpisode:
		var b watchdog.Episode
		err = l.Decode(&b)
		s.episode(&l, &b)
	case watchdog.RecCommand:
		var b watchdog.CommandSent
		err = l.Decode(&b)
		s.commanded(&l, &b)
	case watchdog.RecStopped:
		var b watchdog.Stopped
		err = l.Decode(&b)
		s.stopped(&l, &b)
	case watchdog.RecFault:
		var b watchdog.FaultSeen
		err = l.Decode(&b)
		s.out.Faults = append(s.out.Faults, Note{At: l.At.Seconds(), Vehicle: l.Vehicle,
			Text: b.Kind + " " + b.Field + " " + b.Detail})
	}
	if err != nil {
		return fmt.Errorf("review: %w", err)
	}
	return nil
}

func key(vehicle, cause, name string) string { return vehicle + "\x00" + cause + "\x00" + name }

func (s *summary) episode(l *trail.Line, e *watchdog.Episode) {
	k := key(l.Vehicle, e.Cause, e.Name)
	i, ok := s.rows[k]
	if !ok || !s.out.Rows[i].open {
		i = len(s.out.Rows)
		s.rows[k] = i
		s.out.Rows = append(s.out.Rows, Row{Vehicle: l.Vehicle, Level: s.level(l.Vehicle)})
	}
	r := &s.out.Rows[i]
	r.From, r.To = e.From.Seconds(), e.To.Seconds()
	r.Cause, r.Name, r.Worst, r.Limit, r.Unit = e.Cause, e.Name, e.Worst, e.Limit, e.Unit
	r.Breach, r.Text = e.Breach, e.Text
	r.open = watchdog.RecordKind(l.Kind) == watchdog.RecOpen
}

// commanded notes which episode led to a command: the one of its cause that is
// open, or was until this very instant. One edge may be crossed several times
// until the vehicle is at rest; only the first crossing led to the stop.
func (s *summary) commanded(l *trail.Line, b *watchdog.CommandSent) {
	k := key(l.Vehicle, b.Cause.Word, b.Cause.Name)
	delete(s.led, k)
	s.called[k] = l.At
	if i, ok := s.rows[k]; ok && (s.out.Rows[i].open || s.out.Rows[i].To == l.At.Seconds()) {
		s.led[k] = i
	}
}

// stopped hangs the answer on the episode that led to the stop; a stop that no
// episode led to, such as an operator's, gets a row of its own.
func (s *summary) stopped(l *trail.Line, b *watchdog.Stopped) {
	k := key(l.Vehicle, b.Cause.Word, b.Cause.Name)
	if i, ok := s.led[k]; ok {
		delete(s.led, k)
		s.out.Rows[i].Answer = b
		return
	}
	at, ok := s.called[k]
	if !ok {
		at = l.At - time.Duration(b.Rest*float64(time.Second)) // late by what it takes to tell a rest
	}
	s.out.Rows = append(s.out.Rows, Row{Vehicle: l.Vehicle, From: at.Seconds(), To: at.Seconds(), Cause: b.Cause.Word,
		Name: b.Cause.Name, Worst: b.Cause.Value, Limit: b.Cause.Limit, Unit: b.Cause.Unit, Text: b.Cause.Text,
		Level: b.Action, Answer: b})
}
