package watchdog

import (
	"fmt"
	"time"
)

// line writes one line of what the guard did.
func (s *story) line(now time.Duration, format string, args ...any) {
	fmt.Fprintf(&s.out, "    %6.3f  %s\n", now.Seconds(), fmt.Sprintf(format, args...))
}

// show prints what a display would show.
func (s *story) show() {
	n := s.r.g.Snapshot()
	s.line(n.At, "shows level %s, permit %s", n.Level, goWord(n.Go))
	for _, c := range n.Causes {
		s.line(n.At, "  holding: %s", causeText(&c))
	}
	for _, c := range n.Near {
		s.line(n.At, "  near: %s", causeText(&c))
	}
	for _, c := range n.Latched {
		s.line(n.At, "  latched: %s", causeText(&c))
	}
	for _, b := range n.Blocked {
		s.line(n.At, "  lacks: %s", b)
	}
}

func causeText(c *Cause) string {
	return named(c.Word, c.Name) + ": " + c.Text
}

// named is a cause's word with its name, where that says more.
func named(word, name string) string {
	if name == "" || name == word {
		return word
	}
	return word + " " + name
}

func goWord(on bool) string {
	if on {
		return "go"
	}
	return "halt"
}

// effects prints one step's effects in their order.
func (s *story) effects(now time.Duration, effects []Effect) {
	for i := range effects {
		switch e := &effects[i]; e.Kind {
		case DoPermit:
			if !s.known || s.shown != e.Permit.Go {
				s.known, s.shown = true, e.Permit.Go
				s.line(now, "permit %s", goWord(e.Permit.Go))
			}
		case DoCommand:
			c := &e.Command
			again := ""
			if c.Seq > 1 {
				again = fmt.Sprintf(", sent again (%d)", c.Seq)
			}
			s.line(now, "command %s %s for %s%s", c.ID, c.Action, named(c.Cause.String(), c.Name), again)
		case DoRecord:
			s.record(now, &e.Record)
		}
	}
}

func (s *story) record(now time.Duration, r *Record) {
	switch b := r.Body.(type) {
	case LevelChange:
		why := ""
		if b.Cause != nil {
			why = ": " + causeText(b.Cause)
		}
		if b.By != "" {
			why += ", by " + b.By
		}
		s.line(now, "level %s to %s%s", b.From, b.To, why)
	case Episode:
		s.episode(now, r.Kind, &b)
	case CommandSent:
		s.line(now, "trail: command %s: %s", b.ID, b.Cause.Text)
	case Acked:
		s.line(now, "trail: %s acknowledged after %.3f s", b.ID, b.After)
	case Stopped:
		s.line(now, "trail: at rest %.3f s after the %s for %s from %.2f m/s, within %.2f m where %.2f m were allowed; braked at %.1f m/s²; %.2f m left to %s",
			b.Rest, b.Action, b.Cause.Word, b.Speed, b.Distance, b.Allowed, b.Deceleration, b.Edge, b.EdgeZone)
	case RequestHeard:
		wait := ""
		if r.Durable {
			wait = ", waits for the disk"
		}
		s.line(now, "trail: %s asks %s: %s%s", quoteBy(b.By), asked(&b), b.Outcome, wait)
		for _, w := range b.Why {
			s.line(now, "  because %s", w)
		}
	case FaultSeen:
		s.line(now, "trail: bad message: %s %s %s", b.Kind, b.Field, b.Detail)
	case LinkChange:
		s.line(now, "trail: %s up: %v", b.What, b.Up)
	case ConfigTaken:
		s.line(now, "trail: config %s taken", b.Hash)
	case Counts:
		s.line(now, "trail: closed after %d samples, %d dropped, %d refused; %d episodes, %d stops", b.Samples, b.Dropped, b.Refused, b.Episodes, b.Stops)
	default:
		s.line(now, "trail: %s %T", r.Kind, b)
	}
}

func asked(b *RequestHeard) string {
	if b.Retrieve {
		return b.Ask + " with retrieve"
	}
	return b.Ask
}

func (s *story) episode(now time.Duration, kind RecordKind, e *Episode) {
	name := named(e.Cause, e.Name)
	if kind == RecOpen {
		s.line(now, "trail: %s begins at %.3f s: %s", name, e.From.Seconds(), e.Text)
		return
	}
	end := "ends"
	if e.Open {
		end = "still open"
	}
	s.line(now, "trail: %s %s: %.3f to %.3f s, worst %.3f %s, limit %.3f, %d samples, body %.3f m outside",
		name, end, e.From.Seconds(), e.To.Seconds(), e.Worst, e.Unit, e.Limit, e.Samples, e.Breach)
}
