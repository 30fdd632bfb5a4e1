package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/console/browsertest"
	"pinfold/watchdog/review"
)

// pageAgrees opens the session's page in a browser and holds every number of its
// tables against the JSON, cell by cell. The texts of numbers are made here anew.
func pageAgrees(t *testing.T, folder, name string) *review.Report {
	t.Helper()
	file := filepath.Join(t.TempDir(), "page.html")
	_, out, errs := pinfold("review", "--json", "--html", file, folder)
	var doc review.Report
	if err := json.Unmarshal([]byte(out), &doc); err != nil || len(doc.Rows) == 0 {
		t.Fatalf("review: %d episodes, %v: %s", len(doc.Rows), err, errs)
	}
	p := browsertest.Open(t, file, 1100, 900)
	same := func(selector string, want [][]string) {
		t.Helper()
		got := browsertest.Eval[[][]string](p, `[...document.querySelectorAll("`+selector+` tbody tr")].map(r => [...r.cells].map(c => c.textContent.trim()))`)
		if len(got) != len(want) {
			t.Fatalf("%s: the page has %d rows, the JSON %d", selector, len(got), len(want))
		}
		for i := range want {
			if !slices.Equal(got[i], want[i]) {
				t.Errorf("%s, row %d: the page says\n%q, the JSON\n%q", selector, i+1, got[i], want[i])
			}
		}
	}
	same("table.episodes", episodeCells(&doc))
	same("table.stops", stopCells(&doc))
	same("table.misses", missCells(&doc))
	same("table.limits", limitCells(&doc))
	same("table.health", healthCells(&doc))
	same("table.integrity", integrityCells(&doc))
	story := browsertest.Eval[string](p, `document.querySelector(".story").textContent.trim()`)
	if len(doc.Story) != 3 || story != strings.Join(doc.Story, " ") {
		t.Errorf("the page tells %q, the JSON %q", story, doc.Story)
	}
	p.Wait("the script has run", `document.querySelector(".read").textContent.includes("Move over a chart")`, 10*time.Second)
	p.Shot("review_" + name)
	p.Quiet()
	return &doc
}

// inMillis, inMetres and so on are how a page writes what the JSON holds; -1 is
// what is not known.
func inMillis(s float64, form string) string {
	if form == "%.0f" {
		return unlessUnknown(s, math.Round(1000*s), "%.0f ms") // half of one up, which %.0f alone does not
	}
	return unlessUnknown(s, 1000*s, form+" ms")
}

func inMetres(m float64) string { return unlessUnknown(m, m, "%.2f m") }

func unlessUnknown(v, shown float64, form string) string {
	if v == -1 {
		return "–"
	}
	if s := fmt.Sprintf(form, shown); !strings.HasPrefix(s, "-0 ") {
		return s
	}
	return strings.TrimPrefix(fmt.Sprintf(form, shown), "-")
}

func episodeCells(doc *review.Report) (out [][]string) {
	for _, waiting := range []bool{false, true} { // what raised nothing stands below
		for i := range doc.Rows {
			r := &doc.Rows[i]
			if (r.Level == "waiting" && r.Answer == nil) != waiting {
				continue
			}
			outside := "no"
			if r.Breach > 0 {
				outside = inMetres(r.Breach)
			}
			out = append(out, []string{r.Vehicle, fmt.Sprintf("%.2f s", r.From), fmt.Sprintf("%.2f s", r.To-r.From), r.Level,
				strings.TrimSpace(r.Text), fmt.Sprintf("%.3g %s", r.Worst, r.Unit), fmt.Sprintf("%.3g", r.Limit), outside})
			for k := range out[len(out)-1] {
				out[len(out)-1][k] = strings.TrimSpace(out[len(out)-1][k])
			}
		}
	}
	return out
}

func stopCells(doc *review.Report) (out [][]string) {
	for i := range doc.Vehicles {
		for n, s := range doc.Vehicles[i].Stops {
			rest, left, share, braking := "not seen at rest", "", "–", "–"
			if s.AtRest {
				rest, left = inMillis(s.Rest, "%.0f"), strings.TrimSpace(inMetres(s.Edge)+" "+s.EdgeZone)
			}
			if s.Distance >= 0 && s.Allowed > 0 {
				share = fmt.Sprintf("%.0f %%", 100*s.Distance/s.Allowed)
			}
			if s.Deceleration > 0 {
				braking = fmt.Sprintf("%.2f", s.Deceleration)
			}
			out = append(out, []string{fmt.Sprint(n + 1), fmt.Sprintf("%.2f s", s.At), fmt.Sprintf("%s at %.2f m/s: %s", s.Action, s.Speed, s.Cause.Text),
				inMillis(s.Onset, "%.0f"), inMillis(s.Age, "%.0f"), inMillis(s.Left, "%.2f"),
				inMillis(s.Acked, "%.0f") + ", " + inMetres(s.AckedAt), inMillis(s.Falling, "%.0f") + ", " + inMetres(s.FallingAt), rest,
				inMetres(s.Distance) + " of " + inMetres(s.Allowed), share, inMillis(s.Reaction, "%.0f"), braking, left})
		}
	}
	return out
}

func missCells(doc *review.Report) (out [][]string) {
	for i := range doc.Vehicles {
		for _, n := range doc.Vehicles[i].Near {
			out = append(out, []string{fmt.Sprintf("%.2f s", n.At), inMetres(n.Clearance), n.Zone,
				fmt.Sprintf("%.2f, %.2f, %.2f", n.Place.X, n.Place.Y, n.Place.Z)})
		}
	}
	return out
}

func limitCells(doc *review.Report) (out [][]string) {
	for i := range doc.Vehicles {
		for _, l := range doc.Vehicles[i].Limits {
			declared, caution := "none", ""
			if l.On {
				declared, caution = fmt.Sprint(l.Max), fmt.Sprint(l.Caution)
			}
			out = append(out, []string{l.Name + ", " + l.Unit, declared, caution, fmt.Sprintf("%.3g", l.Most), fmt.Sprintf("%.3g", l.P999)})
		}
	}
	return out
}

func healthCells(doc *review.Report) (out [][]string) {
	for i := range doc.Vehicles {
		v := &doc.Vehicles[i]
		h, l := &v.Pose, &v.Link
		faults := ""
		for _, k := range sortedKeys(h.Faults) {
			faults += fmt.Sprintf("; %s %d", k, h.Faults[k])
		}
		out = append(out,
			[]string{"poses judged", fmt.Sprintf("%d at %.1f Hz; %d out of order, %d refused%s", h.Samples, h.Rate, h.Dropped, h.Refused, faults)},
			[]string{"between arrivals", fmt.Sprintf("half within %s, 99 %% within %s, longest %s at %.2f s (age limit %s)", inMillis(h.Interval.P50, "%.0f"),
				inMillis(h.Interval.P99, "%.0f"), inMillis(h.Silence, "%.0f"), h.Silent, inMillis(v.Declared.MaxAge, "%.0f"))},
			[]string{"arrival to judgement", fmt.Sprintf("half within %.2f ms, 99.9 %% within %.2f ms, longest %.2f ms", 1000*h.Wait.P50, 1000*h.Wait.P999, 1000*h.Wait.Max)},
			[]string{"link", fmt.Sprintf("%d times down, %.2f s together; %d unreadable messages", l.Downs, l.Down, l.Bad)},
			[]string{"commands", fmt.Sprintf("%d sent, %d acknowledged, slowest %s", l.Commands, l.Acked, inMillis(l.Slowest, "%.0f"))})
	}
	return out
}

func sortedKeys(m map[string]uint64) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func integrityCells(doc *review.Report) (out [][]string) {
	in := &doc.Integrity
	whole, seal, again := "NOT WHOLE", "not sealed", "other decisions: "+in.First+". A program of another version may judge otherwise; this session was run by "+doc.Version+"."
	if in.OK {
		whole = "whole"
	}
	if in.Sealed {
		seal = "holds, by key " + in.Public
	}
	if in.Same {
		again = fmt.Sprintf("the same decisions, bit for bit (%d records)", in.Records)
	}
	out = append(out, []string{"chain and frames", fmt.Sprintf("%s: %d lines, %d frames with %d messages, %d lost", whole, in.Lines, in.Frames, in.Items, in.Lost)},
		[]string{"seal", seal}, []string{"head", in.Head}, []string{"judged again", again})
	for _, x := range in.Problems {
		out = append(out, []string{"problem", x})
	}
	for _, x := range in.Notes {
		out = append(out, []string{"note", x})
	}
	return out
}
