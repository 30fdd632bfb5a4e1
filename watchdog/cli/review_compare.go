package cli

import (
	"fmt"
	"io"

	"pinfold/watchdog/review"
)

// compare lays several sessions side by side.
func (c *reviewCmd) compare(s *streams) error {
	all, err := c.audits(s)
	if err != nil {
		return err
	}
	rows := review.Compare(all)
	if c.JSON {
		err = printJSON(s.out, rows)
	} else {
		printCompared(s.out, rows)
	}
	if err != nil {
		return err
	}
	for _, rep := range all {
		if !rep.Integrity.OK || !rep.Integrity.Same || rep.Outside() {
			return found("")
		}
	}
	return nil
}

func printCompared(out io.Writer, rows []review.Compared) {
	fmt.Fprintf(out, "%s\n\n", Safety)
	t := newTable("", "vehicle", "s", "stops", "caut.", "room m", "react. ms", "trail")
	last, n := "", 0
	var named []string
	for i := range rows {
		r := &rows[i]
		if r.Folder != last || i == 0 {
			n++
			named = append(named, fmt.Sprintf("%d: %s, %s", n, r.Started.UTC().Format("2006-01-02 15:04"), r.Folder))
		}
		last = r.Folder
		room, react := "-", fmt.Sprintf("-/%.0f", 1000*r.Declared)
		if r.Least >= 0 {
			room = fmt.Sprintf("%.2f", r.Least)
		}
		if r.Reaction >= 0 {
			react = fmt.Sprintf("%.0f/%.0f", 1000*r.Reaction, 1000*r.Declared)
		}
		if r.Brave {
			react += "!"
		}
		name := []rune(r.Vehicle)
		t.row(fmt.Sprint(n), printable(string(name[:min(len(name), 10)])), fmt.Sprintf("%.0f", r.Duration), fmt.Sprint(r.Stops),
			fmt.Sprint(r.Cautions), room, react, r.Integrity)
	}
	t.print(out)
	fmt.Fprintln(out)
	printWrapped(out, "caut.: stretches at caution. room: the smallest left before a stop, without approaches that ended in one. react.: the slowest measured of what is declared; ! is slower.", "  ")
	for _, l := range named {
		printWrapped(out, l, "   ")
	}
}
