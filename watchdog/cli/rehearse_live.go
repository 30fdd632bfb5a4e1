package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	crand "crypto/rand"

	"pinfold/config"
	"pinfold/sim"
	"pinfold/sim/broker"
	"pinfold/watchdog/app"
	"pinfold/watchdog/rehearse"
)

// liveFlags are those of rehearse --live.
type liveFlags struct {
	Live      bool `help:"Rehearse in real time: the daemon itself over the site's broker, with a simulated vehicle below a topic prefix of its own, where no real one listens."`
	OwnBroker bool `help:"With --live: a broker inside this process, instead of the site's."`
}

// sessionRuns bounds the runs of one session: a node keeps its newest halts only.
const sessionRuns = 50

// maxLive bounds the runs of one vehicle: a run takes some seconds.
const maxLive = 10_000

// liveRun is one run: from the start to rest.
type liveRun struct {
	Vehicle string  `json:"vehicle"`
	No      int     `json:"no"`
	Cause   string  `json:"cause"` // what the vehicle was stopped for
	Name    string  `json:"name"`
	Speed   float64 `json:"speed_m_s"` // when its permit went
	Rest    float64 `json:"rest_s"`    // from then to rest
	Way     float64 `json:"distance_m"`
	Room    float64 `json:"room_m"` // left at rest, as the simulator's judge sees it
	Leak    float64 `json:"leak_m"` // how far outside it was; 0 never
}

// liveDoc is what rehearse --live --json prints.
type liveDoc struct {
	Site   string    `json:"site"`
	Broker string    `json:"broker"`
	Prefix string    `json:"prefix"`
	Runs   []liveRun `json:"runs"`
	Leaks  int       `json:"leaks"`
	Unsaid []string  `json:"undeclared,omitempty"` // vehicles without a declared acceleration
	Safety string    `json:"safety"`
}

// live rehearses the vehicles of a site in real time.
func (c *rehearseCmd) live(s *streams) error {
	runs := c.runs(3)
	if runs < 1 || runs > maxLive {
		return fmt.Errorf("--runs=%d; give 1 to %d with --live", runs, maxLive)
	}
	site, err := loadSite(c.Site)
	if err == nil {
		site, err = c.chosen(site)
	}
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	one := *site
	if c.OwnBroker {
		b, err := broker.Start("127.0.0.1:0")
		if err != nil {
			return err
		}
		defer b.Close()
		one.Broker = config.Broker{URL: b.URL()}
	}
	if one.Broker.User != "" || one.Broker.CA != "" || one.Broker.Cert != "" {
		return errors.New("the simulated vehicles log in nowhere, and the site's broker asks for it: rehearse with --own-broker")
	}
	// A real vehicle listens below the site's own prefix, and hears nothing of this.
	one.Broker.Prefix = "rehearsal-" + strings.ToLower(crand.Text()[:12])
	one.Metrics, one.Console = "", config.Console{}
	d := &liveDoc{Site: site.Name, Broker: one.Broker.URL, Prefix: one.Broker.Prefix, Runs: []liveRun{}, Safety: safetyLine()}
	printWrapped(s.err, fmt.Sprintf("In real time at %s, below the topics %s/: a prefix of its own, where no real vehicle listens. Its trail is not kept.", d.Broker, d.Prefix), "  ")
	for i := range site.Vehicles {
		l := &liveVehicle{cmd: c, site: one, want: runs, doc: d, s: s}
		if l.v, err = rehearse.NewLive(&site.Vehicles[i]); err != nil {
			return err
		}
		if err := l.rehearse(ctx); err != nil {
			if ctx.Err() != nil {
				return fmt.Errorf("the rehearsal was broken off: nothing is shown by it")
			}
			return err
		}
	}
	if c.JSON {
		err = printJSON(s.out, d)
	} else {
		d.print(s.out)
	}
	if err == nil && d.Leaks > 0 {
		return found("")
	}
	return err
}

// liveVehicle is one vehicle being rehearsed.
type liveVehicle struct {
	cmd  *rehearseCmd
	site config.Site
	v    *rehearse.Live
	want int
	doc  *liveDoc
	s    *streams
	done int
	// starts counts those that came to nothing.
	starts int
}

// rehearse begins sessions until all runs are done: one goes on from stop to
// reset to start until the vehicle rests where it gets no start.
func (l *liveVehicle) rehearse(ctx context.Context) error {
	if !l.v.Declared() {
		l.doc.Unsaid = append(l.doc.Unsaid, l.v.Vehicle.Name)
	}
	for sessions := 0; l.done < l.want; sessions++ {
		if sessions > l.want+5 {
			return fmt.Errorf("%s: after %d sessions only %d runs were made; is the machine too busy?", l.v.Vehicle.Name, sessions, l.done)
		}
		if err := l.session(ctx, sessions); err != nil {
			return err
		}
	}
	return nil
}

// session runs a guard and a vehicle in the middle of its pen.
func (l *liveVehicle) session(ctx context.Context, n int) (err error) {
	dir, err := os.MkdirTemp("", "pinfold-live-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	site := l.site
	site.Vehicles = []config.Vehicle{l.v.Vehicle}
	guard, end := context.WithCancel(context.Background())
	defer end()
	ready, ended := make(chan struct{}), make(chan error, 1)
	go func() {
		_, err := app.Run(guard, app.Options{Site: &site, Version: Version, TrailDir: dir, Ready: func(app.Session) { close(ready) }})
		ended <- err
	}()
	select {
	case <-ready:
	case err := <-ended:
		return err
	}
	err = l.drive(ctx, &site, l.cmd.Seed+uint64(n))
	end()
	return errors.Join(err, <-ended)
}

// Bounds of a run.
const (
	liveConnect = 20 * time.Second
	liveStart   = 15 * time.Second // for reset and start
	liveDrive   = 30 * time.Second // until it is stopped
	liveLost    = time.Second      // until the first permit comes
)

// drive runs one run after the other, until one gets no start.
func (l *liveVehicle) drive(ctx context.Context, site *config.Site, seed uint64) error {
	name := l.v.Vehicle.Name
	soon, cancel := context.WithTimeout(ctx, liveConnect)
	defer cancel()
	node, err := sim.StartNode(soon, l.v.Node(site.Broker.URL, site.Broker.Prefix, seed))
	if err != nil {
		return err
	}
	defer node.Close()
	op, err := sim.NewOperator(soon, site.Broker.URL, site.Broker.Prefix, "rehearsal", name)
	if err != nil {
		return err
	}
	defer op.Close()
	rng := rand.New(rand.NewPCG(seed, uint64(l.done)))
	for until := min(l.want, l.done+sessionRuns); l.done < until; {
		start, cancel := context.WithTimeout(ctx, liveStart)
		err := op.Release(start, name)
		cancel()
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err != nil {
			return nil // it rests too near an edge for a start: a new session begins in the middle
		}
		if err := l.run(ctx, node, op, rng); err != nil {
			return err
		}
		if !node.Verdict(true).Stayed() {
			return nil // the judge says it once a session
		}
	}
	return nil
}

// run goes for an edge, and waits until the vehicle rests.
func (l *liveVehicle) run(ctx context.Context, node *sim.Node, op *sim.Operator, rng *rand.Rand) error {
	name := l.v.Vehicle.Name
	before := node.View().Halts
	node.SetPilot(sim.NewFlight(l.v.Course(rng, node.View().State.Position)))
	asked := false
	for begun := time.Now(); ; time.Sleep(5 * time.Millisecond) {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		// A permit that was late for a moment makes a halt that never comes to rest:
		// the newest counts.
		if h := node.Halts(); len(h) > before && h[len(h)-1].Rested() {
			node.SetPilot(nil)
			l.take(node, op, &h[len(h)-1])
			return nil
		}
		if v := node.View(); !v.MayMove && v.Halts == before && time.Since(begun) > liveLost {
			return l.lost() // its permit went before it moved: the machine held something up
		}
		if late := time.Since(begun); late > 2*liveDrive {
			return fmt.Errorf("%s neither stopped nor rested within %v", name, 2*liveDrive)
		} else if late > liveDrive && !asked {
			asked = true
			if err := op.Ask(ctx, name, sim.AskStop); err != nil {
				return err
			}
		}
	}
}

// lost notes a start that came to nothing.
func (l *liveVehicle) lost() error {
	if l.starts++; l.starts > l.want+20 {
		return fmt.Errorf("%s lost its permit %d times before it moved; is the machine too busy?", l.v.Vehicle.Name, l.starts)
	}
	return nil
}

// take notes a run.
func (l *liveVehicle) take(node *sim.Node, op *sim.Operator, h *sim.Halting) {
	l.done++
	r := liveRun{Vehicle: l.v.Vehicle.Name, No: l.done, Speed: h.Speed, Rest: (h.RestAt - h.PermitAt).Seconds(), Way: h.Distance, Room: h.Room, Cause: "permit ran out"}
	if st, ok := op.State(r.Vehicle); ok && len(st.Latched) > 0 {
		r.Cause, r.Name = st.Latched[0].Cause, st.Latched[0].Name
	}
	if v := node.Verdict(true); !v.Stayed() {
		r.Leak = max(v.Deepest.Depth, 1e-4)
		l.doc.Leaks++
	}
	l.doc.Runs = append(l.doc.Runs, r)
	fmt.Fprintln(l.s.err, fold(r.String()))
}

// String tells a run in a line.
func (r *liveRun) String() string {
	text := fmt.Sprintf("%s %d: %s at %.2f m/s, rest in %.2f s after %.2f m, room %.2f m", r.Vehicle, r.No, strings.TrimSpace(r.Cause+" "+r.Name), r.Speed, r.Rest, r.Way, r.Room)
	if r.Leak > 0 {
		text += fmt.Sprintf("; LEAK: outside by %.3f m in this session", r.Leak)
	}
	return printable(text)
}

func (d *liveDoc) print(out io.Writer) {
	t := newTable("vehicle", "run", "stopped for", "m/s", "rest s", "way m", "room m", "leak m")
	for i := range d.Runs {
		r := &d.Runs[i]
		t.row(printable(r.Vehicle), fmt.Sprint(r.No), printable(strings.TrimSpace(r.Cause+" "+r.Name)), fmt.Sprintf("%.2f", r.Speed), fmt.Sprintf("%.2f", r.Rest),
			fmt.Sprintf("%.2f", r.Way), fmt.Sprintf("%.2f", r.Room), fmt.Sprintf("%.3f", r.Leak))
	}
	t.print(out)
	if len(d.Unsaid) > 0 {
		printWrapped(out, fmt.Sprintf("No acceleration is declared for %s: a small one was taken.", strings.Join(d.Unsaid, ", ")), "  ")
	}
	if d.Leaks == 0 {
		printWrapped(out, fmt.Sprintf("%s in real time, no leak. It holds as far as the declared numbers do, and this machine's load.", count(len(d.Runs), "run")), "  ")
	} else {
		printWrapped(out, fmt.Sprintf("NOT CONTAINED: %d of %d runs outside.", d.Leaks, len(d.Runs)), "  ")
	}
	fmt.Fprintln(out, Safety)
}
