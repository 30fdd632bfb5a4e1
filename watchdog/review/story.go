package review

import (
	"fmt"
	"strings"

	"pinfold/watchdog"
)

// story is what happened, in a few sentences: who moved, what it was stopped
// for, and how it ended.
func (rep *Report) story() []string {
	return []string{rep.moved(), rep.stops(), rep.ended()}
}

func (rep *Report) moved() string {
	var parts []string
	for i := range rep.Vehicles {
		v := &rep.Vehicles[i]
		parts = append(parts, fmt.Sprintf("%s was permitted to move for %s", v.Name, span(v.permit)))
	}
	return fmt.Sprintf("In %s at %s, %s.", span(rep.Duration), rep.Site, list(parts))
}

func (rep *Report) stops() string {
	n, asked, worst := 0, 0, (*Chain)(nil)
	var who string
	for i := range rep.Vehicles {
		v := &rep.Vehicles[i]
		for j := range v.Stops {
			s := &v.Stops[j]
			n++
			if wanted(s.Cause.Word) {
				asked++
			}
			if s.AtRest && s.EdgeZone != "" && (worst == nil || s.Edge < worst.Edge) {
				worst, who = s, v.Name
			}
		}
	}
	if text := rep.carriedAll(); text != "" && n == 0 {
		return text
	}
	if n == 0 {
		return "No stop was called."
	}
	text := fmt.Sprintf("%s called, %d of them asked for", count(n, "stop was", "stops were"), asked)
	if worst != nil {
		text += fmt.Sprintf("; the closest rest was %s, %.2f m from %s", who, worst.Edge, worst.EdgeZone)
	}
	return text + "." + rep.disobeyed()
}

// disobeyed says that a vehicle moved against a stop, and when first.
func (rep *Report) disobeyed() string {
	n, first := 0, (*Row)(nil)
	for i := range rep.Rows {
		if r := &rep.Rows[i]; r.Level != "waiting" && r.Cause == watchdog.CauseNotObeyed.String() {
			n++
			if first == nil || r.From < first.From {
				first = r
			}
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf(" A STOP WAS NOT OBEYED, %s, first by %s at %.2f s.", count(n, "time", "times"), first.Vehicle, first.From)
}

func (rep *Report) ended() string {
	deepest := (*Row)(nil)
	for i := range rep.Rows {
		r := &rep.Rows[i]
		if r.Level != "waiting" && r.Breach > 0 && (deepest == nil || r.Breach > deepest.Breach) {
			deepest = r
		}
	}
	text := "No vehicle's body was seen outside its pen while it was permitted or stopping" + rep.unseen()
	if deepest != nil {
		text = fmt.Sprintf("%s left its pen: %.2f m past %s at %.2f s", deepest.Vehicle, deepest.Breach, deepest.Name, deepest.From)
	}
	switch in := &rep.Integrity; {
	case !in.OK:
		return text + ", and THE TRAIL DOES NOT HOLD: do not rely on this report."
	case !in.Same:
		return text + ", but judged again the core came to other decisions."
	case !in.Sealed:
		return text + "; the trail is whole as far as it goes, but not sealed."
	}
	return text + "; the trail is whole and sealed, and judged again it gives the same decisions."
}

// unseen says how many stops were not seen to their rest: where the pose was lost,
// or the session ended before, nobody knows where the vehicle came to rest.
func (rep *Report) unseen() string {
	n := 0
	for i := range rep.Vehicles {
		for j := range rep.Vehicles[i].Stops {
			if !rep.Vehicles[i].Stops[j].AtRest {
				n++
			}
		}
	}
	if n == 0 {
		return ""
	}
	return ", but " + count(n, "stop was not seen to its rest", "stops were not seen to their rest")
}

// span is a time as people say it.
func span(s float64) string {
	switch {
	case s < 90:
		return fmt.Sprintf("%.1f s", s)
	case s < 5400:
		return fmt.Sprintf("%.1f min", s/60)
	}
	return fmt.Sprintf("%.1f h", s/3600)
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func list(parts []string) string {
	if n := len(parts); n > 2 {
		return strings.Join(parts[:n-1], ", ") + " and " + parts[n-1]
	}
	return strings.Join(parts, " and ")
}

// Outside says whether a vehicle's body left its pen while it was permitted to
// move or stopping.
func (rep *Report) Outside() bool {
	for i := range rep.Rows {
		if r := &rep.Rows[i]; r.Level != "waiting" && r.Breach > 0 {
			return true
		}
	}
	return false
}
