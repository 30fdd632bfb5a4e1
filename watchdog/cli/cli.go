package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"

	"pinfold/watchdog/app"
	"pinfold/watchdog/link/wire"
)

// Version of the program; the build may set it.
var Version = "0.2.0"

// Exit statuses (DESIGN §5).
const (
	exitFine  = 0
	exitFound = 1
	exitError = 2
)

// Status is one of the program's exit statuses.
type Status struct {
	Code int
	Text string // what it means
}

// Statuses are all of them, for the manual.
func Statuses() []Status {
	return []Status{
		{exitFine, "Fine."},
		{exitFound, "It ran, and found something: a mistake in a site file, a breach, a request not granted, a trail that does not hold."},
		{exitError, "It could not run. What is printed last says why, where, and what to try."},
		{app.ExitPanic, "run: the judgement failed inside. Every vehicle was told to stop, and the trail says where. Under systemd it is started again, waiting."},
		{exitWriting, "verify: nothing was changed in what is there, and the session is still being written."},
		{exitUnsealed, "verify: nothing was changed in what is there, and it was never sealed, as after a power cut; a tail that was cut off shows only against --head."},
	}
}

// Safety is said at start-up, in the report and in the help.
const Safety = `Local aviation rules, the site's own rules and a hardware
emergency stop come first. Pinfold adds a layer; it is not a
certified safety function. Where in doubt, defer to
licensed practice.`

// safetyLine is Safety on one line.
func safetyLine() string { return strings.ReplaceAll(Safety, "\n", " ") }

// commands is the command line.
type commands struct {
	Demo     demoCmd     `cmd:"" help:"Show the whole job on two simulated vehicles, with a broker of its own."`
	Check    checkCmd    `cmd:"" help:"Judge a site file: every mistake, and what the declared stopping leaves."`
	Run      runCmd      `cmd:"" help:"Guard the vehicles of a site over its broker, until told to end."`
	Ask      askCmd      `cmd:"" help:"Ask a running guard for start, stop, land or reset."`
	Key      keyCmd      `cmd:"" help:"Make a key that messages are signed with, or print a key's fingerprint."`
	Relay    relayCmd    `cmd:"" help:"Hold a vehicle's permit and drive a GPIO line or a command by it."`
	Play     playCmd     `cmd:"" help:"Publish a recording as live pose."`
	Replay   replayCmd   `cmd:"" help:"Judge a recording or a session again, offline."`
	Verify   verifyCmd   `cmd:"" help:"Prove that nothing in a session's trail was changed."`
	Align    alignCmd    `cmd:"" help:"Tie the tracker to the room: on the pad, by marks; or measure its drift."`
	Trace    traceCmd    `cmd:"" help:"Walk along an edge with the tracker in hand: it becomes a zone."`
	Trust    trustCmd    `cmd:"" help:"Put every fault into recordings and tell what the trust in a pose notices."`
	Rehearse rehearseCmd `cmd:"" help:"Simulate the vehicles of a site: will they stop in time, with these numbers?"`
	Review   reviewCmd   `cmd:"" help:"Audit a session: what happened, why it stopped, and how it was answered."`

	ServeBroker brokerCmd `cmd:"" hidden:"" help:"Run a broker, for rehearse --faults."`

	Version kong.VersionFlag `help:"Print the version."`
}

// streams are where a command reads and writes.
type streams struct {
	in       io.Reader
	out, err io.Writer
}

// foundError is how a command says that it ran and found something: exit 1.
type foundError struct{ text string }

func (e *foundError) Error() string { return e.text }

// statusError is a finding that has an exit status of its own.
type statusError struct {
	status int
	text   string
}

func (e *statusError) Error() string { return e.text }

// saidError is an error that was said already.
type saidError struct{ error }

func (e *saidError) Unwrap() error { return e.error }

// found makes a foundError; an empty text is not printed, the command having
// said it all.
func found(format string, a ...any) error { return &foundError{fmt.Sprintf(format, a...)} }

// stopParse leaves kong's parser where it wants the process to end.
type stopParse struct{ code int }

// Model is the command line as it is defined, for the manual and a shell's
// completion.
func Model() (*kong.Application, error) {
	parser, err := newParser()
	if err != nil {
		return nil, err
	}
	return parser.Model, nil
}

func newParser(o ...kong.Option) (*kong.Kong, error) {
	return kong.New(&commands{}, append(o, kong.Name("pinfold"), kong.Vars{"version": Version},
		kong.Description("Pinfold keeps a small vehicle in its pen.\n\n"+Safety))...)
}

// Main runs the program with args (without its name) and returns its exit
// status.
func Main(args []string, in io.Reader, out, errw io.Writer) (code int) {
	defer func() {
		if p := recover(); p != nil {
			s, ok := p.(stopParse)
			if !ok {
				panic(p)
			}
			code = s.code
		}
	}()
	parser, err := newParser(kong.Writers(out, errw), kong.UsageOnError(), kong.Exit(func(code int) { panic(stopParse{code}) }))
	if err != nil {
		fmt.Fprintln(errw, "pinfold: the command line is broken inside:", err)
		return exitError
	}
	if len(args) == 0 {
		args = []string{"--help"}
	}
	ctx, err := parser.Parse(args)
	if err != nil {
		fmt.Fprintf(errw, "pinfold: %v\nNext: pinfold --help\n", err)
		return exitError
	}
	ctx.BindTo(in, (*io.Reader)(nil))
	return status(ctx.Run(&streams{in: in, out: out, err: errw}), toJournal(errw)(app.Failure))
}

// status prints err, if anything is left to print, and gives its exit status.
func status(err error, errw io.Writer) int {
	var f *foundError
	var own *statusError
	if said := (*saidError)(nil); errors.As(err, &said) {
		errw = io.Discard
	}
	switch {
	case err == nil:
		return exitFine
	case errors.As(err, &own):
		fmt.Fprintln(errw, printable(own.text))
		return own.status
	case errors.As(err, &f):
		if f.text != "" {
			fmt.Fprintln(errw, printable(f.text))
		}
		return exitFound
	case errors.Is(err, app.ErrPanic):
		fmt.Fprintln(errw, "pinfold:", err)
		return app.ExitPanic
	}
	fmt.Fprintln(errw, "pinfold:", printable(err.Error()))
	return exitError
}

// printable makes an error's text harmless for a terminal: it may repeat what
// came over the wire. Its own line breaks stay.
func printable(text string) string {
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		lines[i] = wire.Printable(l)
	}
	return strings.Join(lines, "\n")
}
