package cli

import (
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"pinfold/watchdog/rehearse"
)

// printRehearsal prints what came of a rehearsal.
func printRehearsal(out io.Writer, r *rehearse.Report, took time.Duration) {
	fmt.Fprintf(out, "Rehearsal of %q: %s, simulated. Seeds from %d on, %.1f h of driving in %.0f s.\n",
		r.Site, count(len(r.Vehicles), "vehicle"), r.Seed, r.Driven/3600, took.Seconds())
	for i := range r.Vehicles {
		printRehearsed(out, &r.Vehicles[i])
	}
	if r.OK() {
		fmt.Fprintln(out, "\nAs declared, everything stopped in time. It holds as far as the declared numbers do.")
	} else {
		fmt.Fprintln(out, "\nNOT CONTAINED: see above.")
	}
	fmt.Fprintln(out, Safety)
}

func printRehearsed(out io.Writer, v *rehearse.Vehicle) {
	o := &v.Outcome
	fmt.Fprintf(out, "\n%s, %s: %d runs, %d stops; %d left the pen, %d beyond a limit, %d at rest within the margin of %.2f m\n",
		v.Name, v.Kind, o.Runs, o.Stops, o.Left, o.Over, o.Short, v.Margin)
	if o.Void > 0 {
		fmt.Fprintf(out, "  %s found no place to start from\n", count(o.Void, "seed"))
	}
	if v.Acceleration == 0 {
		fmt.Fprintln(out, "  No acceleration is declared: the vehicle was driven at constant velocity.")
	}
	w := tabwriter.NewWriter(out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  nearest at rest\truns\tclosest\tleft\tseed of the closest")
	for _, e := range v.Edges {
		fmt.Fprintf(w, "  %s\t%d\t%.3f m\t%d\t%s\n", e.Name, e.Runs, e.Closest, e.Left, e.Run)
	}
	_ = w.Flush() // out is what it is
	d, k := &v.Room.Declared, &v.Room.Worst
	fmt.Fprintf(out, "  Room left at rest beyond the margin: median %.3f m, 95 %% below %.3f m where it stops just as\n"+
		"  declared; median %.3f m, 95 %% below %.3f m where every error is at its worst as well.\n", d.Median, d.Most, k.Median, k.Most)
	for i := range v.Leaks {
		l := &v.Leaks[i]
		fmt.Fprintf(out, "  LEAK: run %s, outside by %.3f m; pinfold rehearse --site FILE --vehicle %s --run %s --trace\n", l.Run, max(l.Depth, l.Over), v.Name, l.Run)
	}
	printWhatIfs(out, v)
}

// printWhatIfs prints what would come of it if a declaration did not hold.
func printWhatIfs(out io.Writer, v *rehearse.Vehicle) {
	if len(v.WhatIf) == 0 {
		return
	}
	w := tabwriter.NewWriter(out, 2, 0, 2, ' ', 0)
	fmt.Fprintln(w, "  what if\truns\tleft\tover\twithin margin\tclosest\tfirst leak\tdeclared by")
	for i := range v.WhatIf {
		x := &v.WhatIf[i]
		o, first := &x.Outcome, "-"
		if o.After > 0 {
			first = "run " + string(o.Leak)
		}
		fmt.Fprintf(w, "  %s\t%d\t%d\t%d\t%d\t%.3f m\t%s\t%s\n", x.Break, o.Runs, o.Left, o.Over, o.Short, o.Closest, first, x.Key)
	}
	_ = w.Flush() // out is what it is
	if v.Weak != nil {
		fmt.Fprintf(out, "  The number to measure first: %s (%s costs up to %.2f m).\n", v.Weak.Key, v.Weak.Break, v.Weak.Lost)
	}
}
