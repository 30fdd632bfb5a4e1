package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"pinfold/config"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/survey"
	"pinfold/zones"
)

type traceCmd struct {
	Name string `arg:"" help:"Name of the new zone."`

	Site    string   `required:"" help:"Site file: its broker, its vehicle's tracker and alignment." placeholder:"FILE"`
	Vehicle string   `help:"Vehicle of the site." placeholder:"NAME"`
	Kind    string   `help:"What the zone is: keep-in or keep-out." placeholder:"KIND"`
	Floor   number   `help:"Lower end of the zone, m; 0 where not given." placeholder:"M"`
	Ceiling number   `help:"Upper end of the zone, m." placeholder:"M"`
	For     []string `help:"Vehicles it is for; all where not given." placeholder:"NAME"`

	From  string  `help:"Recording to take the walk from, instead of the broker: CSV, TUM text or a session's folder." placeholder:"FILE"`
	Begin float64 `help:"With --from: where in it the walk begins, s." placeholder:"S"`
	End   float64 `help:"With --from: where it ends, s; 0 is the recording's end." placeholder:"S"`

	Tip       triple        `help:"The point that follows the edge, m from the body's centre: forward, left, up." placeholder:"X,Y,Z"`
	Jitter    float64       `default:"0.05" help:"How far a hand wanders that means to keep still, m."`
	Close     float64       `default:"0.3" help:"How near to its begin the walk has to end, m."`
	Tolerance float64       `default:"0.05" help:"By how much the outline may be simplified, on the safe side, m."`
	Hold      time.Duration `default:"1s" help:"Live: how long to hold still, to begin and to end."`
	Wait      time.Duration `default:"15m" help:"Live: how long to wait for all of it."`

	Out       string `help:"GeoJSON file that gets the zone; the site's own, or NAME.geojson, where not given." placeholder:"FILE"`
	SVG       string `name:"svg" help:"Picture of it; NAME.svg beside the GeoJSON where not given." placeholder:"FILE"`
	Replace   bool   `help:"Put it in the place of a zone of that name, whose kind, heights and vehicles it keeps where not given."`
	Redraw    bool   `help:"Let the picture replace a file that trace did not draw."`
	SiteFrame bool   `help:"The tracker reports in the site's frame by itself; no alignment is needed."`
	JSON      bool   `name:"json" help:"Print one JSON document."`
}

// Run makes a zone of a walk along its edge.
func (c *traceCmd) Run(s *streams) error {
	site, files, err := config.LoadSurvey(c.Site)
	if err != nil {
		return err
	}
	v, err := pickVehicle(site, c.Vehicle)
	if err != nil {
		return err
	}
	t := &tracer{cmd: c, s: s, v: v, cfg: v.Config.Pose}
	if err := t.prepare(site, files); err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	ctx, cancel := context.WithTimeout(ctx, c.Wait)
	defer cancel()
	if t.src, err = openSource(ctx, site, v, c.From, "pinfold-trace"); err != nil {
		return err
	}
	defer t.src.close()
	if c.From != "" {
		err = t.recorded(ctx)
	} else {
		err = t.live(ctx)
	}
	if err == nil {
		err = t.finish()
	}
	return t.refused(err)
}

// tracer is one trace under way.
type tracer struct {
	cmd    *traceCmd
	s      *streams
	v      *config.Vehicle
	cfg    pose.Config
	src    source
	target target
	others []zones.Shape // of the site, for the picture
	walk   *survey.Walk
	spoke  time.Time
}

// prepare finds what can be wrong before anybody walks.
func (t *tracer) prepare(site *config.Site, files []string) error {
	c := t.cmd
	switch {
	case c.Hold < 300*time.Millisecond || c.Hold > 10*time.Second:
		return fmt.Errorf("--hold %v: must be 0.3 s to 10 s", c.Hold)
	case c.From == "" && (c.Begin != 0 || c.End != 0):
		return errors.New("--begin and --end go with --from FILE")
	case !(c.Begin >= 0 && c.End >= 0) || c.End > 0 && c.End <= c.Begin:
		return fmt.Errorf("--begin %g --end %g: the end must come after the begin", c.Begin, c.End)
	}
	for _, name := range c.For {
		if _, ok := site.Vehicle(name); !ok {
			return fmt.Errorf("--for: the site has no vehicle %q; give one of: %s", name, vehicleNames(site))
		}
	}
	if err := t.aligned(); err != nil {
		return err
	}
	for i := range site.Vehicles {
		t.others = append(t.others, site.Vehicles[i].Shapes...)
	}
	if err := t.target.choose(c, files, t.others); err != nil {
		return err
	}
	return t.begin()
}

// aligned refuses a tracker whose frame begins wherever it was switched on.
func (t *tracer) aligned() error {
	a := t.cfg.Align
	name := t.v.Name
	switch {
	case t.cmd.SiteFrame:
		t.cfg.Align = pose.Alignment{}
		return nil
	case a == (pose.Alignment{}):
		return fmt.Errorf("%s is not aligned: a tracker's frame begins wherever it was switched on. "+
			"Run pinfold align, and name its file under [vehicle.pose.align]; or say --site-frame where the tracker knows the room by itself", name)
	case a.Since == neverSince:
		return fmt.Errorf("%s is not aligned: its alignment file cannot be read (pinfold check says why). Run pinfold align first", name)
	}
	return nil
}

// begin makes an empty walk.
func (t *tracer) begin() (err error) {
	p := &t.cmd.Tip
	o := survey.WalkOptions{Jitter: t.cmd.Jitter, Tip: pose.Vec{X: p.X, Y: p.Y, Z: p.Z}}
	t.walk, err = survey.NewWalk(t.cfg, o)
	return err
}

func (t *tracer) say(form string, x ...any) { fmt.Fprintf(t.s.err, form+"\n", x...) }

// traceReport is what trace prints.
type traceReport struct {
	Zone     string  `json:"zone"`
	Kind     string  `json:"kind"`
	Floor    float64 `json:"floor_m"`
	Ceiling  float64 `json:"ceiling_m"`
	Area     float64 `json:"area_m2"`
	Corners  int     `json:"corners"`
	Knots    int     `json:"corners_walked"`
	Length   float64 `json:"length_m"`
	Gap      float64 `json:"gap_m"`
	Before   float64 `json:"left_out_before_m"` // walked before the loop, and not part of it
	After    float64 `json:"left_out_after_m"`
	Low      float64 `json:"walk_low_m"`
	High     float64 `json:"walk_high_m"`
	Unsafe   float64 `json:"unsafe_m"` // see survey.Trace
	Safe     float64 `json:"safe_m"`
	Residual float64 `json:"alignment_residual_m"`
	File     string  `json:"file"`
	Old      string  `json:"old,omitempty"` // where what the file was before is kept
	Picture  string  `json:"picture"`
}

// finish makes the zone, writes it and says so.
func (t *tracer) finish() error {
	c := t.cmd
	tr, err := t.walk.Trace(t.target.shape, survey.TraceOptions{Close: c.Close, Tolerance: c.Tolerance})
	if err != nil {
		return err
	}
	old, err := t.target.write(tr.Shape, c.Replace)
	if err != nil {
		return err
	}
	p := picture{title: c.Name, path: tr.Path, others: t.others, trace: tr}
	if err := t.target.draw(p.svg()); err != nil {
		return fmt.Errorf("the zone is in %s, but its picture cannot be written: %w", t.target.file, err)
	}
	s := &tr.Shape
	r := traceReport{s.Name, s.Kind.String(), s.Floor, s.Ceiling, tr.Area, len(s.Rings[0]), tr.Knots, tr.Length, tr.Gap, tr.Left[0], tr.Left[1],
		tr.Height[0], tr.Height[1], tr.Unsafe, tr.Safe, t.cfg.Align.Residual, t.target.file, old, t.target.svg}
	if c.JSON {
		return printJSON(t.s.out, r)
	}
	t.print(&r)
	return nil
}

func (t *tracer) print(r *traceReport) {
	w := t.s.out
	fmt.Fprintf(w, "%s %q: %.2f m², %.2f to %.2f m high, %d corners\n", r.Kind, r.Zone, r.Area, r.Floor, r.Ceiling, r.Corners)
	fmt.Fprintf(w, "walked %.1f m at %.2f to %.2f m; ends met within %.3f m\n", r.Length, r.Low, r.High, r.Gap)
	if r.Before+r.After > 4*t.cmd.Jitter {
		fmt.Fprintf(w, "left out: %.1f m at the begin and %.1f m at the end; look\nthat these were on the way there or along the edge again\n", r.Before, r.After)
	}
	fmt.Fprintf(w, "the outline gives away at most %.3f m of the walk, and\nallows at most %.3f m beyond it", r.Safe, r.Unsafe)
	if !t.cmd.SiteFrame {
		fmt.Fprintf(w, "; the alignment may be off\nby %.3f m on top", r.Residual)
	}
	fmt.Fprintln(w)
	fmt.Fprintf(w, "written to %s\n", r.File)
	if r.Old != "" {
		fmt.Fprintf(w, "as it was before: %s\n", r.Old)
	}
	fmt.Fprintf(w, "look at it: %s\n", r.Picture)
	switch {
	case t.target.names == 0:
		fmt.Fprintf(w, "the site file does not name it yet; put on its first line:\n  zones = %q\n(what is traced after that goes into it too)\n", relative(t.cmd.Site, r.File))
	case !t.target.named:
		fmt.Fprintf(w, "the site file does not name it yet; add to its zones:\n  %q\n", relative(t.cmd.Site, r.File))
	}
	fmt.Fprintf(w, "then: pinfold check --site %s\n", t.cmd.Site)
}

// relative is path as a file beside site names it.
func relative(site, path string) string {
	if rel, err := filepath.Rel(filepath.Dir(site), path); err == nil {
		return rel
	}
	return path
}
