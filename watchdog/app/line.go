package app

import (
	"strings"

	"pinfold/watchdog"
)

// lineOf is what a person should read about a record; ok is false for most.
func lineOf(r *watchdog.Record) (l Line, ok bool) {
	l.At = r.At
	switch b := r.Body.(type) {
	case watchdog.LevelChange:
		l.Level, l.Text = b.To, levelText(&b)
	case watchdog.FaultSeen:
		l.Text = "message refused: " + strings.Join(nonEmpty(b.Kind, b.Field, b.Detail), " ") + " (each kind is said once)"
	case watchdog.LinkChange:
		if !b.Up || b.What == "broker" { // said where it is noticed, with the reason
			return l, false
		}
		l.Text = b.What + " back"
	case watchdog.RequestHeard:
		if b.Outcome == "accepted" {
			return l, false
		}
		l.Text = b.Ask + " asked by " + orUnknown(b.By) + ": " + b.Outcome
		if len(b.Why) > 0 {
			l.Text += ": " + strings.Join(b.Why, "; ")
		}
	default:
		return l, false
	}
	return l, true
}

func levelText(b *watchdog.LevelChange) string {
	switch {
	case b.Cause != nil && b.Cause.Text != "":
		return b.Cause.Text
	case b.By != "":
		return "by " + b.By
	}
	return "nothing near a limit"
}

func orUnknown(by string) string {
	if by == "" {
		return "somebody"
	}
	return by
}

func nonEmpty(in ...string) (out []string) {
	for _, s := range in {
		if s != "" {
			out = append(out, s)
		}
	}
	return out
}
