package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"os/user"
	"strings"
	"syscall"
	"time"

	"github.com/mattn/go-isatty"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/app"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/walk"
)

// walkFlags are those of rehearse --walk.
type walkFlags struct {
	Walk  bool          `help:"Carry the vehicle, motors off, across every edge and limit of its site, and have each stop ticked off. Starts a guard of its own that never permits anything."`
	By    string        `help:"With --walk: who walks, for the record; the name of the user where not given." placeholder:"NAME"`
	Trail string        `help:"With --walk: where the session's trail goes, instead of where the site file says." placeholder:"DIR"`
	Wait  time.Duration `default:"10m" help:"With --walk: how long to wait for one edge."`
}

// reasons are what a skip is most often for; a digit stands for each.
func reasons() []string {
	return []string{"it cannot be reached", "it is not safe to go there", "something stands in the way"}
}

// walkDoc is what rehearse --walk --json prints.
type walkDoc struct {
	walk.List
	OK      bool   `json:"ok"`
	Session string `json:"session"`
	Folder  string `json:"folder"`
	Head    string `json:"head"`
	Safety  string `json:"safety"`
}

// walker is one walk under way.
type walker struct {
	cmd    *rehearseCmd
	s      *streams
	site   *config.Site // of the one vehicle
	v      *config.Vehicle
	w      *walk.Walk
	ear    *bystander
	snaps  chan watchdog.Snapshot
	record chan app.Evidence
	live   bool // a line is drawn over and over
	drawn  int
	shown  time.Time // of the live line
	spoke  time.Time // of the prompt
	moved  time.Time // of the newest progress
}

// walk leads a person along the edges and limits of one vehicle.
func (c *rehearseCmd) walk(s *streams) error {
	k := &walker{cmd: c, s: s, snaps: make(chan watchdog.Snapshot, 256), record: make(chan app.Evidence)}
	if err := k.prepare(); err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	var err error
	if k.ear, err = newBystander(ctx, k.site, k.v); err != nil {
		return err
	}
	defer k.ear.close()
	if err := k.ear.alone(ctx); err != nil {
		return err
	}
	k.intro()
	return k.run(ctx)
}

// prepare reads the site and makes the list.
func (k *walker) prepare() error {
	c := k.cmd
	if c.Wait < time.Second || c.Wait > 24*time.Hour {
		return fmt.Errorf("--wait %v: must be 1 s to 24 h", c.Wait)
	}
	if wire.Printable(c.By) != c.By || len(c.By) > wire.NameMax {
		return fmt.Errorf("--by %s: give a plain name of at most %d bytes", wire.Printable(c.By), wire.NameMax)
	}
	if c.By == "" {
		if u, err := user.Current(); err == nil {
			c.By = u.Username
		}
	}
	site, err := loadSite(c.Site)
	if err != nil {
		return err
	}
	if k.v, err = pickVehicle(site, c.Vehicle); err != nil {
		return err
	}
	one := *site
	one.Vehicles = []config.Vehicle{*k.v}
	k.site, k.v = &one, &one.Vehicles[0]
	cfg := k.v.Config
	cfg.Hash = site.Hash
	plan, err := walk.Plan(&cfg)
	if err != nil {
		return err
	}
	k.w = walk.New(&cfg, plan, c.By)
	if f, ok := k.s.err.(*os.File); ok {
		k.live = isatty.IsTerminal(f.Fd()) && os.Getenv("TERM") != "dumb"
	}
	return nil
}

// loadSite reads a site file; where it holds mistakes, check tells them.
func loadSite(path string) (*config.Site, error) {
	if _, err := os.Stat(path); err != nil {
		return nil, fmt.Errorf("%w; give the path of a site file", err)
	}
	site, err := config.Load(path)
	if err != nil {
		return nil, fmt.Errorf("%w\nNext: pinfold check --site %s", err, path)
	}
	return site, nil
}

func (k *walker) intro() {
	l := k.w.List()
	k.text(fmt.Sprintf("A walk along the edges of %q with %s in your hands, its MOTORS OFF: take the propellers off, or unplug the motors, first. Nothing is permitted while the walk goes on.", k.site.Name, k.v.Name))
	fmt.Fprintln(k.s.err, Safety)
	k.text(fmt.Sprintf("It shows %s.", walk.Shows))
	fmt.Fprintln(k.s.err)
	printItems(k.s.err, &l)
	fmt.Fprintln(k.s.err)
	k.text("Enter says the prompt again. To leave one out: skip and why, or skip and a digit:")
	for i, r := range reasons() {
		fmt.Fprintf(k.s.err, "  skip %d  %s\n", i+1, r)
	}
	k.text("end ends the walk, and keeps what was ticked off.")
}

// run has the guard run, and the walk beside it.
func (k *walker) run(ctx context.Context) error {
	guardCtx, endGuard := context.WithCancel(context.Background())
	defer endGuard()
	ready := make(chan app.Session, 1)
	ended := make(chan error, 1)
	var res app.Result
	go func() {
		var err error
		res, err = app.Run(guardCtx, app.Options{Site: k.site, Version: Version, TrailDir: k.cmd.Trail, MotorsOff: true,
			Say: k.guardSays(), Watch: k.watch, Evidence: k.record, Ready: func(s app.Session) { ready <- s },
			Console: app.Console{Safety: safetyLine(), Report: reportPage}})
		ended <- err
	}()
	select {
	case s := <-ready:
		k.ear.session = s.ID
	case err := <-ended:
		return err
	}
	why, err := k.lead(ctx, ended)
	k.w.End(why)
	if err == nil {
		err = k.keep()
		endGuard()
		err = errors.Join(err, <-ended)
	}
	k.clear()
	return errors.Join(err, k.close(res))
}

// guardSays prints what the guard says beside the stops, which the walk tells in
// its own words.
func (k *walker) guardSays() func(app.Line) {
	p := newPrinter()
	return func(l app.Line) {
		if l.Weight < app.Caution || l.Level != "" {
			return
		}
		p.post(func() { fmt.Fprintln(k.s.err, fold("guard: "+printable(l.Text))) })
	}
}

// watch is called from the guard's loop.
func (k *walker) watch(_ int, s *watchdog.Snapshot) {
	select {
	case k.snaps <- *s:
	default: // the walk hangs, and the next one says the same
	}
}

// sayAgain is after how long a prompt is said again by itself.
const sayAgain = 30 * time.Second

// lead goes on until everything was seen to, or something ends it; it says what.
// An error is the guard's own.
func (k *walker) lead(ctx context.Context, ended <-chan error) (why string, err error) {
	lines := readLines(k.s.in)
	k.moved = time.Now()
	look := time.NewTicker(20 * time.Millisecond)
	defer look.Stop()
	var last watchdog.Snapshot
	for !k.w.Done() {
		select {
		case <-ctx.Done():
			return "broken off by who walked", nil
		case err := <-ended:
			return "the guard ended", fmt.Errorf("the guard ended in mid-walk: %w", err)
		case last = <-k.snaps:
			k.do(k.w.See(&last))
		case line, ok := <-lines:
			if !ok {
				lines = nil
			} else if k.typed(line) {
				return "ended by who walked", nil
			}
		case <-look.C:
		}
		for _, c := range k.ear.commands() {
			k.do(k.w.Hear(c))
		}
		if k.ear.foreign != "" {
			return k.ear.foreign, nil
		}
		if time.Since(k.moved) > k.cmd.Wait {
			return fmt.Sprintf("nothing was ticked off within %v", k.cmd.Wait), nil
		}
		k.draw(&last)
	}
	return "every item was seen to", nil
}

// readLines gives what a person types, a line each, until there is no more.
func readLines(in io.Reader) <-chan string {
	out := make(chan string)
	if in == nil {
		return nil
	}
	go func() {
		defer close(out)
		for sc := bufio.NewScanner(in); sc.Scan(); {
			out <- sc.Text()
		}
	}()
	return out
}

// typed does what was typed; true ends the walk.
func (k *walker) typed(line string) bool {
	word, rest, _ := strings.Cut(strings.TrimSpace(line), " ")
	rest = strings.TrimSpace(rest)
	switch word {
	case "":
		k.do(k.w.Repeat())
	case "end", "quit", "q":
		return true
	case "skip", "s":
		for i, r := range reasons() {
			if rest == fmt.Sprint(i+1) {
				rest = r
			}
		}
		o, err := k.w.Skip(wire.Printable(rest))
		k.do(o)
		if err != nil {
			k.clear()
			k.text("NOT skipped: " + err.Error())
		}
	default:
		k.clear()
		k.text("Enter: say it again. skip and why: leave it out. end: end the walk.")
	}
	return false
}

// do carries out what the walk asks for.
func (k *walker) do(o walk.Out) {
	for _, s := range o.Say {
		k.clear()
		if s.Bell && k.live {
			fmt.Fprint(k.s.err, "\a")
		}
		if s.Prompt {
			k.spoke = time.Now()
			k.large(s.Text)
			continue
		}
		k.text(s.Text)
	}
	if o.Reset != "" {
		k.ear.reset(o.Reset)
	}
	if o.Ticked {
		k.moved = time.Now()
		if err := k.keep(); err != nil {
			k.text("NOT in the trail yet: " + err.Error())
		}
	}
	if !k.spoke.IsZero() && time.Since(k.spoke) > sayAgain {
		k.spoke = time.Now()
		k.do(k.w.Repeat())
	}
}

// keep puts the list as it is into the trail, signed.
func (k *walker) keep() error {
	answer := make(chan error, 1)
	l := k.w.List()
	select {
	case k.record <- app.Evidence{Vehicle: k.v.Name, About: walk.About, Record: &l, Answer: answer}:
	case <-time.After(keepWait):
		return errors.New("the guard does not take the list")
	}
	select {
	case err := <-answer:
		return err
	case <-time.After(keepWait):
		return errors.New("the trail does not answer")
	}
}

// keepWait is more than a trail takes to say that a record is not durable.
const keepWait = 5 * time.Second

func (k *walker) text(t string) { printWrapped(k.s.err, t, "  ") }

// large prints a prompt so that it stands out from a distance.
func (k *walker) large(t string) {
	rule := strings.Repeat("=", columns-2)
	fmt.Fprintf(k.s.err, "\n%s\n", rule)
	for line := range strings.Lines(t) {
		printWrapped(k.s.err, "  "+strings.TrimSuffix(line, "\n"), "    ")
	}
	fmt.Fprintln(k.s.err, rule)
}

// How often the live line is drawn: on a terminal over itself.
const (
	drawEvery  = 200 * time.Millisecond
	plainEvery = 2 * time.Second
)

func (k *walker) draw(s *watchdog.Snapshot) {
	every := plainEvery
	if k.live {
		every = drawEvery
	}
	if s.At == 0 || time.Since(k.shown) < every {
		return
	}
	k.shown = time.Now()
	text := k.w.Live(s)
	switch {
	case text == "":
	case !k.live:
		fmt.Fprintln(k.s.err, "  "+text)
	default:
		k.clear()
		k.drawn, _ = fmt.Fprint(k.s.err, "  "+text)
	}
}

// clear takes the live line away.
func (k *walker) clear() {
	if k.drawn > 0 {
		fmt.Fprintf(k.s.err, "\r%s\r", strings.Repeat(" ", k.drawn))
		k.drawn = 0
	}
}

// close prints what came of it.
func (k *walker) close(res app.Result) error {
	l := k.w.List()
	d := walkDoc{List: l, OK: l.OK(), Session: res.Session.ID, Folder: res.Session.Folder, Head: res.Head, Safety: safetyLine()}
	if k.cmd.JSON {
		if err := printJSON(k.s.out, &d); err != nil {
			return err
		}
	} else {
		fmt.Fprintln(k.s.out)
		printWalk(k.s.out, &l)
		fmt.Fprintf(k.s.out, "signed, in the trail: %s\nprove it: pinfold verify %s\n%s\n", d.Folder, d.Folder, Safety)
	}
	if !d.OK {
		return found("")
	}
	return nil
}

// printItems prints every item of a list.
func printItems(out io.Writer, l *walk.List) {
	for i := range l.Items {
		it := &l.Items[i]
		line := fmt.Sprintf("%3d  %s, %s", it.No, it.Title(), it.Text)
		switch it.Outcome {
		case walk.Walked, walk.Late:
			line = fmt.Sprintf("%3d  %s: %s", it.No, it.Title(), measured(it))
		case walk.Skipped, walk.NotWalked:
			line += ": " + strings.ToUpper(string(it.Outcome)) + ", " + it.Why
		}
		printWrapped(out, line, "     ")
	}
}

// measured is what was measured at an item.
func measured(it *walk.Item) string {
	after := ""
	if it.After >= 0 {
		after = fmt.Sprintf(", %.1f ms after the pose", it.After)
	}
	where := fmt.Sprintf("%.2f m before it, at %.2f m/s", it.Distance, it.Speed)
	if it.Unit != "" {
		where = fmt.Sprintf("at %.2f %s, limit %.2f", it.Value, it.Unit, it.Max)
	}
	if it.Outcome == walk.Late {
		return "TOO LATE: " + strings.Replace(where, "before it", "inside of it", 1) + after
	}
	return "stop called " + where + after
}

// printWalk prints a list with what it came to.
func printWalk(out io.Writer, l *walk.List) {
	printWrapped(out, fmt.Sprintf("Walk of %s by %s: %d walked, %d too late, %d skipped, %d not walked, %d open.", l.Vehicle, l.By,
		l.Count(walk.Walked), l.Count(walk.Late), l.Count(walk.Skipped), l.Count(walk.NotWalked), l.Count(walk.Open)), "  ")
	printItems(out, l)
	switch {
	case l.Ended == "":
		printWrapped(out, "PARTIAL: the record ends in mid-walk; what is open was not shown.", "  ")
	case !l.Done:
		printWrapped(out, "PARTIAL, "+l.Ended+": what is open was not shown.", "  ")
	case !l.OK():
		printWrapped(out, "Not everything was shown; see above.", "  ")
	default:
		printWrapped(out, "Everything that a hand can show was walked.", "  ")
	}
	printWrapped(out, fmt.Sprintf("It shows %s. The tie to the room may be off by %.2f m on top.", l.Shows, l.Residual), "  ")
}
