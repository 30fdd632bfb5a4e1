package cli

import (
	"errors"
	"fmt"
	"io"

	"pinfold/config"
	"pinfold/watchdog/rehearse"
)

// pairFlags ask for two vehicles that are kept apart.
type pairFlags struct {
	Pair []string `sep:"," help:"Rehearse these two only, against each other: names as in [[vehicle]]; with --trace tell the run of --seed." placeholder:"A,B"`
}

// pair is the two that were asked for; empty where none were.
func (c *rehearseCmd) pair() (two [2]string, err error) {
	switch {
	case len(c.Pair) == 0:
		return two, nil
	case len(c.Pair) != len(two):
		return two, fmt.Errorf("--pair names %s; give two, like --pair wren,mole", count(len(c.Pair), "vehicle"))
	case c.Vehicle != "":
		return two, errors.New("--vehicle rehearses one, --pair two; give one of them")
	case c.Line != "":
		return two, errors.New("the runs of two vehicles are not bred: name theirs by --seed")
	}
	return [2]string(c.Pair), nil
}

// tracePair tells one run of two vehicles.
func (c *rehearseCmd) tracePair(out io.Writer, site *config.Site, two [2]string, broken rehearse.Break) error {
	src, err := rehearse.PairOf(site, two)
	if err != nil {
		return err
	}
	src.Break = broken
	fmt.Fprintf(out, "%s and %s, run %d\n", two[0], two[1], c.Seed)
	res, k, err := rehearse.RunPairSeed(src, c.Seed, rehearse.Options{Trace: out})
	if err != nil {
		return err
	}
	if k == nil || !res.Started {
		fmt.Fprintln(out, "  found no place for both to start from")
		return nil
	}
	fmt.Fprintf(out, "  %s\n", k)
	if res.Near || res.Left {
		return found("")
	}
	return nil
}

// printPair prints what came of two vehicles that are kept apart.
func printPair(out io.Writer, broken string, p *rehearse.Pair) {
	who := p.Names[0] + " and " + p.Names[1]
	fmt.Fprintln(out)
	printWrapped(out, fmt.Sprintf("%s, to be kept %.2f m apart: %d runs, %d with a stop for the other", who, p.Distance, p.Runs, p.Stops), "  ")
	if p.Void > 0 {
		printWrapped(out, fmt.Sprintf("  %s found no place for both to start from", count(p.Void, "draw")), "  ")
	}
	if p.Runs == 0 {
		printWrapped(out, "  NOTHING IS SHOWN: no run was made.", "  ")
		return
	}
	printWrapped(out, fmt.Sprintf("  %d came nearer than that, %d left the pen. The closest was run %d, with %.3f m between them.",
		p.Near, p.Left, p.Seed, p.Closest), "  ")
	switch {
	case !p.Met():
		printWrapped(out, "  NOTHING IS SHOWN of keeping apart: none was stopped for the other. Do their pens come near each other?", "  ")
	case p.Yields != "":
		printWrapped(out, fmt.Sprintf("  %s yields: of %d in which it drove it was stopped no later than the other in %d. Both were in %d. Half of the runs with a stop kept %.3f m more than they had to.",
			p.Yields, p.Led, p.First, p.Both, p.Spare), "  ")
	default:
		printWrapped(out, fmt.Sprintf("  Both were stopped in %d. Half of the runs with a stop kept %.3f m more than they had to.", p.Both, p.Spare), "  ")
	}
	for i := range p.Leaks[:min(len(p.Leaks), mostLeaks)] {
		printPairLeak(out, p, &p.Leaks[i])
	}
	if len(p.Leaks) > 0 {
		printWrapped(out, fmt.Sprintf("  See one: pinfold rehearse --site FILE --pair %s,%s%s --seed %d --trace", p.Names[0], p.Names[1], ifFlag(broken), p.Leaks[0].Seed), "    ")
	}
}

func printPairLeak(out io.Writer, p *rehearse.Pair, l *rehearse.PairResult) {
	if !l.Near {
		printWrapped(out, fmt.Sprintf("  LEAK: run %d, %s, one left its pen", l.Seed, l.Meeting), "    ")
		return
	}
	printWrapped(out, fmt.Sprintf("  LEAK: run %d, %s, %.3f m nearer than %.2f m", l.Seed, l.Meeting, l.Short, p.Distance), "    ")
}
