package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

type reviewCmd struct {
	HTML string `name:"html" help:"Write the whole report as one page that opens offline." placeholder:"FILE"`
	JSON bool   `name:"json" help:"Print one JSON document."`
	Path string `arg:"" name:"folder" help:"Folder of one session, or of a trail: its sessions are then listed."`
}

// Run audits one session, or lists those of a trail.
func (c *reviewCmd) Run(s *streams) error {
	if _, err := os.Stat(filepath.Join(c.Path, "events.jsonl")); err != nil {
		if c.HTML != "" {
			return fmt.Errorf("%w; --html takes the folder of one session, as review DIR lists them", err)
		}
		return c.list(s)
	}
	rep, err := review.Audit(c.Path, strings.ReplaceAll(Safety, "\n", " "))
	if err != nil {
		return err
	}
	if c.HTML != "" {
		if err := writePage(c.HTML, rep); err != nil {
			return err
		}
	}
	if c.JSON {
		err = rep.WriteJSON(s.out)
	} else {
		c.print(s.out, rep)
	}
	if err == nil && (!rep.Integrity.OK || !rep.Integrity.Same || rep.Outside()) {
		return found("")
	}
	return err
}

// writePage puts the page beside its name first, so that a full disk leaves no
// half of one.
func writePage(path string, rep *review.Report) error {
	f, err := os.CreateTemp(filepath.Dir(path), ".review-*")
	if err != nil {
		return fmt.Errorf("%w; give --html a file in a folder that can be written", err)
	}
	err = errors.Join(rep.WritePage(f), f.Chmod(0o644), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}

func (c *reviewCmd) list(s *streams) error {
	all, err := trail.List(c.Path)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return fmt.Errorf("no session in %s; give the folder of a trail or of one session", c.Path)
	}
	if c.JSON {
		return printJSON(s.out, all)
	}
	for _, x := range all {
		state := "sealed"
		if !x.Sealed {
			state = "NOT SEALED"
		}
		fmt.Fprintf(s.out, "%s  %s, %s, %d stops, %.1f MB\n  %s\n", x.Started.UTC().Format("2006-01-02 15:04:05"),
			x.Duration.Round(1e8), state, x.Stops, float64(x.Bytes)/1e6, x.Folder)
		if x.Err != "" {
			fmt.Fprintln(s.out, "  cannot be read whole:", x.Err)
		}
	}
	return nil
}

func (c *reviewCmd) print(out io.Writer, rep *review.Report) {
	fmt.Fprintf(out, "session %s, %s\n%s\n\n", rep.ID, rep.Started.UTC().Format("2006-01-02 15:04:05 MST"), Safety)
	printWrapped(out, strings.Join(rep.Story, " "), "")
	fmt.Fprintln(out, "\nEpisodes while a vehicle was moving by permission:")
	printRows(out, rep.Rows)
	for i := range rep.Vehicles {
		v := &rep.Vehicles[i]
		fmt.Fprintf(out, "\n%s: %d poses at %.1f Hz, longest silence %.0f ms\n", v.Name, v.Pose.Samples, v.Pose.Rate, 1000*v.Pose.Silence)
		if len(v.Near) > 0 {
			fmt.Fprintf(out, "closest near miss: %.2f m left before a stop for %s\n", v.Near[0].Clearance, v.Near[0].Zone)
		}
		printChains(out, v.Stops)
	}
	for _, x := range rep.Cautions {
		printWrapped(out, "caution: "+x, "  ")
	}
	for _, x := range rep.Integrity.Problems {
		printWrapped(out, "the trail does not hold: "+x, "  ")
	}
	if !rep.Integrity.Same {
		printWrapped(out, "judged again: "+rep.Integrity.First, "  ")
	}
	if c.HTML != "" {
		fmt.Fprintf(out, "page: %s\n", c.HTML)
	}
}

// printChains tells how stops went against what was declared.
func printChains(out io.Writer, stops []review.Chain) {
	t := newTable("stop at", "reaction", "braking", "distance", "declared")
	for i := range stops {
		n := &stops[i]
		if !n.AtRest {
			continue
		}
		reaction, braking := "-", "-"
		if n.Reaction >= 0 {
			reaction = fmt.Sprintf("%.0f ms", 1000*n.Reaction)
		}
		if n.Deceleration > 0 {
			braking = fmt.Sprintf("%.2f m/s²", n.Deceleration)
		}
		t.row(fmt.Sprintf("%.2f s", n.At), reaction, braking, fmt.Sprintf("%.2f m", n.Distance), fmt.Sprintf("%.2f m", n.Allowed))
	}
	t.print(out)
}
