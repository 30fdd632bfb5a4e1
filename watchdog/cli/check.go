package cli

import (
	"errors"
	"fmt"
	"io"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/app"
)

type checkCmd struct {
	Site string `required:"" help:"Site file." placeholder:"FILE"`
	JSON bool   `name:"json" help:"Print one JSON document."`
}

// checked is what check --json prints.
type checked struct {
	Site     string           `json:"site"`
	OK       bool             `json:"ok"`
	Problems []config.Problem `json:"problems"`
	Cautions []config.Problem `json:"cautions"`
	Rooms    []config.Room    `json:"rooms"`
}

// Run judges a site file by the very loader that run uses.
func (c *checkCmd) Run(s *streams) error {
	if err := readable(c.Site); err != nil {
		return fmt.Errorf("%w; give the path of a site file", err)
	}
	site, err := config.Load(c.Site)
	var problems config.Problems
	if err != nil && !errors.As(err, &problems) {
		return err
	}
	problems = append(problems, wrongKeys(site)...)
	if c.JSON {
		return c.json(s.out, site, problems)
	}
	if len(problems) > 0 {
		for _, p := range problems {
			fmt.Fprintln(s.out, p)
		}
		return found("%s: the site cannot be run", count(len(problems), "mistake"))
	}
	fmt.Fprintf(s.out, "%s: %q, %s, no mistakes\n", c.Site, site.Name, count(len(site.Vehicles), "vehicle"))
	fmt.Fprintf(s.out, "local rules: %s\n", site.LocalRules)
	for _, r := range site.Rooms() {
		v, _ := site.Vehicle(r.Vehicle)
		printRoom(s.out, v, &r)
	}
	for _, p := range site.Cautions {
		fmt.Fprintln(s.out, "caution:", p)
	}
	fmt.Fprintln(s.out, Safety)
	return nil
}

// wrongKeys reads the vehicles' keys, as run does.
func wrongKeys(site *config.Site) (out config.Problems) {
	for i := 0; site != nil && i < len(site.Vehicles); i++ {
		if err := app.CheckKeys(&site.Vehicles[i]); err != nil {
			out = append(out, config.Problem{File: site.Path, Key: "vehicle.signing", Value: site.Vehicles[i].Name,
				What: err.Error(), Next: "make a key with pinfold key --new, and give it to all that need it"})
		}
	}
	return out
}

func (c *checkCmd) json(out io.Writer, site *config.Site, problems config.Problems) error {
	doc := checked{Site: c.Site, OK: len(problems) == 0, Problems: problems,
		Cautions: []config.Problem{}, Rooms: []config.Room{}}
	if site != nil {
		doc.Cautions, doc.Rooms = append(doc.Cautions, site.Cautions...), site.Rooms()
	}
	if doc.Problems == nil {
		doc.Problems = []config.Problem{}
	}
	if err := printJSON(out, doc); err != nil {
		return err
	}
	if !doc.OK {
		return found("")
	}
	return nil
}

// count is n of what, in words.
func count(n int, what string) string {
	if n != 1 {
		what += "s"
	}
	return fmt.Sprintf("%d %s", n, what)
}

// printRoom says what the declared stopping leaves of a vehicle's pen, and the
// assumptions it stands on, filled in.
func printRoom(out io.Writer, v *config.Vehicle, r *config.Room) {
	s := &v.Config.Stopping
	fmt.Fprintf(out, "\n%s (%s)\n", r.Vehicle, v.Config.Kind)
	fmt.Fprintf(out, "  at rest: %s\n", space(&r.AtRest))
	if !r.Predict {
		fmt.Fprintln(out, "  bare rules: nothing is predicted, a stop is called when it is too late")
		return
	}
	fmt.Fprintf(out, "  at %.2f m/s: stops in %.2f m; %s\n", r.Speed, r.Stopping, space(&r.Moving))
	fmt.Fprintf(out, "  if the guard dies at that speed: rest after %.2f m\n", r.Unguarded)
	printRules(out, &v.Config)
	if r.Fastest < r.Speed {
		fmt.Fprintf(out, "  fastest with any room left: %.2f m/s\n", r.Fastest)
	}
	fmt.Fprintln(out, "  assumed:")
	fmt.Fprintf(out, "   1. pose wrong by at most %.3f m, velocity by %.3f m/s\n", s.PlaceErr(), s.VelocityErr)
	fmt.Fprintf(out, "   2. nothing brakes for %.3f s (pose age, lag, %v reaction), gaining at most %.2f m/s²\n", r.Reaction, s.Reaction, s.Acceleration)
	printLink(out, &v.Config)
	fmt.Fprintf(out, "   3. then at least %.2f m/s² on the level, grade %.3f", s.Deceleration, s.Slope)
	if v.Config.Kind == watchdog.Multirotor {
		fmt.Fprintf(out, ", vertically %.2f m/s²", s.Vertical)
	}
	fmt.Fprintf(out, "\n   4. margin kept on every side %.2f m\n", s.Margin)
}

// printLink says how the link counts.
func printLink(out io.Writer, c *watchdog.Config) {
	s, t := &c.Stopping, &c.Timing
	if s.CoverLoss {
		fmt.Fprintf(out, "      of it for a lost or slow link: all of a permit's %v\n", t.PermitValid)
	} else {
		fmt.Fprintf(out, "      of the reaction %v for the link; a longer round trip, measured while running,\n      adds what is more, until the permit ends by itself after %v\n", s.Trip, t.PermitValid)
	}
	if t.TripMost > 0 {
		fmt.Fprintf(out, "      nothing is permitted within a minute of a round trip over %v\n", t.TripMost)
	}
}

// printRules says what slows the vehicle and what it is kept apart from.
func printRules(out io.Writer, c *watchdog.Config) {
	for i := range c.Slow {
		fmt.Fprintf(out, "  in %s: at most %.2f m/s, on the way in too\n", c.Slow[i].Shape.Name, c.Slow[i].Limit.Max)
	}
	for _, o := range c.Others {
		fmt.Fprintf(out, "  kept %.2f m from %s, until both are at rest", o.Distance, o.Name)
		if o.Lead > 0 {
			fmt.Fprintf(out, "; yields to it, and stops %.2f m earlier", o.Lead)
		}
		fmt.Fprintln(out)
	}
}

func space(s *config.Space) string {
	if s.Empty() {
		return "no room at all"
	}
	text := fmt.Sprintf("%.2f m² of floor, height %.2f to %.2f m", s.Area, s.Floor, s.Top)
	if s.Pieces > 1 {
		text += fmt.Sprintf(", in %d pieces", s.Pieces)
	}
	return text + fmt.Sprintf(", widest circle %.2f m", 2*s.Radius)
}
