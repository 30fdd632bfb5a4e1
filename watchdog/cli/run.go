package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"pinfold/config"
	"pinfold/watchdog/app"
)

type runCmd struct {
	Site  string   `required:"" help:"Site file." placeholder:"FILE"`
	Trail string   `help:"Where the session's trail goes, instead of where the site file says." placeholder:"DIR"`
	Only  []string `name:"vehicle" help:"Guard this vehicle of the site and no other; give it again for more. Other guards may then take the rest." placeholder:"NAME"`
	Lock  bool     `name:"lock-memory" help:"Keep the guard's memory out of swap (mlockall); see systemd/realtime.conf."`
}

// Run guards the site until SIGTERM or SIGINT; SIGHUP reads the site file
// again.
func (c *runCmd) Run(s *streams) error {
	site, err := c.load()
	if err != nil {
		return err
	}
	if c.Lock {
		if err := lockMemory(); err != nil {
			return err
		}
	}
	journal := toJournal(s.err)
	fmt.Fprintf(journal(app.Note), "pinfold %s, site %q\n%s\nLocal rules: %s\n", Version, site.Name, Safety, site.LocalRules)
	for _, p := range site.Cautions {
		fmt.Fprintln(journal(app.Caution), "caution:", p)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	reload, unhook := onHangup(ctx)
	defer unhook()
	log := &lineLog{to: journal, print: newPrinter()}
	signal.Ignore(syscall.SIGPIPE) // a reader of the log that goes away must not end the guard
	res, err := app.Run(ctx, app.Options{Site: site, Version: Version, TrailDir: c.Trail, Say: log.say,
		Reload: reload, Load: c.load, Notify: serviceManager(),
		Console: app.Console{Safety: safetyLine(), Report: reportPage}})
	log.print.close()
	if res.Session.Folder != "" {
		fmt.Fprintf(journal(app.Note), "session %s ended; trail in %s\n", res.Session.ID, res.Session.Folder)
	}
	if res.Head != "" {
		fmt.Fprintf(journal(app.Note), "head %s\n", res.Head)
	}
	return err
}

// load reads the site file, and leaves in it the vehicles that are this guard's.
func (c *runCmd) load() (*config.Site, error) {
	site, err := config.Load(c.Site)
	if err != nil || len(c.Only) == 0 {
		return site, err
	}
	return site.Only(c.Only)
}

// onHangup turns SIGHUP into reloads.
func onHangup(ctx context.Context) (<-chan struct{}, func()) {
	sig := make(chan os.Signal, 1)
	out := make(chan struct{})
	signal.Notify(sig, syscall.SIGHUP)
	go func() {
		for {
			select {
			case <-ctx.Done():
				return
			case <-sig:
			}
			select {
			case out <- struct{}{}:
			case <-ctx.Done():
				return
			}
		}
	}()
	return out, func() { signal.Stop(sig) }
}

// lineLog prints what a person should read, a line each. It is called from
// several loops and does not hold them up: what cannot be printed soon enough is
// left out and counted.
type lineLog struct {
	to    func(app.Weight) io.Writer
	print *printer
}

func (l *lineLog) say(line app.Line) {
	l.print.post(func() {
		if n := l.print.leftOut(); n > 0 {
			fmt.Fprintf(l.to(app.Caution), "%d lines could not be printed in time and are left out; the trail has them\n", n)
		}
		fmt.Fprintln(l.to(line.Weight), format(line))
	})
}

// format is "   12.345 s  wren  stop  would have crossed ...".
func format(l app.Line) string {
	parts := []string{fmt.Sprintf("%9.3f s", l.At.Seconds())}
	for _, p := range []string{l.Vehicle, l.Level, l.Text} {
		if p != "" {
			parts = append(parts, p)
		}
	}
	return strings.Join(parts, "  ")
}

// manager tells systemd, by its notification socket.
type manager struct{ every time.Duration }

// serviceManager is nil where no service manager listens.
func serviceManager() app.Notifier {
	if os.Getenv("NOTIFY_SOCKET") == "" {
		return nil
	}
	every, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		every = 0
	}
	return manager{every}
}

func (m manager) send(state string) error {
	_, err := daemon.SdNotify(false, state)
	return err
}

func (m manager) Ready() error     { return m.send(daemon.SdNotifyReady) }
func (m manager) Stopping() error  { return m.send(daemon.SdNotifyStopping) }
func (m manager) Reloading() error { return m.send(daemon.SdNotifyReloading) }
func (m manager) Alive() error     { return m.send(daemon.SdNotifyWatchdog) }

func (m manager) Every() time.Duration { return m.every }
