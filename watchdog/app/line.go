package app

import (
	"strings"

	"pinfold/watchdog"
	"pinfold/watchdog/console"
	"pinfold/watchdog/link/wire"
)

// tell hands a line to whoever reads. Whatever came from outside is made
// printable here, once more, and bounded: a line is one line, however it came
// about.
func (o *Options) tell(l Line) {
	if o.Say == nil && o.page == nil {
		return
	}
	l.Vehicle, l.Level, l.Text = wire.Printable(l.Vehicle), wire.Printable(l.Level), wire.Printable(l.Text)
	if len(l.Text) > MaxLine {
		l.Text = strings.ToValidUTF8(l.Text[:MaxLine], "") + " … (the trail has the rest)"
	}
	o.page.Line(console.Line{At: l.At.Seconds(), Vehicle: l.Vehicle, Level: l.Level, Text: l.Text})
	if o.Say != nil {
		o.Say(l)
	}
}

// MaxLine bounds the text of a line, in bytes.
const MaxLine = 2000

// lineOf is what a person should read about a record that was made at level; ok
// is false for most.
func lineOf(r *watchdog.Record, level watchdog.Level) (l Line, ok bool) {
	l.At = r.At
	switch b := r.Body.(type) {
	case watchdog.LevelChange:
		l.Level, l.Text, l.Weight = b.To, levelText(&b), weightOf(b.To)
	case watchdog.FaultSeen:
		l.Weight, l.Text = Caution, "message refused: "+strings.Join(nonEmpty(b.Kind, b.Field, b.Detail), " ")+" (each kind is said once)"
	case watchdog.LinkChange:
		if !b.Up || b.What == "broker" { // said where it is noticed, with the reason
			return l, false
		}
		l.Text = b.What + " back"
	case watchdog.RequestHeard:
		if b.Outcome == "accepted" {
			return l, false
		}
		act := b.Ask
		if b.Retrieve {
			act += " to bring it back"
		}
		l.Text = act + " asked by " + orUnknown(b.By) + ": " + outcome(&b, level)
		if len(b.Why) > 0 {
			l.Text += ": " + strings.Join(b.Why, "; ")
		}
	case watchdog.AlignHeard:
		if b.Outcome == "accepted" {
			return l, false
		}
		l.Text = alignText(&b)
	case watchdog.Episode:
		if r.Kind != watchdog.RecOpen || b.Cause != watchdog.CauseTrackerRestarted.String() {
			return l, false
		}
		l.Weight, l.Text = Caution, b.Text // seldom, and a person must do something, also where no level changes
	default:
		return l, false
	}
	return l, true
}

// weightOf is the weight of having come to a level.
func weightOf(level string) Weight {
	switch level {
	case watchdog.Stop.String(), watchdog.Land.String():
		return Alarm
	case watchdog.Caution.String():
		return Caution
	}
	return Note
}

// outcome is what became of a request. A stop does not end a land that is
// latched, and a rover's land is a stop.
func outcome(b *watchdog.RequestHeard, level watchdog.Level) string {
	switch {
	case b.Outcome != "effective":
	case b.Ask == watchdog.AskStop.String() && level == watchdog.Land:
		return "noted; a land is latched already, and goes on"
	case b.Ask == watchdog.AskLand.String() && level == watchdog.Stop:
		return "effective, as a stop: this vehicle cannot land"
	}
	return b.Outcome
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
