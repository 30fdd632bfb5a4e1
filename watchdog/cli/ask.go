package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"os/user"
	"strings"
	"syscall"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

type askCmd struct {
	Ask     string        `arg:"" enum:"start,stop,land,reset" help:"start, stop, land or reset."`
	Site    string        `required:"" help:"Site file: its broker and vehicles." placeholder:"FILE"`
	Vehicle string        `help:"Vehicle to ask for." placeholder:"NAME"`
	By      string        `help:"Who asks, for the trail." placeholder:"NAME"`
	Wait    time.Duration `default:"5s" help:"How long to wait for the guard's answer."`
}

// Run puts one request to a running guard and waits for what becomes of it.
func (c *askCmd) Run(s *streams) error {
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
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	inbox, err := link.NewInbox(link.Queue{Max: wire.StateMax})
	if err != nil {
		return err
	}
	client, err := connect(ctx, site, "pinfold-ask", []link.Sub{{Topic: topics.State, QoS: 1, Inbox: inbox}})
	if err != nil {
		return err
	}
	defer client.Close(time.Second)
	ctx, cancel := context.WithTimeout(ctx, c.Wait)
	defer cancel()
	a := &asker{cmd: c, client: client, inbox: inbox, topic: topics.Request}
	return a.run(ctx, s)
}

type asker struct {
	cmd    *askCmd
	client *link.Client
	inbox  *link.Inbox
	topic  string
}

func (a *asker) run(ctx context.Context, s *streams) error {
	halt := a.cmd.Ask == watchdog.AskStop.String() || a.cmd.Ask == watchdog.AskLand.String()
	var nonce string
	if halt { // at once, and whether or not a guard answers
		if err := a.publish(""); err != nil {
			return err
		}
	} else {
		st, err := a.state(ctx, func(*wire.State) bool { return true })
		if err != nil {
			return err
		}
		nonce = st.Nonce
		if err := a.publish(nonce); err != nil {
			return err
		}
	}
	st, err := a.state(ctx, func(st *wire.State) bool { return a.done(st, nonce) })
	if err != nil {
		return err
	}
	if !a.granted(st) {
		return found("%s is not granted: %s", a.cmd.Ask, strings.Join(st.Blocked, "; "))
	}
	fmt.Fprintf(s.out, "%s: %s\n", st.Vehicle, st.Level)
	return nil
}

func (a *asker) publish(nonce string) error {
	by := a.cmd.By
	if by == "" {
		if u, err := user.Current(); err == nil {
			by = u.Username
		}
	}
	r := wire.Request{Ask: a.cmd.Ask, By: by, Nonce: nonce}
	return a.client.PublishNow(a.topic, r.Append(nil), 1, false, publishWait)
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
// used up and something is in the way.
func (a *asker) done(st *wire.State, nonce string) bool {
	return a.granted(st) || nonce != "" && st.Nonce != nonce && len(st.Blocked) > 0 && !waits(st)
}

// waits says whether the request is only waiting for the disk.
func waits(st *wire.State) bool {
	return len(st.Blocked) == 1 && strings.Contains(st.Blocked[0], "waits for the disk")
}

// state is the first state that wanted accepts. The retained one may be of a
// guard that is long gone, so one that is delivered live must come too.
func (a *asker) state(ctx context.Context, wanted func(*wire.State) bool) (*wire.State, error) {
	var m link.Message
	seen := ""
	for {
		for a.inbox.Take(&m) {
			st, err := wire.DecodeState(m.Payload)
			if err != nil {
				return nil, err
			}
			seen = st.Level
			if !m.Retained && wanted(&st) {
				return &st, nil
			}
		}
		select {
		case <-a.inbox.Ready():
		case <-ctx.Done():
			if errors.Is(ctx.Err(), context.Canceled) {
				return nil, found("given up")
			}
			if seen == "" {
				return nil, fmt.Errorf("no guard shows a state on the broker within %v; is pinfold run at work for this site?", a.cmd.Wait)
			}
			return nil, found("no answer within %v; the vehicle's level is %s", a.cmd.Wait, seen)
		}
	}
}
