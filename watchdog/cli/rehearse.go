package cli

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/mattn/go-isatty"

	"pinfold/config"
	"pinfold/watchdog/rehearse"
	"pinfold/watchdog/rehearse/page"
)

type rehearseCmd struct {
	Site      string `help:"Site file." placeholder:"FILE"`
	Runs      *int   `help:"Runs of each vehicle, or fault; where not given 10000, with --live 3, with --faults 1." placeholder:"N"`
	WhatIf    int    `help:"Runs of each what-if; a tenth of --runs where not given." placeholder:"N"`
	Seed      uint64 `default:"1" help:"First seed; with --trace the only one."`
	Line      string `name:"run" help:"The run that --trace tells, as the report has it; half of the runs are bred from the worst and have more to their name than a seed." placeholder:"RUN"`
	If        string `help:"Rehearse with a declaration that does not hold: braking=20%, reaction=50ms, drift=1%, link=40ms, pose=40ms, gain=1m/s2 or velocity=0.2m/s, in any size." placeholder:"WHAT"`
	Vehicle   string `help:"Rehearse this vehicle only." placeholder:"NAME"`
	Trace     bool   `help:"Tell the run of --seed or --run, step by step."`
	UntilLeak bool   `help:"Go on until a vehicle leaves its pen, or --runs are over; without what-ifs."`
	HTML      string `name:"html" help:"Write the report as one page that opens offline." placeholder:"FILE"`
	JSON      bool   `name:"json" help:"Print one JSON document."`

	pairFlags  `embed:""`
	walkFlags  `embed:""`
	liveFlags  `embed:""`
	faultFlags `embed:""`
}

// defaultRuns is how many runs of each vehicle there are where not given.
const defaultRuns = 10_000

// runs is how many are asked for, or otherwise where that was not said.
func (c *rehearseCmd) runs(otherwise int) int {
	if c.Runs == nil {
		return otherwise
	}
	return *c.Runs
}

// maxRehearsal bounds the runs of one vehicle.
const maxRehearsal = 10_000_000

// Run answers whether the vehicles of a site will stop in time.
func (c *rehearseCmd) Run(s *streams) error {
	modes := 0
	for _, on := range []bool{c.Walk, c.Live, c.Faults, c.Trace, c.UntilLeak} {
		if on {
			modes++
		}
	}
	switch {
	case modes > 1:
		return errors.New("--walk, --live, --faults, --trace and --until-leak are different things; ask for one at a time")
	case c.Fault != "" && !c.Faults:
		return errors.New("--fault goes with --faults")
	case c.Faults:
		return c.faults(s)
	case c.Site == "":
		return errors.New("missing --site: give the path of a site file")
	case c.Walk:
		return c.walk(s)
	case c.Live:
		return c.live(s)
	}
	site, err := c.load()
	if err != nil {
		return err
	}
	broken, err := c.broken()
	if err != nil {
		return err
	}
	two, err := c.pair()
	switch {
	case err != nil:
		return err
	case c.Trace && two != [2]string{}:
		return c.tracePair(s.out, site, two, broken)
	case c.Trace:
		return c.trace(s.out, site, broken)
	}
	return c.rehearse(s, site, two, broken)
}

// rehearse makes the runs and reports what came of them.
func (c *rehearseCmd) rehearse(s *streams, site *config.Site, two [2]string, broken rehearse.Break) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	begun := time.Now()
	bar := newBar(s.err)
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(400) // runs are short, and so is their garbage's life
	}
	rep, err := rehearse.Rehearse(ctx, site, rehearse.Plan{Runs: c.runs(defaultRuns), WhatIf: c.WhatIf, First: c.Seed, UntilLeak: c.UntilLeak, Break: broken, Pair: two, Each: bar.show})
	bar.end()
	if errors.Is(err, context.Canceled) {
		return fmt.Errorf("the rehearsal was broken off: nothing is shown by it")
	}
	if err != nil {
		return err
	}
	rep.Safety = strings.ReplaceAll(Safety, "\n", " ")
	if c.HTML != "" {
		if err := writePage(c.HTML, func(w io.Writer) error { return page.Write(w, rep) }); err != nil {
			return err
		}
	}
	if c.JSON {
		err = printJSON(s.out, rep)
	} else {
		printRehearsal(s.out, rep, time.Since(begun))
	}
	if err == nil && !rep.OK() {
		return found("")
	}
	return err
}

// broken is what --if says does not hold.
func (c *rehearseCmd) broken() (rehearse.Break, error) {
	if c.Line != "" && !c.Trace {
		return rehearse.Break{}, errors.New("--run goes with --trace")
	}
	if c.If == "" {
		return rehearse.Break{}, nil
	}
	b, err := rehearse.ParseBreak(c.If)
	if err != nil {
		return b, fmt.Errorf("--if: %w", err)
	}
	return b, nil
}

// load reads the site and keeps the vehicles that are asked for.
func (c *rehearseCmd) load() (*config.Site, error) {
	if n := c.runs(defaultRuns); n < 1 || n > maxRehearsal {
		return nil, fmt.Errorf("--runs=%d; give 1 to %d", n, maxRehearsal)
	}
	if c.WhatIf < 0 || c.WhatIf > maxRehearsal {
		return nil, fmt.Errorf("--what-if=%d; give 1 to %d", c.WhatIf, maxRehearsal)
	}
	site, err := loadSite(c.Site)
	if err != nil {
		return nil, err
	}
	return c.chosen(site)
}

// chosen is the site with the one vehicle that was asked for.
func (c *rehearseCmd) chosen(site *config.Site) (*config.Site, error) {
	if c.Vehicle == "" {
		return site, nil
	}
	v, ok := site.Vehicle(c.Vehicle)
	if !ok {
		return nil, fmt.Errorf("no vehicle %q in %s; it has %s", c.Vehicle, c.Site, vehicleNames(site))
	}
	one := *site
	one.Vehicles = []config.Vehicle{*v}
	return &one, nil
}

// trace tells one run of every vehicle.
func (c *rehearseCmd) trace(out io.Writer, site *config.Site, broken rehearse.Break) error {
	line, err := rehearse.ParseLine(cmp.Or(c.Line, strconv.FormatUint(c.Seed, 10)))
	if err != nil {
		return fmt.Errorf("--run: %w", err)
	}
	leaks := 0
	for i := range site.Vehicles {
		v := &site.Vehicles[i]
		src, err := rehearse.NewSite(v)
		if err != nil {
			return err
		}
		src.Break = broken
		fmt.Fprintf(out, "%s, run %s\n", v.Name, line)
		res, k, err := rehearse.RunLine(src, line, rehearse.Options{Trace: out})
		if err != nil {
			return err
		}
		if k == nil || !res.Started {
			fmt.Fprintln(out, "  found no place to start from")
			continue
		}
		fmt.Fprintf(out, "  %s\n", k)
		if res.Leaked() || res.Short {
			leaks++
		}
	}
	if leaks > 0 {
		return found("")
	}
	return nil
}

// bar is a line that says how far a rehearsal is, where there is a terminal.
type bar struct {
	out   io.Writer // nil: nowhere
	begun time.Time
	last  time.Time
}

func newBar(out io.Writer) *bar {
	b := &bar{begun: time.Now()}
	if f, ok := out.(*os.File); ok && isatty.IsTerminal(f.Fd()) && os.Getenv("TERM") != "dumb" {
		b.out = out
	}
	return b
}

const barWidth = 30

func (b *bar) show(done, all int) {
	if b.out == nil || time.Since(b.last) < 100*time.Millisecond {
		return
	}
	b.last = time.Now()
	n := barWidth * done / max(1, all)
	left := time.Duration(float64(time.Since(b.begun)) * float64(all-done) / float64(max(1, done)))
	fmt.Fprintf(b.out, "\r%s%s %d of %d runs, %.0f s left ", strings.Repeat("#", n), strings.Repeat(".", barWidth-n), done, all, left.Seconds())
}

// end takes the line away.
func (b *bar) end() {
	if b.out != nil {
		fmt.Fprintf(b.out, "\r%s\r", strings.Repeat(" ", barWidth+50))
	}
}
