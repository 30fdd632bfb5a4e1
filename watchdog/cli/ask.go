package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"os/user"
	"slices"
	"strings"
	"syscall"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

type askCmd struct {
	Ask      string        `arg:"" enum:"start,stop,land,reset" help:"start, stop, land or reset."`
	Site     string        `required:"" help:"Site file: its broker and vehicles." placeholder:"FILE"`
	Vehicle  string        `help:"Vehicle to ask for." placeholder:"NAME"`
	By       string        `help:"Who asks, for the trail; the name of the user where not given." placeholder:"NAME"`
	Retrieve bool          `help:"Of start: bring a vehicle back that rests outside its pen, at walking pace, inwards only, for 30 s at most."`
	Wait     time.Duration `default:"5s" help:"How long to wait for the guard's answer."`
}

// askMost is the longest that ask waits.
const askMost = time.Hour

// check refuses what cannot be asked, before anything is sent.
func (c *askCmd) check() error {
	switch {
	case c.Wait <= 0 || c.Wait > askMost:
		return fmt.Errorf("--wait %v: must be more than 0 and at most %v, like 5s", c.Wait, askMost)
	case c.Retrieve && c.Ask != watchdog.AskStart.String():
		return fmt.Errorf("--retrieve goes with start alone, and not with %s", c.Ask)
	case len(c.By) > wire.NameMax:
		return fmt.Errorf("--by is %d bytes long, at most %d; give a name", len(c.By), wire.NameMax)
	case wire.Printable(c.By) != c.By:
		return fmt.Errorf("--by %s: holds a control character; give a plain name", wire.Printable(c.By))
	}
	return nil
}

// halts says whether it is a stop or a land that is asked for.
func (c *askCmd) halts() bool {
	return c.Ask == watchdog.AskStop.String() || c.Ask == watchdog.AskLand.String()
}

// Run puts one request to a running guard and waits for what becomes of it.
func (c *askCmd) Run(s *streams) error {
	if err := c.check(); err != nil {
		return err
	}
	site, err := config.Load(c.Site)
	if err != nil {
		return err
	}
	v, err := pickVehicle(site, c.Vehicle)
	if err != nil {
		return err
	}
	topics, err := wire.Topics(site.Broker.Prefix, v.Name)
	if err != nil {
		return err
	}
	key, err := sign.ReadKey(v.Signing.RequestFile)
	if err != nil && !c.halts() { // a halt is carried out without it
		return fmt.Errorf("%w; see [vehicle.signing]", err)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	inbox, err := link.NewInbox(link.Queue{Max: wire.StateMax})
	if err != nil {
		return err
	}
	client, err := connect(ctx, site, "pinfold-ask", []link.Sub{{Topic: topics.State, QoS: 1, Inbox: inbox}})
	if err != nil && c.halts() {
		return fmt.Errorf("%w. The %s was NOT sent: use the emergency stop if anything moves", err, c.Ask)
	}
	if err != nil {
		return err
	}
	defer client.Close(time.Second)
	ctx, cancel := context.WithTimeout(ctx, c.Wait)
	defer cancel()
	a := &asker{cmd: c, client: client, inbox: inbox, topic: topics.Request, sign: sign.New(key, topics.Request)}
	return a.run(ctx, s, guardsOf(site))
}

// guardsOf are the guards that a vehicle of the site needs permits of; none: of
// any one.
func guardsOf(site *config.Site) []string {
	if len(site.Fellows) == 0 {
		return nil
	}
	return append([]string{site.Guard}, site.Fellows...)
}

type asker struct {
	cmd    *askCmd
	client *link.Client
	inbox  *link.Inbox
	topic  string
	sign   *sign.Signer
	guard  string // the one that is asked and listened to; empty: whoever is there
}

// run asks every guard there is to be, one after the other, since each has a
// nonce of its own; a stop or a land all of them at once.
func (a *asker) run(ctx context.Context, s *streams, guards []string) error {
	if a.cmd.halts() { // whether or not a guard answers
		if err := a.publish(""); err != nil {
			return err
		}
	}
	if len(guards) == 0 {
		return a.one(ctx, s)
	}
	var failed error
	for _, a.guard = range guards {
		if err := a.one(ctx, s); err != nil && !a.cmd.halts() {
			return fmt.Errorf("guard %s: %w", a.guard, err)
		} else if err != nil && failed == nil {
			failed = fmt.Errorf("guard %s: %w", a.guard, err)
		}
	}
	return failed
}

// one asks one guard and waits for what becomes of it; a halt was asked already.
func (a *asker) one(ctx context.Context, s *streams) error {
	var nonce string
	if !a.cmd.halts() {
		st, err := a.state(ctx, func(*wire.State) bool { return true })
		if err != nil {
			return err
		}
		nonce = st.Nonce
		if a.guard == "" || !a.granted(st) {
			if err := a.publish(nonce); err != nil {
				return err
			}
		}
	}
	st, err := a.state(ctx, func(st *wire.State) bool { return a.done(st, nonce) })
	if err != nil {
		return err
	}
	if !a.granted(st) {
		return a.refused(st)
	}
	note := ""
	if a.cmd.Ask == watchdog.AskStop.String() && st.Level == watchdog.Land.String() {
		note = " (a land is latched already, and goes on)"
	}
	who := st.Vehicle
	if a.guard != "" {
		who += ", guard " + a.guard
	}
	fmt.Fprintf(s.out, "%s: %s%s\n", who, st.Level, note)
	return nil
}

// refused says what is in the way. What a retrieval lacks is not in the state,
// which is about the next plain act.
func (a *asker) refused(st *wire.State) error {
	lacks := strings.Join(st.Blocked, "; ")
	switch {
	case a.cmd.Retrieve && lacks == "":
		return found("start with --retrieve is not granted: there is nowhere to bring it back from, or nothing is predicted; ask start without --retrieve")
	case a.cmd.Retrieve:
		return found("start with --retrieve is not granted; the guard's own line says why. A plain act lacks: %s", lacks)
	case lacks == "":
		return found("%s is not granted; the guard's own line says why. Ask again", a.cmd.Ask)
	}
	return found("%s is not granted: %s", a.cmd.Ask, lacks)
}

func (a *asker) publish(nonce string) error {
	by := a.cmd.By
	if by == "" {
		if u, err := user.Current(); err == nil {
			by = u.Username
		}
	}
	r := wire.Request{Ask: a.cmd.Ask, By: by, Nonce: nonce, Retrieve: a.cmd.Retrieve, Guard: a.guard}
	return a.client.PublishNow(a.topic, a.sign.Sign(r.Append(nil)), 1, false, publishWait)
}

// granted says whether st shows what was asked for.
func (a *asker) granted(st *wire.State) bool {
	switch a.cmd.Ask {
	case "start":
		return st.Level != watchdog.Waiting.String() && st.Go
	case "reset":
		return st.Level == watchdog.Waiting.String() && len(st.Latched) == 0
	case "land":
		return st.Level == watchdog.Land.String() || st.Level == watchdog.Stop.String() // a rover's land is a stop
	}
	return st.Level == watchdog.Stop.String() || st.Level == watchdog.Land.String()
}

// done says whether st answers the request: it is granted, or the nonce was
// used up and the request does not wait for the disk any more.
func (a *asker) done(st *wire.State, nonce string) bool {
	return a.granted(st) || nonce != "" && st.Nonce != nonce && !waits(st)
}

// waits says whether the request waits for the disk.
func waits(st *wire.State) bool {
	return slices.ContainsFunc(st.Blocked, func(s string) bool { return strings.Contains(s, "waits for the disk") })
}

// state is the first state that wanted accepts. The retained one may be of a
// guard that is long gone: only one that is delivered live counts, and is a sign
// of life.
func (a *asker) state(ctx context.Context, wanted func(*wire.State) bool) (*wire.State, error) {
	var m link.Message
	var kept, live *wire.State
	for {
		for a.inbox.Take(&m) {
			st, err := wire.DecodeState(m.Payload)
			if err != nil {
				return nil, err
			}
			if a.guard != "" && st.Guard != a.guard {
				continue
			}
			if m.Retained {
				kept = &st
				continue
			}
			if live = &st; wanted(live) {
				return live, nil
			}
		}
		select {
		case <-a.inbox.Ready():
		case <-ctx.Done():
			return nil, a.silence(ctx, kept, live)
		}
	}
}

// silence says what it means that nothing wanted came: nobody is there, or
// somebody is who did not do it.
func (a *asker) silence(ctx context.Context, kept, live *wire.State) error {
	sent := ""
	if a.cmd.halts() {
		sent = ". The " + a.cmd.Ask + " was sent, and nobody is there to carry it out: use the emergency stop if anything moves"
	}
	switch {
	case errors.Is(ctx.Err(), context.Canceled):
		return found("given up")
	case live != nil:
		return found("no answer within %v; the vehicle's level is %s", a.cmd.Wait, live.Level)
	case kept != nil:
		return fmt.Errorf("no guard is at work: nothing came within %v. The last state retained is from %s, session %s, level %s%s", a.cmd.Wait, wallOf(kept), kept.Session, kept.Level, sent)
	}
	return fmt.Errorf("no guard shows a state on the broker within %v; is pinfold run at work for this site?%s", a.cmd.Wait, sent)
}

// wallOf is when st was sent, by its guard's wall clock, and how long ago.
func wallOf(st *wire.State) string {
	at, err := time.Parse(time.RFC3339, st.Wall)
	if err != nil {
		return "an unknown time"
	}
	return fmt.Sprintf("%s (%v ago by this machine's clock)", st.Wall, time.Since(at).Round(time.Second))
}
