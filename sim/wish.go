package sim

import (
	"slices"
	"strings"

	"pinfold/watchdog/link/wire"
)

// wish is what the watchdog's state has to show.
type wish struct {
	level  string   // clear, caution, stop or land; stop is also met by land
	causes []string // any of these has to stand first among what is latched
	name   string   // of the zone or limit; empty for any
}

func (w wish) String() string {
	s := w.level
	if len(w.causes) > 0 {
		s += ": " + strings.Join(w.causes, " or ")
	}
	if w.name != "" {
		s += " " + w.name
	}
	return s
}

// met says whether a state shows what is wished for.
func (w wish) met(s wire.State) bool {
	if s.Level != w.level && !(w.level == "stop" && s.Level == "land") {
		return false
	}
	if len(w.causes) == 0 {
		return true
	}
	return len(s.Latched) > 0 && slices.Contains(w.causes, s.Latched[0].Cause) &&
		(w.name == "" || s.Latched[0].Name == w.name)
}

// showing is what a state shows, in the words of an Act.
func showing(s wire.State) string {
	out := s.Level
	for i, c := range s.Latched {
		if i == 0 {
			out += ": "
		} else {
			out += ", "
		}
		out += c.Cause
		if c.Name != c.Cause && c.Name != "" {
			out += " " + c.Name
		}
	}
	if out == "" {
		return "no state"
	}
	return out
}

// disturbed says whether a vehicle was stopped for what a machine under load
// does to a tracker, a link or the watchdog itself, and not for anything its
// pilot did.
func disturbed(s wire.State) bool {
	return halted(s) && len(s.Latched) > 0 &&
		slices.Contains([]string{"guard-stalled", "pose-stale", "pose-late", "pose-rate", "link-lost", "link-slow"}, s.Latched[0].Cause)
}
