package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"pinfold/watchdog/review"
)

// export writes one session into a file for other tools.
func (c *reviewCmd) export(s *streams, folder string) error {
	if c.Out == "" {
		return errors.New("where to? Give --out FILE")
	}
	var x *review.Exported
	err := writeWhole(c.Out, "--out", c.Replace, func(w io.Writer) (err error) {
		x, err = review.Export(folder, c.Vehicle, review.Format(c.Export), strings.ReplaceAll(Safety, "\n", " "), w)
		return err
	})
	if err != nil {
		return err
	}
	if c.JSON {
		err = printJSON(s.out, x)
	} else {
		printWrapped(s.out, fmt.Sprintf("%s: %s of %s", c.Out, count(int(x.Poses), "judged pose"), strings.Join(x.Vehicles, ", ")), "  ")
		if x.Format == review.GeoJSON {
			fmt.Fprintln(s.out, count(x.Episodes, "episode"))
		}
		if x.Void > 0 {
			printWrapped(s.out, count(int(x.Void), "pose")+" left out: the tracker was not tied to the room", "  ")
		}
	}
	if err == nil && !x.Same {
		return found("written as judged now; the core did not come to the decisions in the trail: %s", x.First)
	}
	if err == nil {
		err = holds(x.Problem)
	}
	return err
}
