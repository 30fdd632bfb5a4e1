package cli

import (
	"fmt"
	"io"

	"pinfold/watchdog/review"
)

// whatIf judges a session by another site file, beside its own.
func (c *replayCmd) whatIf(s *streams) error {
	site, err := review.SiteFor(c.Path, c.Site)
	if err != nil {
		return err
	}
	w, err := review.Judge(c.Path, site, c.Vehicle)
	if err != nil {
		return err
	}
	if c.JSON {
		if err := printJSON(s.out, w); err != nil {
			return err
		}
	} else {
		printWhatIf(s.out, w)
	}
	if err := holds(w.Problem); err != nil {
		return err
	}
	if w.Differs || !w.Same {
		return found("")
	}
	return nil
}

func printWhatIf(out io.Writer, w *review.WhatIf) {
	fmt.Fprintf(out, "%s\n\n", Safety)
	printWrapped(out, fmt.Sprintf("Session %s as it was judged, and as %s judges it.", w.Session, w.Site), "")
	if !w.Same {
		printWrapped(out, "Careful: judged by its own site file, the session does not come to the decisions in its trail ("+w.First+"). What is compared is not what happened.", "")
	}
	parted := false
	for i := range w.Vehicles {
		v := &w.Vehicles[i]
		parted = parted || v.Parted >= 0
		fmt.Fprintf(out, "\n%s: %s, permitted for %.1f s; would be %.1f s\n", v.Name,
			count(len(v.Stops), "stop"), v.Permitted, v.Other)
		for _, n := range v.Refused {
			printWrapped(out, fmt.Sprintf("  %.3f s: %s", n.At, n.Text), "    ")
		}
		for j := range v.Stops {
			printFate(out, &v.Stops[j])
		}
	}
	fmt.Fprintln(out)
	if !parted {
		fmt.Fprintln(out, "no stop differs")
		return
	}
	printWrapped(out, "*: after the two parted. From there on the vehicle did what the first site file made it do; with the other it would have done something else. Read only what comes before as an answer.", "")
}

// printFate says what became of one stop: a line for it, and one for each side.
func printFate(out io.Writer, s *review.WhatIfStop) {
	word := map[review.Fate]string{review.FateSame: "the same", review.FateCause: "for another cause", review.FateGone: "GONE",
		review.FateNew: "NEW", review.FateStanding: "already stopped by then",
		review.FateEarlier: fmt.Sprintf("%.3f s EARLIER", s.Gain), review.FateLater: fmt.Sprintf("%.3f s LATER", -s.Gain)}[s.Fate]
	if s.After {
		word += " *"
	}
	fmt.Fprintln(out, " ", word)
	side := func(what string, c *review.Called) {
		if c != nil {
			printWrapped(out, fmt.Sprintf("    %s %.3f s %s, %s, at %.2f m/s", what, c.At, c.Action, causeName(c), c.Speed), "      ")
		}
	}
	if s.Fate == review.FateSame {
		side("at", s.Was)
		return
	}
	side("was     ", s.Was)
	side("would be", s.Other)
}

func causeName(c *review.Called) string {
	if c.Name == "" {
		return c.Cause
	}
	return c.Cause + " " + c.Name
}
