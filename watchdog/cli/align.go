package cli

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"pinfold/config"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/survey"
)

type alignCmd struct {
	Pad   bool   `xor:"how" required:"" help:"The vehicle stands on its pad."`
	Marks string `xor:"how" required:"" help:"Surveyed marks, three or more, not on one line: a file of lines name, x, y, z." placeholder:"FILE"`
	Close bool   `xor:"how" required:"" help:"Back on the pad: measure how far the tracker crept since, and put it in the trail."`

	Site         string        `required:"" help:"Site file: its broker, its vehicle's tracker." placeholder:"FILE"`
	Vehicle      string        `help:"Vehicle of the site." placeholder:"NAME"`
	From         string        `help:"Recording to take the poses from, instead of the broker: CSV, TUM text or a session's folder." placeholder:"FILE"`
	At           triple        `help:"Where the body's centre is on the pad, m, site frame." placeholder:"X,Y,Z"`
	Heading      number        `help:"Which way the body looks on the pad, degrees from x towards y." placeholder:"DEG"`
	PlaceError   float64       `default:"0.01" help:"How far off the pad's place the vehicle stands, m, 95 times of 100."`
	HeadingError float64       `default:"1" help:"How far off its heading, degrees, 95 times of 100."`
	LevelError   float64       `default:"0.3" help:"How far off gravity the tracker's vertical is, degrees, 95 times of 100; --full finds it."`
	Reach        float64       `help:"How far from the pad or the marks' middle it has to hold, m; as far as the keep-in zones go where not given." placeholder:"M"`
	Full         bool          `help:"With --marks: fit any rotation, where the tracker does not know gravity."`
	Tolerance    float64       `default:"0.05" help:"With --marks: the most a mark may be off, m."`
	Hold         time.Duration `default:"2s" help:"How long the vehicle has to stand still."`
	File         string        `help:"Alignment file to write, or with --close to read; where not given the one that the site file names, else VEHICLE.align.json beside it." placeholder:"FILE"`
	Send         bool          `default:"true" negatable:"" help:"Hand the alignment to the guard, where one is at work; it takes it while the vehicle is not started."`
	Trail        string        `help:"With --close: the trail that gets the drift, instead of the site file's." placeholder:"DIR"`
	Wait         time.Duration `default:"5m" help:"How long to wait for all of it."`
	JSON         bool          `name:"json" help:"Print one JSON document."`
}

// Run ties the tracker's frame to the room, or measures how the tie held.
func (c *alignCmd) Run(s *streams) error {
	site, _, err := config.LoadSurvey(c.Site)
	if err != nil {
		return err
	}
	v, err := pickVehicle(site, c.Vehicle)
	if err != nil {
		return err
	}
	if c.File == "" {
		c.File = alignFile(site, v)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	ctx, cancel := context.WithTimeout(ctx, c.Wait)
	defer cancel()
	a := &aligner{cmd: c, s: s, v: v, site: site}
	if err := a.prepare(); err != nil {
		return err
	}
	if a.src, err = openSource(ctx, site, v, c.From, "pinfold-align"); err != nil {
		return err
	}
	defer a.src.close()
	switch {
	case c.Pad:
		return a.handOver(ctx, site, a.pad(ctx))
	case c.Close:
		return a.drift(ctx)
	}
	return a.handOver(ctx, site, a.marks(ctx))
}

// aligner is one align under way.
type aligner struct {
	cmd    *alignCmd
	s      *streams
	site   *config.Site
	v      *config.Vehicle
	src    source
	spot   *pose.PadSpot
	file   pose.AlignmentFile
	text   []byte // of file, where it was read
	points []survey.Point
	first  int64 // ns, stamp of the first sample seen of the session
	last   int64 // ns, stamp of the newest
	seen   int
	said   time.Time
	why    error // the newest thing that was in the way
}

// dwell is the next time the vehicle stands still; of a recording that ends,
// with last, the last time it did.
func (a *aligner) dwell(ctx context.Context, c pose.Config, last bool) (st pose.Still, err error) {
	d, got := survey.NewDwell(c, pose.StillOptions{Least: a.cmd.Hold}), false
	for {
		s, err := a.src.next(ctx)
		if got && errors.Is(err, errRecordingEnds) {
			return st, nil
		}
		if err != nil {
			return st, a.after(err)
		}
		a.note(&s)
		now, found, why := d.Add(&s)
		if found {
			st, got = now, true
			if !last || a.cmd.From == "" {
				return st, nil
			}
		}
		a.moan(why)
	}
}

// note keeps since when the tracker is known to be in one session. Live, one that
// tells no id may have restarted in any silence: only what came since counts.
func (a *aligner) note(s *pose.Sample) {
	step := time.Duration(s.Stamp - a.last)
	lost := a.cmd.From == "" && s.Tracker == "" && (step > a.v.Config.Pose.MaxAge || step < 0)
	if a.seen == 0 || lost || s.Tracker != a.file.Alignment.Tracker && !a.cmd.Close {
		a.first = s.Stamp
		if !a.cmd.Close {
			a.file.Alignment.Tracker = s.Tracker
		}
	}
	a.last = s.Stamp
	a.seen++
}

// after is the end of the poses, with what was in the way at last.
func (a *aligner) after(err error) error {
	if a.why == nil {
		return err
	}
	return fmt.Errorf("%w;\nin the way at last: %s", err, fold(strings.TrimPrefix(a.why.Error(), "align: ")))
}

// moan says what is in the way, once a second at most.
func (a *aligner) moan(why error) {
	if why != nil {
		a.why = why
	}
	if why == nil || a.cmd.From != "" || time.Since(a.said) < time.Second {
		return
	}
	a.said = time.Now()
	a.prompt("  not yet: %s", strings.TrimPrefix(why.Error(), "align: "))
}

// prompt tells the person what to do, in lines that a narrow terminal shows.
func (a *aligner) prompt(form string, x ...any) {
	for line := range strings.Lines(fmt.Sprintf(form, x...)) {
		fmt.Fprintln(a.s.err, fold(strings.TrimSuffix(line, "\n")))
	}
}

func (a *aligner) pad(ctx context.Context) error {
	c := a.cmd
	a.prompt("Put %s on its pad, looking its way, and let go.\nIt is taken by itself after %v of standing still.", a.v.Name, c.Hold)
	cfg := a.v.Config.Pose
	cfg.Align = pose.Alignment{}
	st, err := a.dwell(ctx, cfg, false)
	if err != nil {
		return err
	}
	o := pose.PadOptions{Position: a.spot.Position, Yaw: a.spot.Yaw, PositionError: c.PlaceError,
		YawError: c.HeadingError * math.Pi / 180, LevelError: c.LevelError * math.Pi / 180}
	o.Reach, o.Rise = a.far(a.spot.Position)
	al, err := o.Tie(&st)
	if err != nil {
		return err
	}
	a.leans(&st)
	a.file = pose.AlignmentFile{Method: pose.MethodPad, Pad: a.spot, Alignment: al, Samples: st.Samples}
	return a.write()
}

// leanNote is the lean on the pad, rad, from which on it is said: more than legs
// and floors make of a vehicle that is put down (common practice, no source).
const leanNote = 2 * math.Pi / 180

// leans says so where the vehicle seems to lean. Tie goes by its heading alone,
// and what is stated counts no more than --level-error of it in.
func (a *aligner) leans(st *pose.Still) {
	if tilt := st.Attitude.Tilt(); tilt > math.Max(leanNote, a.cmd.LevelError*math.Pi/180) {
		a.prompt("NOTE: on its pad %s seems to lean by %.1f°. Where the pad is level, [vehicle.pose.mount] is off by that, or the tracker's vertical is, and then by more than is stated: %.2f m at 5 m.", a.v.Name, tilt*180/math.Pi, 5*math.Sin(tilt))
	}
}

func (a *aligner) marks(ctx context.Context) error {
	m := survey.NewMarks(a.points, a.v.Config.Pose, pose.StillOptions{Least: a.cmd.Hold})
	for n := -1; !m.Done(); {
		if m.Taken() != n {
			n = m.Taken()
			p := m.Next()
			a.prompt("Mark %d of %d: put %s on %q\n  (%.2f, %.2f, %.2f) and hold still for %v.", n+1, len(a.points), a.v.Name, p.Name, p.At.X, p.At.Y, p.At.Z, a.cmd.Hold)
		}
		s, err := a.src.next(ctx)
		if err != nil {
			return fmt.Errorf("%d of %d marks taken: %w", m.Taken(), len(a.points), a.after(err))
		}
		a.note(&s)
		took, why, err := m.Add(&s)
		if err != nil {
			return err
		}
		switch {
		case took && m.Done(): // a guard takes the alignment only at rest, once the vehicle was stopped
			a.prompt("\a  taken; leave it there for a moment")
		case took:
			a.prompt("\a  taken; lift it")
		}
		a.moan(why)
	}
	o := pose.MarkOptions{Tolerance: a.cmd.Tolerance, LevelError: a.cmd.LevelError * math.Pi / 180}
	o.Reach, o.Rise = a.far(middle(a.points))
	method := pose.MethodMarks
	if a.cmd.Full {
		o.Kind, method = pose.FitFull, pose.MethodMarksFull
	}
	fit, err := m.Fit(o)
	for i, r := range fit.Residuals {
		a.file.Marks = append(a.file.Marks, pose.MarkLeft{Name: a.points[i].Name, Residual: r})
		a.prompt("  %-12s off by %.3f m", a.points[i].Name, r)
	}
	if err != nil {
		return found("%v", err)
	}
	a.file.Method, a.file.Pad, a.file.Alignment, a.file.Samples = method, a.spot, fit.Alignment, a.seen
	return a.write()
}

// write keeps the alignment, in one step: a reader sees the old or the new.
func (a *aligner) write() error {
	f := &a.file
	f.Site, f.Vehicle, f.Made, f.Epoch = a.site.Name, a.v.Name, time.Now().UTC().Truncate(time.Second), a.src.epoch()
	f.Alignment.Since = min(f.Alignment.Since, a.first)
	data, err := pose.WriteAlignment(f)
	if err != nil {
		return err
	}
	if err := replaceFile(a.cmd.File, data); err != nil {
		return err
	}
	if f.Alignment.Tracker == "" && f.Epoch.IsZero() {
		a.prompt("The recording does not tell of which session of the tracker it is: this is for that recording alone. A guard gives no permit by it; for that align with the tracker itself.")
	}
	if a.cmd.JSON {
		_, err := a.s.out.Write(data)
		return err
	}
	t := f.Alignment.Translation
	fmt.Fprintf(a.s.out, "yaw %.2f°, origin at (%.3f, %.3f, %.3f) m,\noff by at most %.3f m within the pen, 95 times of 100\n",
		f.Alignment.Rotation.Yaw()*180/math.Pi, t.X, t.Y, t.Z, f.Alignment.Residual)
	if id := f.Alignment.Tracker; id == "" {
		fmt.Fprintln(a.s.out, "it is void once the tracker restarts")
	} else { // a serial number tells less than an id drawn anew
		fmt.Fprintf(a.s.out, "it is void once the tracker's id is no longer %q:\nbest let every start of the tracker draw a new one\n", id)
	}
	fmt.Fprintf(a.s.out, "written to %s\n", a.cmd.File)
	a.named()
	return nil
}
