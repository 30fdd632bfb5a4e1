package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"pinfold/sim/broker"
	"pinfold/sim/faults"
	"pinfold/watchdog"
	"pinfold/watchdog/link/brokerproc"
)

// faultFlags are those of rehearse --faults.
type faultFlags struct {
	Faults bool   `help:"Have every fault happen to a simulated vehicle of the demo's site: from the fault to motors cut, with this program as the guard; takes no --site."`
	Fault  string `help:"With --faults: only those with this in their name." placeholder:"NAME"`
}

// maxFaultRuns bounds the runs of one fault.
const maxFaultRuns = 10_000

// A world takes some seconds, most of which its vehicles need to come to speed and
// to rest: so many of them at once, and so many worlds, do not hold up one another
// on two cores.
const (
	faultFleet  = 10
	faultWorlds = 4
)

// faultsDoc is what rehearse --faults --json prints.
type faultsDoc struct {
	*faults.Report
	OK     bool   `json:"ok"`
	Safety string `json:"safety"`
}

// faults has every fault happen, and prints the table of docs/faults.md.
func (c *rehearseCmd) faults(s *streams) error {
	runs := c.runs(1)
	if runs < 1 || runs > maxFaultRuns {
		return fmt.Errorf("--runs=%d; give 1 to %d of each fault", runs, maxFaultRuns)
	}
	program, err := os.Executable()
	if err != nil {
		return err
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	p := faults.Plan{Setting: faults.Setting{Program: program, Embedded: brokerproc.Find() == ""}, Valid: watchdog.DefaultTiming().PermitValid,
		Runs: runs, Only: c.Fault, Fleet: faultFleet, Parallel: faultWorlds}
	p.Each = func(r *faults.Row, said string) { fmt.Fprintf(s.err, "%s, %s: %s\n", r.Name, r.Vehicle, said) }
	rep, err := faults.Run(ctx, p)
	if errors.Is(err, context.Canceled) {
		return fmt.Errorf("the rehearsal was broken off: nothing is shown by it")
	}
	if err != nil {
		return err
	}
	if c.JSON {
		err = printJSON(s.out, &faultsDoc{rep, rep.OK(), safetyLine()})
	} else {
		printFaults(s.out, rep)
	}
	if err == nil && !rep.OK() {
		return found("")
	}
	return err
}

// printFaults prints the table as docs/faults.md has it.
func printFaults(out io.Writer, rep *faults.Report) {
	fmt.Fprintf(out, "Broker: %s. Guard: this program, a process of its own.\n\n%s", rep.Broker, faultTable(rep))
	for i := range rep.Rows {
		x := &rep.Rows[i]
		for _, w := range x.Wrong {
			printWrapped(out, fmt.Sprintf("%s, %s: %s", x.Fault, x.Vehicle, w), "  ")
		}
		if x.Runs < rep.Runs {
			printWrapped(out, fmt.Sprintf("%s, %s: NOT MEASURED as often as asked for: the machine itself disturbed %d", x.Fault, x.Vehicle, x.Disturbed), "  ")
		}
	}
	if rep.OK() {
		fmt.Fprintln(out, "\nEvery vehicle's motors were cut within the bound, and it came\nto rest in its pen.")
	} else {
		fmt.Fprintln(out, "\nNOT WITHIN THE BOUND, or not measured: see above.")
	}
	fmt.Fprintln(out, Safety)
}

func faultTable(rep *faults.Report) string {
	text := "| fault | vehicle | runs | median ms | worst ms | bound ms | over |\n|---|---|---|---|---|---|---|\n"
	for i := range rep.Rows {
		x := &rep.Rows[i]
		text += fmt.Sprintf("| %s | %s | %d | %.0f | %.0f | %.0f | %d |\n", x.Fault, x.Vehicle, x.Runs, x.Median, x.Worst, x.Bound, x.Over)
	}
	return text
}

// brokerCmd is what rehearse --faults runs where there is no mosquitto: a broker
// that can be killed without the rest.
type brokerCmd struct {
	Addr string `arg:"" help:"Address and port to listen on; a loopback one."`
}

// Run serves until it is killed.
func (c *brokerCmd) Run(*streams) error {
	b, err := broker.Start(c.Addr)
	if err != nil {
		return err
	}
	defer b.Close()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	<-ctx.Done()
	return nil
}
