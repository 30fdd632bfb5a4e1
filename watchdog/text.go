package watchdog

import (
	"fmt"

	"pinfold/zones"
)

// sentence says in one sentence what cause c means. For a zone, zone is its
// index and deep how far the body itself is outside, m.
func (g *Guard) sentence(c *Cause, zone int, deep float64) string {
	switch {
	case c.Kind == CauseZone:
		return g.zoneSentence(c, zone, deep)
	case c.Kind == CauseHeight && g.cfg.Stopping.Predict:
		return fmt.Sprintf("would have risen to %.2f m, over the limit of %.2f m", c.Value, c.Limit)
	case c.Kind == CauseDistance && g.cfg.Stopping.Predict:
		return fmt.Sprintf("would have come %.2f m from home, over the limit of %.2f m", c.Value, c.Limit)
	case c.Kind <= CauseSession:
		return fmt.Sprintf("%s %.2f %s is over the limit of %.2f %s", c.Kind, c.Value, c.Unit, c.Limit, c.Unit)
	case c.Kind == CauseZoneSpeed && c.Value >= Unbounded:
		return fmt.Sprintf("its speed is unknown where it could come into %s, where %.2f m/s are allowed", c.Name, c.Limit)
	case c.Kind == CauseZoneSpeed:
		return fmt.Sprintf("could come into %s at %.2f m/s, over the %.2f m/s allowed there", c.Name, c.Value, c.Limit)
	case c.Kind == CauseApart:
		return g.apartSentence(c)
	case c.Kind == CauseTrackerRestarted:
		return g.untied()
	case c.Kind <= CauseClockStep:
		return poseSentence(c)
	}
	return shellSentence(c)
}

func (g *Guard) zoneSentence(c *Cause, zone int, deep float64) string {
	out := zone >= 0 && zone < len(g.shapes) && g.shapes[zone].Kind == zones.KeepOut
	switch {
	case deep > 0 && out:
		return fmt.Sprintf("is inside keep-out %s by %.2f m", c.Name, deep)
	case deep > 0:
		return fmt.Sprintf("is outside %s by %.2f m", c.Name, deep)
	case c.Value >= Unbounded:
		return fmt.Sprintf("nothing bounds how far it may come out of %s: its speed or place is unknown", c.Name)
	case out:
		return fmt.Sprintf("would have entered keep-out %s by %.2f m", c.Name, c.Value)
	}
	return fmt.Sprintf("would have crossed the edge of %s by %.2f m", c.Name, c.Value)
}

func poseSentence(c *Cause) string {
	switch c.Kind {
	case CausePoseNone:
		return "no pose has arrived yet"
	case CausePoseStale:
		if c.Value <= c.Limit { // they arrive, yet their own stamps have a hole
			return fmt.Sprintf("poses are missing: a gap of more than %.2f s in the sender's stamps", c.Limit)
		}
		return fmt.Sprintf("no pose for %.2f s, limit %.2f s", c.Value, c.Limit)
	case CausePoseLate:
		return fmt.Sprintf("poses arrive %.2f s late, limit %.2f s", c.Value, c.Limit)
	case CausePoseFrozen:
		return "the tracker repeats the same pose, bit for bit"
	case CausePoseJump:
		return "the pose jumped further than the vehicle can move"
	case CausePoseConfidence:
		return "the tracker is not confident enough of its pose"
	case CausePoseRate:
		return "poses come too seldom"
	case CausePoseVelocity:
		return "the tracker's velocity disagrees with its positions"
	}
	return "the tracker's clock leapt ahead"
}

func shellSentence(c *Cause) string {
	switch c.Kind {
	case CauseLinkLost:
		return "the link to the broker is down"
	case CauseLinkSlow:
		return fmt.Sprintf("a message to the broker and back took %.0f ms within the last minute, over the budget of %.0f ms", 1000*c.Value, 1000*c.Limit)
	case CauseStalled:
		return fmt.Sprintf("the watchdog itself was held up for %.2f s, limit %.2f s", c.Value, c.Limit)
	case CauseTrailDown:
		return "the trail cannot be written"
	case CauseNotAcknowledged:
		return fmt.Sprintf("the command was not acknowledged for %.2f s, limit %.2f s", c.Value, c.Limit)
	case CauseNotObeyed:
		return fmt.Sprintf("still moves at %.2f m/s where %.2f m/s was declared", c.Value, c.Limit)
	case CauseOperator:
		return "asked for by " + quoteBy(c.Name)
	}
	return "the watchdog is closing: " + c.Name
}

func quoteBy(by string) string {
	if by == "" {
		return "somebody who gave no name"
	}
	return by
}

// nearSentence says what a subject inside its caution band is near to.
func (g *Guard) nearSentence(s *subject) string {
	switch {
	case s.holding:
		return g.causeOf(s, s.value).Text
	case s.violates(s.nearValue) && s.inBand: // not confirmed yet
		return g.causeOf(s, s.nearValue).Text
	case s.violates(s.nearValue):
		return g.causeOf(s, s.nearValue).Text + ", a moment ago"
	case s.kind == CauseApart:
		return fmt.Sprintf("%.2f m left before a stop for coming too near to %s", -s.nearValue, s.name)
	case s.kind == CauseZone:
		return fmt.Sprintf("%.2f m left before a stop for %s", -s.nearValue, s.name)
	}
	name := s.name
	if s.kind == CauseZoneSpeed {
		name = "speed in " + name
	}
	return fmt.Sprintf("%s %.2f %s is near the limit of %.2f %s", name, s.nearValue, s.unit, s.limit, s.unit)
}
