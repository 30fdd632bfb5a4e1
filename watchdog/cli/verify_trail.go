package cli

import (
	"fmt"
	"io"
	"path/filepath"

	"pinfold/watchdog/trail"
)

// whole proves every session of a trail, and that none was taken away.
func (c *verifyCmd) whole(s *streams, head, key string) error {
	t, err := trail.VerifyAll(c.Path, head)
	if err != nil {
		return err
	}
	if key != "" {
		for _, r := range t.Reports {
			r.DemandKey(key)
		}
	}
	if c.JSON {
		if err := printJSON(s.out, t); err != nil {
			return err
		}
	} else {
		printTrail(s.out, t)
	}
	return wholeVerdict(t)
}

// wholeVerdict turns what was found in a trail into the exit status.
func wholeVerdict(t *trail.Trail) error {
	newest := t.Reports[len(t.Reports)-1]
	for i, r := range t.Reports {
		if !r.OK() && !(r.TornOnly() && i == len(t.Reports)-1) {
			return found("the trail does not hold")
		}
	}
	if len(t.Missing) > 0 {
		return found("the trail does not hold: %s was taken away", count(len(t.Missing), "session"))
	}
	for _, r := range t.Reports[:len(t.Reports)-1] {
		if !r.Vouched() {
			return &statusError{exitUnsealed, fmt.Sprintf("%s is not sealed, and no later session vouches for its end: a cut tail cannot be told without the head", filepath.Base(r.Folder))}
		}
	}
	return verdict(newest)
}

// printTrail prints a line or two for each session, and what is wrong with it.
func printTrail(out io.Writer, t *trail.Trail) {
	for _, r := range t.Reports {
		state := "sealed"
		switch {
		case !r.OK():
			state = "DOES NOT HOLD"
		case r.Sealed:
		case r.HeadAt > 0:
			state = "NOT SEALED; it holds the head"
		case r.Next != "":
			state = "NOT SEALED; its end is vouched for by the next session"
		case r.Writing:
			state = "NOT SEALED: it is still being written"
		default:
			state = "NOT SEALED: its end may have been cut off"
		}
		if r.Sealed && r.HeadAt > 0 {
			state += ", and holds the head"
		}
		printWrapped(out, fmt.Sprintf("%s: %s", filepath.Base(r.Folder), state), "  ")
		if n := r.Count; n > 0 {
			p := &r.Problems[0]
			printWrapped(out, fmt.Sprintf("  %s: %s", placeOf(p), p.What), "    ")
			if n > 1 {
				printWrapped(out, fmt.Sprintf("  and %d more; verify that session alone", n-1), "    ")
			}
		}
	}
	for _, name := range t.Missing {
		printWrapped(out, name+": TAKEN AWAY: a later session names it, it is not here, and no session says that it made room for itself by removing it", "  ")
	}
	for _, name := range t.Untold {
		printWrapped(out, name+": is not here; whether it was removed to make room stood in a session that was removed itself", "  ")
	}
	if t.OK() {
		printWrapped(out, fmt.Sprintf("%s: nothing was changed in what is here", count(len(t.Reports), "session")), "  ")
	}
}
