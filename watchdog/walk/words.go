package walk

import (
	"fmt"
	"math"

	"pinfold/watchdog"
)

// tolerance is by how much another edge may be nearer than the one that is due,
// m, before a stop counts as that other's: in a corner both are as near.
const tolerance = 0.15

// other says what a stop was for, where it was not for the item; empty: it was.
func (w *Walk) other(it *Item, c *watchdog.Cause, s *watchdog.Snapshot) string {
	switch {
	case it.edges && c.Kind == watchdog.CauseZone:
		return w.otherEdge(it, c, s)
	case it.Kind == Slow && c.Kind == watchdog.CauseZoneSpeed && c.Name == it.Name,
		it.Kind == Limit && c.Kind == watchdog.CauseHeight+watchdog.CauseKind(it.limit):
		return ""
	}
	return c.Text
}

// otherEdge compares the edges: the pen is one, whichever of its zones the guard
// named, and a keep-out is by its name.
func (w *Walk) otherEdge(it *Item, c *watchdog.Cause, s *watchdog.Snapshot) string {
	if it.out && c.Name != it.Name || !it.out && w.keepOut(c.Name) {
		return c.Text
	}
	here := math.Abs(w.distance(it, s))
	least, nearest := here-tolerance, it
	for i := range w.list.Items {
		o := &w.list.Items[i]
		if o.No == it.No || !o.edges || o.out != it.out || o.out && o.Name != it.Name {
			continue
		}
		if d := math.Abs(w.distance(o, s)); d < least {
			least, nearest = d, o
		}
	}
	if nearest == it {
		return ""
	}
	return fmt.Sprintf("it was at %s, %.2f m away, and %s is %.2f m away", nearest.title(), least, it.title(), here)
}

func (w *Walk) keepOut(name string) bool {
	for i := range w.list.Items {
		if o := &w.list.Items[i]; o.out && o.Name == name {
			return true
		}
	}
	return false
}

// title names the item in few words.
func (it *Item) title() string {
	switch it.Kind {
	case Side:
		return fmt.Sprintf("edge %d of %s", it.Side, it.Name)
	case Slow:
		return "slow zone " + it.Name
	case Limit:
		return "limit on " + it.Name
	case Apart:
		return "apart from " + it.Name
	}
	return string(it.Kind) + " of " + it.Name
}

// Title names the item in few words.
func (it *Item) Title() string { return it.title() }

// prompt is what to do now, a line each.
func (w *Walk) prompt() string {
	it := w.item()
	text := fmt.Sprintf("%d of %d: %s\n%s", it.No, len(w.list.Items), it.title(), it.Text)
	if it.edges {
		return text + "\nCarry it there, until it says STOP."
	}
	return text + ", until it says STOP."
}

// ticked is what was measured.
func (w *Walk) ticked(it *Item) string {
	after := "at an instant that was not heard"
	if it.After >= 0 {
		after = fmt.Sprintf("%.1f ms after the pose", it.After)
	}
	switch {
	case it.Outcome == Late && it.edges:
		return fmt.Sprintf("STOP, TOO LATE: %d, %s, was called with the body %.2f m PAST the edge, %s.", it.No, it.title(), -it.Distance, after)
	case it.Outcome == Late:
		return fmt.Sprintf("STOP, TOO LATE: %d, %s, was called at %.2f %s of %.2f, %s.", it.No, it.title(), it.Value, it.Unit, it.Max, after)
	case it.edges:
		return fmt.Sprintf("STOP. %d is ticked off: called %.2f m before the edge, at %.2f m/s, %s.", it.No, it.Distance, it.Speed, after)
	}
	return fmt.Sprintf("STOP. %d is ticked off: called at %.2f %s, limit %.2f, %s.", it.No, it.Value, it.Unit, it.Max, after)
}

// Live is where the vehicle stands to the item that is due, in one short line;
// empty where nothing can be said.
func (w *Walk) Live(s *watchdog.Snapshot) string {
	switch {
	case w.Done():
		return ""
	case !s.Judged || s.Trust != 0 && !s.Void:
		return "no pose to be trusted"
	case s.Void:
		return "the tracker is not tied to the room"
	case w.phase != armed:
		return fmt.Sprintf("%s; room %.2f m", s.Level, s.Nearest.Clearance)
	}
	it := w.item()
	if it.edges {
		return fmt.Sprintf("%.2f m to the edge, at %.2f m/s", w.distance(it, s), s.Speed)
	}
	return fmt.Sprintf("%.2f of %.2f %s", w.value(it, s), it.Max, it.Unit)
}

// value is the newest value of what a limit is on.
func (w *Walk) value(it *Item, s *watchdog.Snapshot) float64 {
	p := &s.Pose
	if it.Kind == Slow {
		return s.Speed
	}
	switch watchdog.LimitID(it.limit) {
	case watchdog.LimitHeight:
		return p.Position.Z - w.cfg.Ground
	case watchdog.LimitSpeed:
		return s.Speed
	case watchdog.LimitClimb:
		return p.Velocity.Z
	case watchdog.LimitDescent:
		return -p.Velocity.Z
	case watchdog.LimitTilt:
		return p.Tilt * 180 / math.Pi
	case watchdog.LimitTurn:
		return math.Abs(p.TurnRate) * 180 / math.Pi
	case watchdog.LimitDistance:
		return math.Hypot(p.Position.X-w.cfg.Home.X, p.Position.Y-w.cfg.Home.Y)
	}
	return 0
}
