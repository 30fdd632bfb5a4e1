package cli

import (
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"

	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// drifted is the drift that err says a session holds; nil where it says
// something else.
func drifted(err error) *review.DriftAtClose {
	var d *review.DriftError
	if errors.As(err, &d) {
		return d.Drift
	}
	return nil
}

// tellDrift says of a session that holds a drift what it is, and what was
// measured.
func tellDrift(s *streams, d *review.DriftAtClose, asJSON bool) error {
	if asJSON {
		if err := printJSON(s.out, d); err != nil {
			return err
		}
	} else {
		printWrapped(s.out, d.String()+": nothing was watched in it, and there is nothing to judge", "  ")
		printDrift(s.out, d)
	}
	if d.Problem != "" {
		return found("")
	}
	return nil
}

// printDrift tells one drift in lines of a narrow terminal.
func printDrift(out io.Writer, d *review.DriftAtClose) {
	if !d.Read() {
		printWrapped(out, d.Vehicle+": how far the tracker drifted cannot be read: "+d.Problem, "  ")
		return
	}
	r := &d.Drift
	printWrapped(out, fmt.Sprintf("%s: at close the tracker had crept by %.3f m on the level, %+.3f m in height, %+.2f° in heading over %.0f s",
		d.Vehicle, r.Horizontal, r.Vertical, math.Round(r.Yaw*180/math.Pi*100)/100+0, r.Lasted), "  ")
	word := ": covered"
	switch {
	case d.Problem != "":
		word = ""
	case !r.Covered:
		word = ": NOT COVERED: raise position_error, or align more often"
	}
	printWrapped(out, fmt.Sprintf("  that calls for a position error of %.3f m, declared is %.3f m%s", r.Needed, r.Declared, word), "  ")
	if d.Problem != "" {
		printWrapped(out, "  do not rely on it: "+d.Problem, "  ")
	}
}

// printTies tells which alignments a vehicle was judged by, and which were
// refused; nothing where none was ever needed.
func printTies(out io.Writer, v *review.Vehicle) {
	if len(v.Ties) == 1 && v.Ties[0].Hash == "" && v.Ties[0].Outcome == "begun" && v.Ties[0].Tracker == "" && v.Ties[0].Residual == 0 {
		return
	}
	for i := range v.Ties {
		printWrapped(out, v.Ties[i].String(), "  ")
	}
}

// listed is a session in the list of a trail.
type listed struct {
	trail.Session
	Drift *review.DriftAtClose `json:"drift,omitempty"` // it holds this, and no watching
}

func listedOf(all []trail.Session) []listed {
	out := make([]listed, len(all))
	for i := range all {
		out[i].Session = all[i]
		if all[i].Err != "" {
			continue
		}
		d, err := review.DriftOf(all[i].Folder)
		if err != nil {
			out[i].Err = err.Error()
		}
		out[i].Drift = d
	}
	return out
}

func (x *listed) print(out io.Writer) {
	state, when := "sealed", x.Started.UTC().Format("2006-01-02 15:04:05")
	if !x.Sealed {
		state = "NOT SEALED"
	}
	if x.Drift != nil {
		fmt.Fprintf(out, "%s  %s, drift after session %s\n  %s\n", when, state, printable(x.Drift.Session), printable(x.Folder))
		printDrift(out, x.Drift)
	} else {
		fmt.Fprintf(out, "%s  %s, %s, %d commands, %.1f MB\n  %s\n", when, x.Duration.Round(1e8), state, x.Stops, float64(x.Bytes)/1e6, printable(x.Folder))
	}
	if x.Err != "" {
		printWrapped(out, "  cannot be read whole: "+x.Err, "    ")
	}
}

// skipped tells of a drift among sessions that are to be compared.
func skipped(s *streams, d *review.DriftAtClose) {
	printWrapped(s.err, fmt.Sprintf("note: %s is left out: it holds a drift measured after session %s", filepath.Base(d.Folder), d.Session), "  ")
}
