package config

import (
	"time"

	"pinfold/watchdog"
)

// Defaults of a limit.
const (
	// CautionShare of a limit is where caution begins.
	CautionShare = 0.9
	// DefaultConfirm is how many violating samples in a row count: one alone
	// may be noise.
	DefaultConfirm = 2
	maxConfirm     = 1000
)

// limitSpan is the range a limit may have.
func limitSpan(id watchdog.LimitID) span {
	_, unit := id.Name()
	switch id {
	case watchdog.LimitTilt:
		return span{0, 180, unit}
	case watchdog.LimitHeight, watchdog.LimitDistance:
		return span{0, 1e5, unit}
	case watchdog.LimitTurn:
		return span{0, 1e5, unit}
	}
	return span{0, 1000, unit}
}

// readLimits reads [vehicle.limits].
func readLimits(vehicle *table, c *watchdog.Config) *table {
	t := vehicle.sub("limits")
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		if key, _ := id.Name(); t.has(key) {
			c.Limits[id] = readLimit(t, id, c.Kind)
		}
	}
	t.done()
	return t
}

// readLimit reads one limit: its value alone, or a table.
func readLimit(t *table, id watchdog.LimitID, kind watchdog.Kind) watchdog.Limit {
	key, _ := id.Name()
	l := watchdog.Limit{On: true, Confirm: DefaultConfirm, Answer: watchdog.ActStop}
	if _, isTable := t.m[key].(map[string]any); !isTable {
		l.Max = t.limitValue(key, id, 0)
		l.Caution = CautionShare * l.Max
		return l
	}
	s := t.sub(key)
	if !s.has("max") {
		s.missing("max", "give the limit itself")
	}
	l.Max = s.limitValue("max", id, 0)
	l.Caution = s.limitValue("caution", id, CautionShare*l.Max)
	if s.fine("max") && s.fine("caution") && l.Caution > l.Max {
		s.report("caution", "is above the limit itself", "give a value from 0 to max; equal to max is no caution at all")
	}
	l.Confirm = s.whole("confirm", DefaultConfirm, span{0, maxConfirm, "samples"})
	l.Answer = watchdog.ActCaution + watchdog.Action(s.word("answer", 1, "caution", "stop", "land"))
	if s.fine("answer") && l.Answer == watchdog.ActLand && kind == watchdog.Rover {
		s.report("answer", "is nothing a rover can do", `write answer = "stop"`)
	}
	s.done()
	return l
}

// limitValue reads a limit's value in its unit: the session's as a duration.
func (t *table) limitValue(key string, id watchdog.LimitID, def float64) float64 {
	if id == watchdog.LimitSession {
		return t.duration(key, time.Duration(def*float64(time.Second)), 0, 24*time.Hour).Seconds()
	}
	return t.number(key, def, limitSpan(id))
}
