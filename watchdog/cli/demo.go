package cli

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/sim/broker"
	"pinfold/watchdog"
	"pinfold/watchdog/app"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/review"
)

type demoCmd struct {
	Seed  uint64 `default:"7" help:"Seed of tracker errors, gusts and ways."`
	Trail string `help:"Where the session's trail goes; a temporary folder where not given." placeholder:"DIR"`
	// Console is a pointer so that --json alone serves nothing.
	Console *string `help:"Where the page is served; off: nowhere. 127.0.0.1:8087 where not given, and nowhere with --json." placeholder:"ADDR"`
	JSON    bool    `name:"json" help:"Print one JSON document and nothing else."`
}

// demoDoc is what demo --json prints.
type demoDoc struct {
	Safety string          `json:"safety"`
	Stayed bool            `json:"stayed"` // every vehicle, as the simulator's own judge saw it
	AsTold bool            `json:"as_told"`
	Story  sim.StoryResult `json:"story"`
	Review *review.Session `json:"review"`
}

// Run shows the whole job: a broker of its own, two simulated vehicles, and the
// guard judging them over MQTT like any others.
func (c *demoCmd) Run(s *streams) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	b, err := broker.Start("127.0.0.1:0")
	if err != nil {
		return err
	}
	defer b.Close()
	site, err := config.Parse("demo.toml", []byte(sim.DemoSite(b.URL())), noFiles)
	if err != nil {
		return fmt.Errorf("the demo's own site file: %w", err)
	}
	dir, err := c.trailDir()
	if err != nil {
		return err
	}
	show := newShow(s.out, c.JSON, site)
	show.intro(site)
	page := c.page()
	if page.Token != "" {
		show.say(app.Line{Text: "token for start and reset on the console: " + page.Token})
	}
	story, session, err := tell(ctx, b, site, app.Options{TrailDir: dir, Console: page}, c.Seed, show)
	show.end()
	if ctx.Err() != nil {
		return given(session.Folder, err)
	}
	if err != nil {
		return err
	}
	sum, err := review.Read(session.Folder)
	if err != nil {
		return err
	}
	return c.close(s.out, &demoDoc{Safety: Safety, Stayed: story.Stayed(), AsTold: story.OK(), Story: story, Review: sum})
}

// given is what is said where a person ended the demo: how far the trail goes,
// and what went wrong beside that.
func given(folder string, err error) error {
	text := "the demo was ended before its story was told, so nothing was shown by it"
	if folder != "" {
		text += "; the vehicles were stopped first, and the trail so far is " + folder
	}
	if err != nil && !errors.Is(err, context.Canceled) {
		text += "; " + err.Error()
	}
	return found("%s", text)
}

func noFiles(name string) ([]byte, error) {
	return nil, fmt.Errorf("the demo has no file %s", name)
}

func (c *demoCmd) trailDir() (string, error) {
	if c.Trail != "" {
		return filepath.Abs(c.Trail)
	}
	return os.MkdirTemp("", "pinfold-demo-")
}

// tell runs the guard and the story beside it, and ends the guard when the
// story is told.
func tell(ctx context.Context, b *broker.Broker, site *config.Site, o app.Options, seed uint64, show *show) (sim.StoryResult, app.Session, error) {
	guardCtx, endGuard := context.WithCancel(ctx)
	defer endGuard()
	ready := make(chan struct{})
	ended := make(chan error, 1)
	storyCtx, endStory := context.WithCancel(ctx)
	defer endStory()
	var res app.Result
	go func() {
		defer endStory() // without a guard there is nothing to tell
		var err error
		o.Site, o.Version, o.Say, o.Watch = site, Version, show.say, show.watch
		o.Ready = func(app.Session) { close(ready) }
		res, err = app.Run(guardCtx, o)
		ended <- err
	}()
	select {
	case <-ready:
	case err := <-ended:
		return sim.StoryResult{}, app.Session{}, err
	}
	story, err := sim.RunStory(storyCtx, sim.StoryOptions{Broker: b, Prefix: site.Broker.Prefix, Seed: seed, Report: show.story})
	endGuard()
	if guardErr := <-ended; guardErr != nil {
		err = guardErr
	}
	return story, res.Session, err
}

// page says where the demo's console is, with a token drawn for it.
func (c *demoCmd) page() app.Console {
	listen := config.ConsoleListen
	switch {
	case c.Console == nil && c.JSON, c.Console != nil && *c.Console == "off":
		return app.Console{}
	case c.Console != nil:
		listen = *c.Console
	default:
		listen = freeOr(listen)
	}
	return app.Console{Listen: listen, Token: rand.Text(), Safety: safetyLine(), Report: reportPage}
}

// freeOr is listen, or any free port of the same address where another process
// has that one.
func freeOr(listen string) string {
	l, err := net.Listen("tcp", listen)
	if err != nil {
		return "127.0.0.1:0"
	}
	_ = l.Close()
	return listen
}

// close prints the episodes and where the trail lies.
func (c *demoCmd) close(out io.Writer, d *demoDoc) error {
	if c.JSON {
		if err := printJSON(out, d); err != nil {
			return err
		}
	} else {
		d.print(out)
	}
	if !d.Stayed {
		return found("a vehicle left its pen, as the simulator's own judge saw it")
	}
	if !d.AsTold {
		return &foundError{"not every scene showed what it had to; see above"}
	}
	return nil
}

func (d *demoDoc) print(out io.Writer) {
	fmt.Fprint(out, "\nEpisodes while a vehicle was moving by permission, and the\nanswer: acknowledged, at rest, room left to an edge:\n")
	printRows(out, d.Review.Rows)
	fmt.Fprintln(out)
	for _, a := range d.Story.Acts {
		if !a.OK {
			printWrapped(out, fmt.Sprintf("scene %q of %s: expected %s, seen %s", a.Name, a.Vehicle, a.Expected, a.Seen), "  ")
		}
	}
	for _, v := range d.Story.Vehicles {
		word := "stayed in its pen"
		if !v.Verdict.Stayed() {
			word = fmt.Sprintf("LEFT ITS PEN by %.3f m at %s", v.Verdict.Deepest.Depth, v.Verdict.Deepest.Where)
		}
		fmt.Fprintf(out, "%s %s; closest to an edge %.3f m\n", v.Name, word, v.ClosestM)
	}
	fmt.Fprintf(out, "trail: %s\nprove it: pinfold verify %s\n\n%s\n", d.Review.Folder, d.Review.Folder, Safety)
}

// printWrapped prints text in lines of at most columns. It may stand in a trail
// and have come from anywhere: control characters are written out.
func printWrapped(out io.Writer, text, indent string) {
	for _, l := range wrap(wire.Printable(text), columns, indent) {
		fmt.Fprintln(out, l)
	}
}

// printRows prints the episodes that were raised, two lines each so that 60
// columns are enough.
func printRows(out io.Writer, rows []review.Row) {
	for i := range rows {
		r := &rows[i]
		if r.Level == watchdog.Waiting.String() && r.Answer == nil {
			continue
		}
		where := r.Cause
		if r.Name != "" && r.Name != r.Cause {
			where += " " + r.Name
		}
		printWrapped(out, fmt.Sprintf("%7.2f s  %-5s %s: %s", r.From, r.Vehicle, where, depth(r)), "         ")
		printWrapped(out, "         "+answer(r), "           ")
	}
}

func depth(r *review.Row) string {
	if r.Unit == "" {
		return fmt.Sprintf("for %.2f s", r.To-r.From)
	}
	if r.Cause == watchdog.CauseZone.String() {
		if r.Breach > 0 {
			return fmt.Sprintf("the body was OUT by %.2f m", r.Breach)
		}
		return fmt.Sprintf("would have passed it by %.2f m", r.Worst)
	}
	return fmt.Sprintf("%.2f of %.2f %s", r.Worst, r.Limit, r.Unit)
}

func answer(r *review.Row) string {
	a := r.Answer
	if a == nil {
		return "no stop of its own"
	}
	ack := "not acknowledged"
	if a.Acked >= 0 {
		ack = fmt.Sprintf("in %.0f ms", 1000*a.Acked)
	}
	return fmt.Sprintf("%s %s, rest in %.2f s, %.2f m to %s", a.Action, ack, a.Rest, a.Edge, a.EdgeZone)
}

// demoPatience is how often the picture of a terminal is drawn again.
const demoPatience = 100 * time.Millisecond
