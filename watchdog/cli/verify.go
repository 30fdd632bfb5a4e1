package cli

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"pinfold/watchdog/trail"
)

type verifyCmd struct {
	Head string `help:"Head that the trail must hold, as it was published or printed." placeholder:"HEX"`
	JSON bool   `name:"json" help:"Print one JSON document."`
	Path string `arg:"" name:"folder" help:"Folder of one session."`
}

// Run proves a session's trail, or says what is wrong with it, where and since
// when.
func (c *verifyCmd) Run(s *streams) error {
	if _, err := os.Stat(filepath.Join(c.Path, "events.jsonl")); err != nil {
		return fmt.Errorf("%w; name the folder of one session, as run and demo print it", err)
	}
	r, err := trail.Verify(c.Path, c.Head)
	if err != nil {
		return err
	}
	if c.JSON {
		if err := printJSON(s.out, r); err != nil {
			return err
		}
	} else {
		c.print(s, r)
	}
	if !r.OK() {
		return found("the trail does not hold")
	}
	return nil
}

func (c *verifyCmd) print(s *streams, r *trail.Report) {
	fmt.Fprintf(s.out, "session %s\n%d lines, %d frames with %d messages, %d files\n",
		r.Session, r.Lines, r.Frames, r.Items, r.Files)
	if r.Sealed {
		fmt.Fprintf(s.out, "sealed by key %s\n", r.Public)
	} else {
		fmt.Fprintln(s.out, "NOT SEALED: the session was not closed in good order, or its end was cut off")
	}
	fmt.Fprintf(s.out, "head %s\n", r.Head)
	for _, n := range r.Notes {
		fmt.Fprintln(s.out, "note:", n)
	}
	for _, p := range r.Problems {
		fmt.Fprintf(s.out, "%s: %s\n", placeOf(&p), p.What)
	}
	if r.Count > len(r.Problems) {
		fmt.Fprintf(s.out, "and %d more\n", r.Count-len(r.Problems))
	}
	if r.OK() {
		if r.Sealed {
			fmt.Fprintln(s.out, "nothing was changed")
		} else {
			fmt.Fprintln(s.out, "nothing was changed in what is here; whether something followed, only a published head can tell (--head)")
		}
	}
}

func placeOf(p *trail.Problem) string {
	at := p.File
	if p.Line > 0 {
		at += fmt.Sprintf(":%d", p.Line)
	}
	if p.Frame >= 0 {
		at += fmt.Sprintf(", frame %d", p.Frame)
	}
	at += fmt.Sprintf(", byte %d, since %.3f s", p.Offset, p.Since.Seconds())
	if !p.Wall.IsZero() {
		at += " (" + p.Wall.UTC().Format(time.RFC3339) + ")"
	}
	return at
}
