package cli

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"pinfold/config"
	"pinfold/watchdog/review"
)

type replayCmd struct {
	Site    string `help:"Site file to judge by. For a session's folder: another one, to tell which stops would have gone, come, or come at another time." placeholder:"FILE"`
	Vehicle string `help:"Vehicle of the site that the recording is of; of a session, the only one to compare." placeholder:"NAME"`
	Poses   bool   `help:"Of a session's folder, judge only the poses, as a recording, by --site."`
	JSON    bool   `name:"json" help:"Print one JSON document."`
	Path    string `arg:"" name:"file" help:"Recording (CSV or TUM text), or a session's folder."`
}

// Run judges a recording by the core, offline; or a session again, by its own
// site file or, where another is named, by that one beside it.
func (c *replayCmd) Run(s *streams) error {
	info, err := os.Stat(c.Path)
	switch {
	case err != nil:
		return fmt.Errorf("%w; name a recording (CSV with a header, or TUM text) or a session's folder", err)
	case info.IsDir() && !c.Poses && c.Site == "":
		return c.session(s)
	case info.IsDir() && !c.Poses:
		return c.whatIf(s)
	}
	v, err := siteVehicle(c.Site, c.Vehicle)
	if err != nil {
		return err
	}
	src, err := openRecorded(c.Path, v.Name, v.Config.Fields)
	if err != nil {
		return err
	}
	defer src.Close()
	res, err := review.Recording(v.Config, src)
	if err != nil {
		return err
	}
	if res.Samples+res.Dropped+res.Refused == 0 {
		return errNoSample(c.Path)
	}
	return c.print(s.out, res)
}

// session steps the core through a session's own intake again.
func (c *replayCmd) session(s *streams) error {
	res, err := review.Reproduce(c.Path)
	if d := drifted(err); d != nil {
		return tellDrift(s, d, c.JSON)
	}
	if err != nil {
		return err
	}
	if c.JSON {
		if err := printJSON(s.out, res); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(s.out, "session %s: %d steps, %d records compared\n", printable(res.Session), res.Steps, res.Records)
		printUnsealed(s.out, res)
		if res.Same {
			fmt.Fprintln(s.out, "the core came to the same decisions, bit for bit")
		}
	}
	if !res.Same {
		return found("the core did not come to the same decisions: %s%s", res.First, otherVersion(res.Version))
	}
	return holds(res.Problem)
}

// holds says what is wrong with the trail of a session that was judged again; a
// whole one may have been written anew.
func holds(problem string) error {
	if problem == "" {
		return nil
	}
	return found("but the trail does not hold: %s; run verify on it", problem)
}

// otherVersion says so where another version of the program ran the session: only
// that one promises the same last bits.
func otherVersion(ran string) string {
	if ran == Version {
		return ""
	}
	return fmt.Sprintf("; pinfold %s ran the session and this is %s, which may differ in last bits: replay it with the one that ran it", ran, Version)
}

// printUnsealed says what of a session that was not closed cannot be compared.
func printUnsealed(out io.Writer, r *review.Reproduction) {
	if r.Sealed {
		return
	}
	fmt.Fprintln(out, "not sealed: it is still being written, or its guard was killed")
	fmt.Fprintf(out, "the intake ends at %.3f s; %s after that cannot be judged again\n", r.IntakeEnds, count(int(r.Beyond), "record"))
	if r.Unwritten > 0 {
		fmt.Fprintf(out, "the trail ends before %s that the intake calls for\n", count(int(r.Unwritten), "record"))
	}
}

func (c *replayCmd) print(out io.Writer, res *review.Result) error {
	if c.JSON {
		if err := printJSON(out, res); err != nil {
			return err
		}
	} else {
		fmt.Fprintf(out, "%s: %d samples over %.3f s, %d dropped, %d refused\n",
			res.Vehicle, res.Samples, res.Duration, res.Dropped, res.Refused)
		t := newTable("from s", "to s", "cause", "name", "worst", "limit")
		for _, e := range res.Episodes {
			t.row(fmt.Sprintf("%.3f", e.From), fmt.Sprintf("%.3f", e.To), e.Cause, e.Name,
				fmt.Sprintf("%.3f %s", e.Worst, e.Unit), fmt.Sprintf("%.3g", e.Limit))
		}
		t.print(out)
	}
	if len(res.Episodes) > 0 {
		return found("")
	}
	return nil
}

// siteVehicle loads a site and finds one vehicle of it; an empty name is the
// only one there is.
func siteVehicle(path, name string) (*config.Vehicle, error) {
	if path == "" {
		return nil, errors.New("which site? Give --site FILE")
	}
	site, err := config.Load(path)
	if err != nil {
		return nil, err
	}
	return pickVehicle(site, name)
}

func pickVehicle(site *config.Site, name string) (*config.Vehicle, error) {
	if name == "" && len(site.Vehicles) == 1 {
		return &site.Vehicles[0], nil
	}
	if v, ok := site.Vehicle(name); ok {
		return v, nil
	}
	return nil, fmt.Errorf("the site has no vehicle %q; give --vehicle as one of: %s", name, vehicleNames(site))
}

func vehicleNames(site *config.Site) string {
	s := ""
	for i := range site.Vehicles {
		if i > 0 {
			s += ", "
		}
		s += site.Vehicles[i].Name
	}
	return s
}

func printJSON(out io.Writer, v any) error {
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
