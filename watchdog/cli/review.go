package cli

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"pinfold/watchdog"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

type reviewCmd struct {
	HTML    string   `name:"html" help:"Write the whole report of one session as one page that opens offline." placeholder:"FILE"`
	Export  string   `help:"Write one session for other tools: csv or parquet (judged poses), geojson (tracks and episodes), tum (poses)." enum:",csv,geojson,tum,parquet" default:"" placeholder:"FORMAT"`
	Learn   string   `help:"Hold one or more sessions against this site file, and propose what is tighter as a diff." placeholder:"SITE"`
	Out     string   `help:"File to write: what --export asks for, or the site file that --learn proposes." placeholder:"FILE"`
	Replace bool     `help:"Let --out replace a file that is there."`
	Vehicle string   `help:"The only vehicle to export; needed for all but geojson where the session has several." placeholder:"NAME"`
	JSON    bool     `name:"json" help:"Print one JSON document."`
	Path    []string `arg:"" name:"folder" help:"Folder of one session, or of a trail: its sessions are then listed. Folders of several sessions are compared."`
}

// Run audits one session, exports it, learns from some, compares several, or
// lists those of a trail.
func (c *reviewCmd) Run(s *streams) error {
	if err := c.fits(); err != nil {
		return err
	}
	folder := c.Path[0]
	if c.Learn != "" {
		return c.learn(s)
	}
	if len(c.Path) > 1 {
		return c.compare(s)
	}
	if _, err := os.Stat(filepath.Join(folder, "events.jsonl")); err != nil {
		if c.HTML != "" || c.Export != "" {
			return fmt.Errorf("%w; --html and --export take the folder of one session, as review DIR lists them", err)
		}
		return c.list(s, folder)
	}
	if c.Export != "" {
		return c.export(s, folder)
	}
	return c.audit(s, folder)
}

// fits says what on the command line does not go together.
func (c *reviewCmd) fits() error {
	switch {
	case c.HTML != "" && c.Export != "", c.Learn != "" && c.HTML+c.Export != "":
		return errors.New("--html, --export and --learn are different things; ask for one at a time")
	case c.Export == "" && c.Vehicle != "":
		return errors.New("--vehicle goes with --export csv, geojson, tum or parquet")
	case c.Export+c.Learn == "" && (c.Out != "" || c.Replace):
		return errors.New("--out and --replace go with --export csv, geojson, tum or parquet, or --learn SITE")
	case len(c.Path) > 1 && c.HTML+c.Export != "":
		return errors.New("--html and --export take one session; name one folder")
	}
	return nil
}

func (c *reviewCmd) audit(s *streams, folder string) error {
	rep, err := review.Audit(folder, safetyLine())
	if d := drifted(err); d != nil && c.HTML == "" {
		return tellDrift(s, d, c.JSON)
	}
	if err != nil {
		return err
	}
	if c.HTML != "" {
		if err := writePage(c.HTML, rep.WritePage); err != nil {
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

func (c *reviewCmd) list(s *streams, dir string) error {
	all, err := trail.List(dir)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return fmt.Errorf("no session in %s; give the folder of a trail or of one session", dir)
	}
	sessions := listedOf(all)
	if c.JSON {
		return printJSON(s.out, sessions)
	}
	for i := range sessions {
		sessions[i].print(s.out)
	}
	return nil
}

func (c *reviewCmd) print(out io.Writer, rep *review.Report) {
	fmt.Fprintf(out, "session %s, %s\n%s\n\n", printable(rep.ID), rep.Started.UTC().Format("2006-01-02 15:04:05 MST"), Safety)
	printWrapped(out, strings.Join(rep.Story, " "), "")
	fmt.Fprintln(out, "\nEpisodes while a vehicle was moving by permission:")
	printRows(out, rep.Rows)
	printWaiting(out, rep.Rows)
	for i := range rep.Walks {
		fmt.Fprintln(out)
		printWalk(out, &rep.Walks[i])
	}
	for i := range rep.Vehicles {
		v := &rep.Vehicles[i]
		fmt.Fprintf(out, "\n%s: %d poses at %.1f Hz, longest silence %.0f ms\n", v.Name, v.Pose.Samples, v.Pose.Rate, 1000*v.Pose.Silence)
		if len(v.Near) > 0 {
			fmt.Fprintf(out, "closest near miss: %.2f m left before a stop for %s\n", v.Near[0].Clearance, v.Near[0].Zone)
		}
		printChains(out, v.Stops)
		printTies(out, v)
	}
	for i := range rep.Drifts {
		fmt.Fprintln(out)
		printDrift(out, &rep.Drifts[i])
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

// printWaiting counts the episodes that raised nothing, by cause: a session that
// was carried by hand or played from a recording has no others.
func printWaiting(out io.Writer, rows []review.Row) {
	by := map[string]int{}
	for i := range rows {
		if r := &rows[i]; r.Level == watchdog.Waiting.String() && r.Answer == nil {
			by[r.Cause]++
		}
	}
	if len(by) == 0 {
		return
	}
	var parts []string
	for _, cause := range slices.Sorted(maps.Keys(by)) {
		parts = append(parts, fmt.Sprintf("%d %s", by[cause], cause))
	}
	printWrapped(out, "While waiting, without a permit: "+strings.Join(parts, ", ")+"; --json and --html list them.", "  ")
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
