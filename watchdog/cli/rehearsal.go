package cli

import (
	"fmt"
	"io"
	"strconv"
	"time"

	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/rehearse"
)

// printRehearsal prints what came of a rehearsal, in lines that 60 columns show.
func printRehearsal(out io.Writer, r *rehearse.Report, took time.Duration) {
	printWrapped(out, fmt.Sprintf("Rehearsal of %q: %s, simulated. Seeds from %d on, %.1f h of driving in %.0f s.",
		r.Site, subjects(r), r.Seed, r.Driven/3600, took.Seconds()), "")
	if r.If != "" {
		printWrapped(out, "NOT AS DECLARED: "+r.IfName+", throughout (--if "+r.If+").", "")
	}
	for i := range r.Vehicles {
		printRehearsed(out, r, &r.Vehicles[i])
	}
	for i := range r.Pairs {
		printPair(out, r.If, &r.Pairs[i])
	}
	fmt.Fprintln(out)
	printWrapped(out, r.Verdict(), "")
	fmt.Fprintln(out, Safety)
}

// subjects says what was rehearsed.
func subjects(r *rehearse.Report) string {
	switch {
	case len(r.Pairs) == 0:
		return count(len(r.Vehicles), "vehicle")
	case len(r.Vehicles) == 0:
		return count(len(r.Pairs), "pair")
	}
	return count(len(r.Vehicles), "vehicle") + ", " + count(len(r.Pairs), "pair")
}

func printRehearsed(out io.Writer, r *rehearse.Report, v *rehearse.Vehicle) {
	o := &v.Outcome
	fmt.Fprintf(out, "\n%s, %s: %d runs, %d stops\n", wire.Printable(v.Name), v.Kind, o.Runs, o.Stops)
	printWrapped(out, fmt.Sprintf("  %d left the pen, %d beyond a limit, %d at rest within the margin of %.2f m. %d of the runs were bred from the worst.",
		o.Left, o.Over, o.Short, v.Margin, o.Bred), "  ")
	if o.Void > 0 {
		fmt.Fprintf(out, "  %s found no place to start from\n", count(o.Void, "draw"))
	}
	if v.Acceleration == 0 {
		printWrapped(out, "  No acceleration is declared: the vehicle was driven at constant velocity.", "  ")
	}
	printEdges(out, v.Edges)
	d, k := &v.Room.Declared, &v.Room.Worst
	printWrapped(out, fmt.Sprintf("  Room left at rest beyond the margin: median %.3f m, 95 %% below %.3f m where it stops just as "+
		"declared; median %.3f m, 95 %% below %.3f m where every error is at its worst as well.", d.Median, d.Most, k.Median, k.Most), "  ")
	if o.Run != "" {
		printWrapped(out, fmt.Sprintf("  The closest was run %s, with %.3f m.", o.Run, o.Closest), "  ")
	}
	printLeaks(out, r.If, v)
	printWhatIfs(out, v)
}

// mostLeaks is how many leaks are printed; --json and --html have more.
const mostLeaks = 5

// printLeaks names the first leaks, and how to see one.
func printLeaks(out io.Writer, broken string, v *rehearse.Vehicle) {
	if len(v.Leaks) == 0 {
		return
	}
	for i := range v.Leaks[:min(len(v.Leaks), mostLeaks)] {
		l := &v.Leaks[i]
		printWrapped(out, fmt.Sprintf("  LEAK: run %s, outside by %.3f m", l.Run, max(l.Depth, l.Over)), "    ")
	}
	if n := v.Outcome.Left + v.Outcome.Over; n > mostLeaks {
		fmt.Fprintf(out, "  and more, %d in all; --json and --html name more\n", n)
	}
	printWrapped(out, "  See one: pinfold rehearse --site FILE --vehicle "+v.Name+ifFlag(broken)+" --run "+string(v.Leaks[0].Run)+" --trace", "    ")
}

// ifFlag is what makes a run of a rehearsal with a broken declaration again.
func ifFlag(word string) string {
	if word == "" {
		return ""
	}
	return " --if " + word
}

// printEdges prints what came of every edge and limit.
func printEdges(out io.Writer, edges []rehearse.Edge) {
	t := newTable("  nearest at rest", "runs", "closest", "left", "short")
	for i := range edges {
		e := &edges[i]
		closest := metre(e.Closest)
		if e.Runs == 0 {
			closest = "not seen"
		}
		t.row("  "+shortened(wire.Printable(e.Name), 28), strconv.Itoa(e.Runs), closest, strconv.Itoa(e.Left), strconv.Itoa(e.Short))
	}
	t.print(out)
}

func metre(x float64) string { return fmt.Sprintf("%.3f m", x) }

// shortened is a name of at most n characters.
func shortened(name string, n int) string {
	r := []rune(name)
	if len(r) <= n {
		return name
	}
	return string(r[:n/2-1]) + "…" + string(r[len(r)-n+n/2:])
}

// printWhatIfs prints what would come of it if a declaration did not hold.
func printWhatIfs(out io.Writer, v *rehearse.Vehicle) {
	if len(v.WhatIf) == 0 {
		return
	}
	fmt.Fprintf(out, "  What if a declaration did not hold? %d runs each:\n", v.WhatIf[0].Outcome.Runs)
	t := newTable(" what if", "left", "short", "first", "closest")
	for i := range v.WhatIf {
		x := &v.WhatIf[i]
		o, first := &x.Outcome, "-"
		if o.After > 0 {
			first = strconv.Itoa(o.After)
		}
		t.row(" "+x.Break, strconv.Itoa(o.Left+o.Over), strconv.Itoa(o.Short), first, metre(o.Closest))
	}
	t.print(out)
	printWrapped(out, "  left: left the pen or exceeded a limit; short: at rest within the margin; first: the how manieth run was the first to leave.", "  ")
	if w := v.Weak; w != nil {
		printWrapped(out, fmt.Sprintf("  The number to measure first: %s (%s costs up to %.2f m).", w.Key, w.Break, w.Lost), "  ")
	}
}
