package review

import "pinfold/watchdog"

// pair lays the stops of two judgements of one session side by side; both are
// in the order of time, and so is the answer.
func pair(was, other []Called) []WhatIfStop {
	out := []WhatIfStop{}
	i, j := 0, 0
	for i < len(was) || j < len(other) {
		switch {
		case i < len(was) && j < len(other) && oneStop(&was[i], &other[j]) && !twins(was[i+1:], &other[j]) && !twins(other[j+1:], &was[i]):
			a, b := &was[i], &other[j]
			out = append(out, WhatIfStop{Fate: fate(a, b), Was: a, Other: b, Gain: (a.at - b.at).Seconds()})
			i++
			j++
		case i == len(was) || j < len(other) && other[j].at < was[i].at:
			out = append(out, WhatIfStop{Fate: FateNew, Other: &other[j]})
			j++
		default:
			out = append(out, WhatIfStop{Fate: missed(&was[i], other[:j]), Was: &was[i]})
			i++
		}
	}
	return out
}

// oneStop says whether both called the same stop, if not at the same instant. One
// that was asked for comes when it is asked: it is no late answer to a zone.
func oneStop(was, other *Called) bool {
	return (was.at-other.at).Abs() <= Together && (was.at == other.at || was.asked() == other.asked())
}

// twins says whether c is called in next too, at the same instant for the same
// cause: then it is that one, and no early or late answer to what came before.
func twins(next []Called, c *Called) bool {
	return len(next) > 0 && next[0].at == c.at && next[0].Cause == c.Cause && next[0].Name == c.Name
}

// asked says whether an operator or the end of the session called it.
func (c *Called) asked() bool { return wanted(c.Cause) }

// wanted says whether a cause is an operator or the end of the session.
func wanted(cause string) bool {
	return cause == watchdog.CauseOperator.String() || cause == watchdog.CauseClosing.String()
}

// missed is the fate of a stop that the other did not call.
func missed(c *Called, before []Called) Fate {
	if n := len(before); n > 0 && (before[n-1].until == 0 || before[n-1].until > c.at) {
		return FateStanding
	}
	return FateGone
}

func fate(was, other *Called) Fate {
	switch {
	case other.at < was.at:
		return FateEarlier
	case other.at > was.at:
		return FateLater
	case was.Cause != other.Cause || was.Name != other.Name || was.Action != other.Action:
		return FateCause
	}
	return FateSame
}

// first is the instant at which a stop was called by whoever called it first.
func (s *WhatIfStop) first() float64 {
	switch {
	case s.Was == nil:
		return s.Other.At
	case s.Other == nil:
		return s.Was.At
	}
	return min(s.Was.At, s.Other.At)
}

// part finds where the two judgements part, and marks what comes after.
func (p *parallel) part() {
	v := &p.out
	note := func(at float64) {
		if v.Parted < 0 || at < v.Parted {
			v.Parted = at
		}
	}
	for i := range v.Stops {
		if s := &v.Stops[i]; s.Fate != FateSame {
			note(s.first())
		}
	}
	if len(v.Refused) > 0 {
		note(v.Refused[0].At)
	}
	for i := range v.Stops {
		s := &v.Stops[i]
		s.After = v.Parted >= 0 && s.first() > v.Parted
	}
}
