package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/app"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/relay"
)

type relayCmd struct {
	Site      string `required:"" help:"Site file; its broker and the vehicle's kind are used." placeholder:"FILE"`
	Vehicle   string `help:"Whose permit to hold; may be left out where the site has one vehicle." placeholder:"NAME"`
	GPIO      string `name:"gpio" xor:"output" help:"Drive this line while there is a permit, such as /dev/gpiochip0:17." placeholder:"CHIP:LINE"`
	ActiveLow bool   `help:"The line's active state is low."`
	Pulse     bool   `help:"Toggle the line every 5 ms while there is a permit instead of holding it, for a circuit that the edges keep alive."`
	Feed      string `xor:"output" help:"Keep this command running and write go or halt to it every 50 ms; the end of its input means halt." placeholder:"COMMAND"`
	OnChange  string `name:"run" xor:"output" help:"Run this command with go or halt on every change. A relay that is dead runs none: for indication only." placeholder:"COMMAND"`
	Clock     string `enum:"monotonic,boottime,realtime" default:"monotonic" help:"Clock of this machine that stamps the tracker's poses: ${enum}."`
	User      string `help:"User at the broker, instead of the guard's." placeholder:"NAME"`
	Password  string `name:"password-file" help:"File with that user's password." placeholder:"FILE"`
	Key       string `name:"key-file" help:"File of the vehicle's key, instead of the one that the site file names." placeholder:"FILE"`
}

// Run holds the vehicle's permit and drives the output until SIGTERM or SIGINT.
func (c *relayCmd) Run(s *streams) error {
	site, v, err := c.load()
	if err != nil {
		return err
	}
	b := site.Broker
	if c.User != "" {
		b.User, b.PasswordFile = c.User, c.Password
	}
	l, err := app.LinkOptions(&b)
	if err != nil {
		return err
	}
	if c.Key == "" {
		c.Key = v.Signing.KeyFile
	}
	key, err := sign.ReadKey(c.Key)
	if err != nil {
		return fmt.Errorf("%w; see key_file in [vehicle.signing], and --key-file", err)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	begun, print, log := time.Now(), newPrinter(), newLogger("text", s.err)
	defer print.close()
	say := func(text string) {
		print.post(func() {
			logLine(log, app.Line{At: time.Since(begun), Vehicle: v.Name, Text: text})
		})
	}
	clock, err := relay.Clock(c.Clock)
	if err != nil {
		return err
	}
	out, err := c.output(s, say)
	if err != nil {
		return err
	}
	fmt.Fprintf(s.err, "pinfold %s, relay of %s\n%s\n", Version, v.Name, Safety)
	lost := receiver.Stop
	if v.Config.Kind == watchdog.Multirotor {
		lost = receiver.Land
	}
	return relay.Run(ctx, relay.Options{Prefix: b.Prefix, Vehicle: v.Name, Guards: guardsOf(site), Key: key, Link: l, Lost: lost,
		Output: out, Clock: clock, Say: say, Beat: beats()})
}

// load reads the site file and finds the vehicle in it.
func (c *relayCmd) load() (*config.Site, *config.Vehicle, error) {
	if c.GPIO == "" && c.Feed == "" && c.OnChange == "" {
		return nil, nil, errors.New("no output; give --gpio, --feed or --run")
	}
	if c.GPIO == "" && (c.ActiveLow || c.Pulse) {
		return nil, nil, errors.New("--active-low and --pulse are about a GPIO line; give --gpio, or leave them out")
	}
	if c.Password != "" && c.User == "" {
		return nil, nil, errors.New("--password-file goes with --user; give both")
	}
	site, err := config.Load(c.Site)
	if err != nil {
		return nil, nil, err
	}
	v, err := pickVehicle(site, c.Vehicle)
	return site, v, err
}

func (c *relayCmd) output(s *streams, say func(string)) (relay.Output, error) {
	switch {
	case c.GPIO != "":
		return relay.NewGPIO(c.GPIO, c.ActiveLow, c.Pulse)
	case c.Feed != "":
		return relay.NewFeed(c.Feed, s.err)
	}
	say("caution: with --run a relay that is killed or stopped halts nothing; use --feed or --gpio where the vehicle's halt depends on it")
	return relay.NewCommand(c.OnChange, s.err, say), nil
}

// beats tells the service manager that the relay goes on, from its own loop, and
// once that it is ready.
func beats() func() {
	n := serviceManager()
	if n == nil {
		return nil
	}
	every, last, ready := n.Every()/3, time.Time{}, false
	return func() {
		if !ready {
			ready = n.Ready() == nil
		}
		if now := time.Now(); every > 0 && now.Sub(last) >= every {
			last = now
			_ = n.Alive() // a manager that does not hear ends the relay, and the kernel halts
		}
	}
}
