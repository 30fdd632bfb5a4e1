package cli

import (
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"pinfold/watchdog/trail"
)

type verifyCmd struct {
	Head *string `help:"Head that the trail must hold, as it was published in the state or printed at the end." placeholder:"HEX"`
	Key  *string `help:"Public key that must have sealed it, or the file of it." placeholder:"FILE|HEX"`
	JSON bool    `name:"json" help:"Print one JSON document."`
	Path string  `arg:"" name:"folder" help:"Folder of one session; or of a trail: all its sessions, and whether one of them was taken away."`
}

// Help says what the exit statuses mean.
func (c *verifyCmd) Help() string {
	return `Exit status: 0 nothing was changed: it is sealed, or it holds the head
given by --head; 1 something was changed, or the head or the key is
another; 2 could not run; 4 nothing was changed in what is here, and
it is still being written; 5 nothing was changed in what is here, and
it was never sealed: a cut tail cannot be told without the head.

A seal proves who closed the session only where --key names the key:
without it any key does.

Of a trail's folder, each session is proved, and that none was taken
away without a session that says so; the newest taken away whole
shows only by --head. A session without a seal counts as sealed where
the next one names its end.`
}

// Exit statuses of verify beside 0, 1 and 2.
const (
	exitWriting  = 4 // not sealed yet: still being written
	exitUnsealed = 5 // never sealed, and no head given
)

// headDigits is how long a head is, in hex digits (SHA-256).
const headDigits = 64

// Run proves a session's trail, or says what is wrong with it, where and since
// when.
func (c *verifyCmd) Run(s *streams) error {
	head, key, err := c.demands()
	if err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(c.Path, "events.jsonl")); err != nil {
		if list, e := trail.List(c.Path); e == nil && len(list) > 0 {
			return c.whole(s, head, key)
		}
		return fmt.Errorf("%w; name the folder of one session, as run and demo print it, or of a whole trail", err)
	}
	r, err := trail.Verify(c.Path, head)
	if err != nil {
		return err
	}
	if key != "" {
		r.DemandKey(key)
	}
	if c.JSON {
		if err := printJSON(s.out, r); err != nil {
			return err
		}
	} else {
		c.print(s, r)
	}
	return verdict(r)
}

// demands reads --head and --key.
func (c *verifyCmd) demands() (head, key string, err error) {
	if c.Head != nil {
		head = strings.ToLower(strings.TrimSpace(*c.Head))
		if b, err := hex.DecodeString(head); err != nil || 2*len(b) != headDigits {
			return "", "", fmt.Errorf("--head %q: is no head; give the %d hex digits that run prints at its end, or that the state has as trail", *c.Head, headDigits)
		}
	}
	if c.Key != nil {
		if key, err = trail.ReadPublic(*c.Key); err != nil {
			return "", "", fmt.Errorf("--%w", err)
		}
	}
	return head, key, nil
}

// verdict turns a report into the exit status.
func verdict(r *trail.Report) error {
	switch {
	case r.TornOnly():
		return &statusError{exitUnsealed, "not sealed, and torn in its last line, as after a power cut or on a full disk: nothing was changed before that; a cut tail cannot be told without the head"}
	case !r.OK():
		return found("the trail does not hold")
	case r.Sealed || r.HeadAt > 0:
		return nil
	case r.Writing:
		return &statusError{exitWriting, "not sealed yet: the session is still being written; verify it again when it has ended, or give --head"}
	}
	return &statusError{exitUnsealed, "not sealed: a cut tail cannot be told without the head; give --head"}
}

// print prints the report; what a trail says of itself may be anything.
func (c *verifyCmd) print(s *streams, r *trail.Report) {
	var b strings.Builder
	fmt.Fprintf(&b, "session %s\n%d lines, %d frames with %d messages, %d files\n",
		r.Session, r.Lines, r.Frames, r.Items, r.Files)
	switch {
	case r.Sealed:
		fmt.Fprintf(&b, "sealed by key %s\n", r.Public)
	case r.Writing:
		fmt.Fprintln(&b, "NOT SEALED: it is still being written")
	default:
		fmt.Fprintln(&b, "NOT SEALED: the session was not closed in good order, or its end was cut off")
	}
	fmt.Fprintf(&b, "head %s\n", r.Head)
	for _, x := range r.Signed {
		fmt.Fprintf(&b, "line %d: a signed record about %s of %s; its signature holds\n", x.Line, x.About, x.Vehicle)
	}
	for _, n := range r.Notes {
		fmt.Fprintln(&b, "note:", n)
	}
	for _, p := range r.Problems {
		fmt.Fprintf(&b, "%s: %s\n", placeOf(&p), p.What)
	}
	if r.Count > len(r.Problems) {
		fmt.Fprintf(&b, "and %d more\n", r.Count-len(r.Problems))
	}
	switch {
	case !r.OK():
	case r.Sealed:
		fmt.Fprintln(&b, "nothing was changed")
	case r.HeadAt > 0:
		fmt.Fprintf(&b, "nothing was changed or cut off up to the head, which is line %d of %d; whether something followed the last line, only a later head can tell\n", r.HeadAt, r.Lines)
	default:
		fmt.Fprintln(&b, "nothing was changed in what is here; whether something followed, only a published head can tell (--head)")
	}
	fmt.Fprint(s.out, printable(b.String()))
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
