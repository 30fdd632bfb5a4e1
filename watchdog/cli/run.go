package cli

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"runtime/debug"
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
	Only  []string `name:"vehicle" sep:"none" help:"Guard this vehicle of the site and no other; give it again for more. Other guards may then take the rest." placeholder:"NAME"`
	Log   string   `enum:"text,json" default:"text" help:"Lines for people to read, or JSON, one object a line: ${enum}. Under systemd, text goes into the journal with fields."`
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
	log := &lineLog{log: newLogger(c.Log, s.err), print: newPrinter()}
	for _, text := range []string{fmt.Sprintf("pinfold %s, site %q", Version, site.Name), c.safety(), "Local rules: " + site.LocalRules} {
		log.note(app.Note, text)
	}
	for _, p := range site.Cautions {
		log.note(app.Caution, "caution: "+p.String())
	}
	leaner()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	reload, unhook := onHangup(ctx)
	defer unhook()
	signal.Ignore(syscall.SIGPIPE) // a reader of the log that goes away must not end the guard
	res, err := app.Run(ctx, app.Options{Site: site, Version: Version, TrailDir: c.Trail, Say: log.say,
		Reload: reload, Load: c.load, Notify: serviceManager(),
		Console: app.Console{Safety: safetyLine(), Report: reportPage}})
	log.print.close()
	if res.Session.Folder != "" {
		log.note(app.Note, fmt.Sprintf("session %s ended; trail in %s", res.Session.ID, res.Session.Folder))
	}
	if res.Head != "" {
		log.note(app.Note, "head "+res.Head)
	}
	if err != nil && c.Log == "json" {
		log.note(app.Failure, printable(err.Error()))
		return &saidError{err}
	}
	return err
}

// safety is the words that come first: as they are read, or as one line of JSON.
func (c *runCmd) safety() string {
	if c.Log == "json" {
		return safetyLine()
	}
	return Safety
}

// leaner gives back what loading took (the zones' maps and rasters), and has the
// collector run earlier than it would by itself: the guard makes little garbage and
// shares its board with others. GOGC still says otherwise.
func leaner() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50)
	}
	debug.FreeOSMemory()
}

// load reads the site file, and leaves in it the vehicles that are this guard's.
func (c *runCmd) load() (*config.Site, error) {
	site, err := config.Load(c.Site)
	if err != nil || len(c.Only) == 0 {
		return site, err
	}
	// An empty name, as of a variable that is not set, is none, and not all.
	return site.Only(strings.Split(strings.Join(c.Only, ","), ","))
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
