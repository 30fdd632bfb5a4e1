package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"pinfold/watchdog/review"
)

// maxCompared bounds the sessions that are held side by side.
const maxCompared = 200

// audits audits every session named.
func (c *reviewCmd) audits(s *streams) ([]*review.Report, error) {
	if len(c.Path) > maxCompared {
		return nil, fmt.Errorf("%d sessions are more than %d; name fewer", len(c.Path), maxCompared)
	}
	var all []*review.Report
	heads := map[string]string{}
	for _, folder := range c.Path {
		rep, err := review.Audit(folder, strings.ReplaceAll(Safety, "\n", " "))
		if d := drifted(err); d != nil {
			skipped(s, d)
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w; name folders of sessions, as review DIR lists them", folder, err)
		}
		if first, ok := heads[rep.Head]; ok {
			return nil, fmt.Errorf("%s is the same session as %s; name it once, so that it counts once", folder, first)
		}
		heads[rep.Head] = folder
		all = append(all, rep)
	}
	if len(all) == 0 {
		return nil, errors.New("no session of a guard is named;\nname folders of sessions, as review DIR lists them")
	}
	return all, nil
}

// learn holds sessions against a site file.
func (c *reviewCmd) learn(s *streams) error {
	if c.Out != "" {
		if err := mayWrite(c.Out, "--out", c.Replace); err != nil {
			return err
		}
		if sameFile(c.Out, c.Learn) {
			return fmt.Errorf("%s is the site file itself, which is never touched; give --out another name, look at the proposal, and put it in its place yourself", c.Out)
		}
	}
	all, err := c.audits(s)
	if err != nil {
		return err
	}
	l, err := review.Learn(all, c.Learn, strings.ReplaceAll(Safety, "\n", " "))
	if err != nil {
		return err
	}
	if c.Out != "" {
		if err := writeWhole(c.Out, "--out", c.Replace, func(w io.Writer) error { _, err := w.Write(l.Proposed); return err }); err != nil {
			return err
		}
	}
	if c.JSON {
		err = printJSON(s.out, l)
	} else {
		c.printLesson(s.out, l)
	}
	if err == nil && len(l.Changes) > 0 {
		return found("")
	}
	return err
}

func (c *reviewCmd) printLesson(out io.Writer, l *review.Lesson) {
	fmt.Fprintf(out, "%s\n\n", Safety)
	printWrapped(out, fmt.Sprintf("%s against %s", count(len(l.Sessions), "session"), l.Site), "  ")
	for i := range l.Vehicles {
		v := &l.Vehicles[i]
		fmt.Fprintf(out, "\n%s: permitted for %.1f s\n", v.Name, v.Permitted)
		printMeasured(out, "reaction", &v.Reaction, 1000, "ms", 0)
		printMeasured(out, "braking", &v.Deceleration, 1, "m/s²", 2)
		if d := &v.Drift; d.N > 0 {
			printWrapped(out, fmt.Sprintf("  drift at close, %s: the worst calls for a position error of %.3f m, declared %.3f m", count(d.N, "time"), d.Worst, d.Declared), "    ")
		}
		if v.Acked > 0 {
			fmt.Fprintf(out, "  slowest acknowledgement %.0f ms of %.0f ms\n", 1000*v.Ack, 1000*v.AckWithin)
		}
		for _, f := range v.Findings {
			printWrapped(out, "  finding: "+f, "    ")
		}
	}
	fmt.Fprintln(out)
	for i := range l.Changes {
		x := &l.Changes[i]
		printWrapped(out, fmt.Sprintf("%s, %s: %s instead of %s, as %s", x.Vehicle, x.Key, x.New, x.Old, x.Why), "  ")
	}
	if l.Diff == "" {
		fmt.Fprintln(out, "nothing tighter is proposed")
		return
	}
	fmt.Fprintf(out, "\n%s", printable(l.Diff))
	if c.Out != "" {
		printWrapped(out, "proposed site file: "+c.Out, "  ")
	}
}

// printMeasured tells one measured value in units of scale, with digits.
func printMeasured(out io.Writer, name string, m *review.Measured, scale float64, unit string, digits int) {
	n := func(v float64) string { return fmt.Sprintf("%.*f", digits, scale*v) }
	if m.N == 0 {
		fmt.Fprintf(out, "  %s: not measured, %s %s declared\n", name, n(m.Declared), unit)
		return
	}
	word := "within what is declared"
	if m.Brave {
		word = "BRAVE: worse than declared"
	}
	fmt.Fprintf(out, "  %s in %s: %s ± %s %s\n", name, count(m.N, "stop"), n(m.Mean), n(m.Spread), unit)
	fmt.Fprintf(out, "    worst %s, declared %s: %s\n", n(m.Worst), n(m.Declared), word)
	fmt.Fprintf(out, "    one more like these is worse with a chance of %.0f %%\n", 100*m.Next)
}
