package review

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"pinfold/watchdog/survey"
	"pinfold/watchdog/trail"
)

// What marks a session that holds no watching, but a drift that was measured
// after it.
const (
	// RecDrift is the kind of the one record in it.
	RecDrift = "drift"
	// MeasuredAlignment is the name under which it keeps the alignment file that
	// the drift was measured by; the last of its files.
	MeasuredAlignment = "measured-alignment.json"
)

// DriftRecord is the record's body. A session that is sealed is never written to
// again: the record is sealed in a session of its own, beside it, which names it
// by its id and its head. Like every session it also chains to the one before.
type DriftRecord struct {
	Vehicle   string      `json:"vehicle"`
	Session   string      `json:"session"` // the newest of the vehicle
	Head      string      `json:"head"`    // of that session, hex
	Sealed    bool        `json:"sealed"`  // whether it is
	Tracker   string      `json:"tracker,omitempty"`
	Aligned   time.Time   `json:"aligned"`          // when the alignment was made
	Alignment string      `json:"alignment_sha256"` // of its file, which is copied beside the record
	Drift     DriftReport `json:"drift"`
}

// DriftReport is a drift held against what the site file declares.
type DriftReport struct {
	survey.Drift
	Declared float64 `json:"declared_m"` // the site file's position error, the residual included
	Covered  bool    `json:"covered"`
	Recorded string  `json:"recorded,omitempty"` // folder of the session in the trail that holds it
}

// DriftAtClose is a drift as a trail holds it.
type DriftAtClose struct {
	DriftRecord
	Folder   string    `json:"folder"`   // of the session that holds it
	Measured time.Time `json:"measured"` // wall clock, an annotation
	// Problem is why it is not to be relied on: the session that holds it is not
	// whole or not sealed, or the one it names has another head. Empty: nothing.
	Problem string `json:"problem,omitempty"`
}

// IsDrift tells whether a session holds a drift and no watching.
func IsDrift(m trail.Meta) bool {
	n := len(m.Files)
	return n > 0 && m.Files[n-1].Name == MeasuredAlignment
}

// DriftError is what asking for a session's watching gives for one that holds a
// drift: what it is, and which session it belongs to.
type DriftError struct{ Drift *DriftAtClose }

func (e *DriftError) Error() string { return e.Drift.String() }

// String is what it is, in one sentence.
func (d *DriftAtClose) String() string {
	return fmt.Sprintf("this is no session of a guard but a measure of how far %s's tracker drifted, taken by align --close after session %s", d.Vehicle, d.Session)
}

// Read tells whether the record was read: else there are no numbers, and Problem
// says why.
func (d *DriftAtClose) Read() bool { return d.Head != "" }

// DriftOf is the drift that the session in folder holds; nil where it holds
// none.
func DriftOf(folder string) (*DriftAtClose, error) {
	r, err := trail.Open(folder)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return driftOf(r), nil
}

func driftOf(r *trail.Reader) *DriftAtClose {
	m, folder := r.Meta(), r.Folder()
	if !IsDrift(m) {
		return nil
	}
	d := &DriftAtClose{Folder: folder, Measured: m.Started}
	err := r.Events(func(l trail.Line) error {
		if l.Kind != RecDrift {
			return nil
		}
		return l.Decode(&d.DriftRecord)
	})
	if !d.Read() { // what is known of it all the same
		d.DriftRecord = DriftRecord{Vehicle: strings.Join(m.Vehicles, ", ")}
		if m.Previous != nil {
			d.Session = m.Previous.Session
		}
	}
	p, verr := trail.Verify(folder, "")
	switch {
	case verr != nil:
		d.Problem = verr.Error()
	case !p.OK():
		d.Problem = p.Err().Error()
	case err != nil:
		d.Problem = err.Error()
	case !d.Read():
		d.Problem = "the session was begun to hold it, and ends before it: measure again, by align --close"
	case !p.Sealed:
		d.Problem = "the session that holds it is not sealed"
	}
	return d
}

// drifts are the drifts measured after a session, oldest first: those in the
// same trail that name it.
func drifts(folder, session, head string) []DriftAtClose {
	all := []DriftAtClose{}
	dir := filepath.Dir(filepath.Clean(folder))
	list, err := os.ReadDir(dir) // by name, which begins with the time
	if err != nil {
		return all // a folder on its own, whose trail is elsewhere
	}
	for _, s := range list {
		if !s.IsDir() {
			continue
		}
		d, err := DriftOf(filepath.Join(dir, s.Name()))
		if err != nil || d == nil || d.Session != session {
			continue // verify says what is wrong with it
		}
		if d.Problem == "" && d.Head != head {
			d.Problem = "the session has another head now than when it was measured"
		}
		all = append(all, *d)
	}
	return all
}

// driftMissing says which vehicles' drift nobody measured.
func (rep *Report) driftMissing() {
	for i := range rep.Vehicles {
		name := rep.Vehicles[i].Name
		if len(rep.DriftsOf(name)) == 0 {
			rep.Missing = append(rep.Missing, fmt.Sprintf("How far %s's tracker drifted: nobody measured it at close (pinfold align --close, back on the pad).", name))
		}
	}
}

// DriftsOf are the drifts of one vehicle.
func (rep *Report) DriftsOf(vehicle string) (out []DriftAtClose) {
	for i := range rep.Drifts {
		if rep.Drifts[i].Vehicle == vehicle {
			out = append(out, rep.Drifts[i])
		}
	}
	return out
}
