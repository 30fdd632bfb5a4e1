package review

import (
	"strings"
	"testing"

	"pinfold/watchdog"
)

// The story claims no more than was seen: where a pose was lost nobody knows
// where the vehicle came to rest.
func TestStoryClaimsNoMoreThanWasSeen(t *testing.T) {
	stop := func(kind watchdog.CauseKind, atRest bool) Chain {
		return Chain{Cause: watchdog.Cause{Kind: kind, Word: kind.String()}, AtRest: atRest, Edge: -1}
	}
	for _, c := range []struct {
		name      string
		stops     []Chain
		rows      []Row
		want, not string
	}{
		{"all seen", []Chain{stop(watchdog.CauseZone, true)}, nil, "1 stop was called, 0 of them asked for. No vehicle's body was seen outside its pen while it was permitted or stopping; the trail", "to its rest"},
		{"one not seen", []Chain{stop(watchdog.CauseZone, true), stop(watchdog.CausePoseStale, false)}, nil, "stopping, but 1 stop was not seen to its rest; the trail", "left"},
		{"the end of the session is asked for", []Chain{stop(watchdog.CauseClosing, false), stop(watchdog.CauseOperator, false)}, nil, "2 stops were called, 2 of them asked for. No vehicle's body was seen outside its pen while it was permitted or stopping, but 2 stops were not seen to their rest;", "left"},
		{"not obeyed", []Chain{stop(watchdog.CauseZone, true)}, []Row{{Vehicle: "mole", Level: "waiting", Cause: "not-obeyed"}, {Vehicle: "wren", Level: "stop", Cause: "not-obeyed", From: 7}, {Vehicle: "mole", Level: "stop", Cause: "not-obeyed", From: 6.3}}, "asked for. A STOP WAS NOT OBEYED, 2 times, first by mole at 6.30 s. No vehicle's", "left"},
		{"outside", []Chain{stop(watchdog.CauseZone, false)}, []Row{{Vehicle: "wren", Level: "stop", Name: "cage", Breach: 0.2}}, "wren left its pen: 0.20 m past cage", "seen"},
	} {
		rep := &Report{Session: Session{Rows: c.rows}, Vehicles: []Vehicle{{Name: "wren", Stops: c.stops}}}
		rep.Integrity.OK, rep.Integrity.Same, rep.Integrity.Sealed = true, true, true
		if text := strings.Join(rep.story(), " "); !strings.Contains(text, c.want) || strings.Contains(text, c.not) {
			t.Errorf("%s: %q; want %q and not %q", c.name, text, c.want, c.not)
		}
	}
	rep := &Report{}
	rep.Integrity.Same, rep.Integrity.Sealed = true, true
	if text := rep.ended(); !strings.Contains(text, "THE TRAIL DOES NOT HOLD") {
		t.Errorf("a trail that does not hold: %q", text)
	}
}
