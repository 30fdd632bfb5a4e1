package review

import (
	"fmt"
	"math"
	"strings"
	"time"

	"pinfold/watchdog"
)

// maxTies bounds the alignments of one vehicle that are told.
const maxTies = 1000

// Tie is one alignment of a session: the one it began with, or one that was
// sent, with what became of it.
type Tie struct {
	At          float64   `json:"at_s"`
	Outcome     string    `json:"outcome"` // begun (in force at the start), none, effective, refused; accepted: the session ends before more is known
	By          string    `json:"by"`
	Local       bool      `json:"local"`          // from the site's own files
	Tracker     string    `json:"tracker"`        // id of the tracker's session; empty: it tells none
	Made        time.Time `json:"made"`           // by its maker's clock; the zero time: not known
	Yaw         float64   `json:"yaw_deg"`        // of the tracker's frame in the room
	Residual    float64   `json:"residual_m"`     // how far it may be off
	Uncertainty float64   `json:"uncertainty_m"`  // what the judgement is widened by with it
	Hash        string    `json:"hash,omitempty"` // hex SHA-256 of its file; empty: none was read
	Why         []string  `json:"why,omitempty"`  // refused
}

// String is the alignment on one line.
func (t Tie) String() string {
	who := "a tracker without an id"
	if t.Tracker != "" {
		who = "tracker session " + t.Tracker
	}
	what := fmt.Sprintf("%s, yaw %.2f°, off by at most %.3f m, positions good to %.3f m", who, t.Yaw, t.Residual, t.Uncertainty)
	from := "sent by " + t.By
	if t.Local {
		from = "from the site's file"
	}
	switch t.Outcome {
	case "none":
		return "alignment at the start: none"
	case "begun":
		return "alignment at the start: " + what
	case "effective":
		return fmt.Sprintf("aligned anew at %.2f s, %s: %s", t.At, from, what)
	}
	return fmt.Sprintf("alignment at %.2f s, %s: %s", t.At, from, strings.Join(append([]string{t.Outcome}, t.Why...), ": "))
}

// begun is the alignment that a session began with.
func begun(c *watchdog.Config) Tie {
	a := &c.Pose.Align
	if a.Void() {
		return Tie{Outcome: "none", Local: true}
	}
	t := Tie{Outcome: "begun", Local: true, Tracker: a.Tracker, Yaw: a.Rotation.Yaw() * 180 / math.Pi, Residual: a.Residual,
		Uncertainty: c.Stopping.PlaceErr(), Hash: c.Tie.Hash}
	if c.Tie.Made != 0 {
		t.Made = time.UnixMilli(c.Tie.Made).UTC()
	}
	return t
}

// tie notes an alignment that was heard. What was accepted is told once, by what
// came of it.
func (c *collector) tie(b *watchdog.AlignHeard, t float64) {
	n := Tie{At: t, Outcome: b.Outcome, By: b.By, Local: b.Local, Tracker: b.Tracker, Made: b.Made, Yaw: b.Yaw,
		Residual: b.Residual, Uncertainty: b.Uncertainty, Hash: b.Hash, Why: b.Why}
	last := &c.v.Ties[len(c.v.Ties)-1]
	switch {
	case last.Outcome == "accepted" && last.Hash == n.Hash:
		*last = n
	case len(c.v.Ties) < maxTies:
		c.v.Ties = append(c.v.Ties, n)
	}
}
