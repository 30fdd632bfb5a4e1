package walk

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pinfold/watchdog"
	"pinfold/zones"
)

func box(x0, y0, x1, y1 float64) []zones.XY {
	return []zones.XY{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

func round32(x, y, r float64) (ring []zones.XY) {
	for i := range 32 {
		a := 2 * math.Pi * float64(i) / 32
		ring = append(ring, zones.XY{X: x + r*math.Cos(a), Y: y + r*math.Sin(a)})
	}
	return ring
}

func config(t *testing.T, shapes ...zones.Shape) *watchdog.Config {
	t.Helper()
	set, err := zones.New(shapes)
	if err != nil {
		t.Fatal(err)
	}
	c := &watchdog.Config{Vehicle: "wren", Kind: watchdog.Multirotor, Radius: 0.2, Height: 0.1, HasGround: true, Zones: set}
	c.Limits[watchdog.LimitTilt] = watchdog.Limit{On: true, Max: 25, Answer: watchdog.ActLand}
	c.Limits[watchdog.LimitHeight] = watchdog.Limit{On: true, Max: 2.8, Answer: watchdog.ActStop}
	c.Limits[watchdog.LimitTurn] = watchdog.Limit{On: true, Max: 90, Answer: watchdog.ActCaution}
	c.Limits[watchdog.LimitSession] = watchdog.Limit{On: true, Max: 600, Answer: watchdog.ActLand}
	return c
}

func titles(t *testing.T, c *watchdog.Config) (all []string, items []Item) {
	t.Helper()
	items, err := Plan(c)
	if err != nil {
		t.Fatal(err)
	}
	for i := range items {
		all = append(all, items[i].title())
	}
	return all, items
}

// TestPlanHasEveryEdgeThatIsOne: where two keep-in zones meet there is none, and
// a side of which a part is one is one.
func TestPlanHasEveryEdgeThatIsOne(t *testing.T) {
	c := config(t, zones.Shape{Name: "hall", Kind: zones.KeepIn, Floor: -1, Ceiling: 1.8, Rings: [][]zones.XY{box(0, 0, 7, 5)}},
		zones.Shape{Name: "annex", Kind: zones.KeepIn, Floor: -1, Ceiling: 1.8, Rings: [][]zones.XY{box(7, 0, 9, 2)}},
		zones.Shape{Name: "post", Kind: zones.KeepOut, Floor: -1, Ceiling: 3, Rings: [][]zones.XY{box(4, 2, 4.2, 2.2)}})
	got, items := titles(t, c)
	want := "edge 1 of hall, edge 2 of hall, edge 3 of hall, edge 4 of hall, ceiling of hall, " +
		"edge 1 of annex, edge 2 of annex, edge 3 of annex, ceiling of annex, " +
		"edge 1 of post, edge 2 of post, edge 3 of post, edge 4 of post, limit on height, limit on tilt, limit on turn, limit on session"
	if strings.Join(got, ", ") != want {
		t.Errorf("got  %s\nwant %s", strings.Join(got, ", "), want)
	}
	if at := items[1].At(); at.X != 7 || at.Y < 2.2 { // the annex leaves the upper part of that side
		t.Errorf("edge 2 of hall is sent to %+v", at)
	}
	if !strings.Contains(items[2].Text, "the long side at y = 5 m, at about (") {
		t.Errorf("edge 3 of hall: %s", items[2].Text)
	}
	for i := range items {
		it := &items[i]
		not := it.title() == "limit on height" || it.title() == "limit on turn" || it.title() == "limit on session"
		if (it.Outcome == NotWalked) != not || not != (it.Why != "") {
			t.Errorf("%s: %s, %q", it.title(), it.Outcome, it.Why)
		}
	}
}

// TestPlanTakesABendForOneEdge: a round zone is not walked corner by corner, and
// a long list is refused rather than cut.
func TestPlanTakesABendForOneEdge(t *testing.T) {
	hall := zones.Shape{Name: "hall", Kind: zones.KeepIn, Floor: -1, Ceiling: 5, Rings: [][]zones.XY{box(0, 0, 70, 50)}}
	c := config(t, hall, zones.Shape{Name: "tank", Kind: zones.KeepOut, Floor: -1, Ceiling: 5, Rings: [][]zones.XY{round32(20, 20, 3)}})
	got, _ := titles(t, c)
	if n := strings.Count(strings.Join(got, " "), "tank"); n < 8 || n > 16 {
		t.Errorf("the round tank has %d edges: %v", n, got)
	}
	all := []zones.Shape{hall}
	for i := range 30 {
		x := 2 * float64(i+1)
		all = append(all, zones.Shape{Name: "post " + string(rune('a'+i)), Kind: zones.KeepOut, Floor: -1, Ceiling: 5, Rings: [][]zones.XY{box(x, 10, x+0.5, 10.5)}})
	}
	if _, err := Plan(config(t, all...)); err == nil || !strings.Contains(err.Error(), "at most 80") {
		t.Errorf("120 edges: %v", err)
	}
}

// TestPlanSaysWhatIsOutOfReach: what begins above a hand is in the list all the
// same.
func TestPlanSaysWhatIsOutOfReach(t *testing.T) {
	c := config(t, zones.Shape{Name: "hall", Kind: zones.KeepIn, Floor: -1, Ceiling: 6, Rings: [][]zones.XY{box(0, 0, 7, 5)}},
		zones.Shape{Name: "lamp", Kind: zones.KeepOut, Floor: 3, Ceiling: 4, Rings: [][]zones.XY{box(4, 2, 4.2, 2.2)}},
		zones.Shape{Name: "table", Kind: zones.KeepOut, Floor: -1, Ceiling: 0.8, Rings: [][]zones.XY{box(1, 1, 2, 2)}})
	_, items := titles(t, c)
	seen := map[string]Outcome{}
	for i := range items {
		seen[items[i].title()] = items[i].Outcome
	}
	for name, want := range map[string]Outcome{"edge 1 of lamp": NotWalked, "floor of lamp": NotWalked, "ceiling of lamp": NotWalked,
		"ceiling of table": Open, "edge 1 of table": Open, "ceiling of hall": NotWalked} {
		if seen[name] != want {
			t.Errorf("%s: %q, want %q (%v)", name, seen[name], want, seen)
		}
	}
}

// TestFullListFitsASignedLine: at its longest, with every reason at its longest.
func TestFullListFitsASignedLine(t *testing.T) {
	l := List{Vehicle: strings.Repeat("v", 64), Site: strings.Repeat("0", 64), Tie: strings.Repeat("0", 64), By: strings.Repeat("b", 64), Shows: Shows, Ended: strings.Repeat("e", 200)}
	for i := range MaxItems {
		l.Items = append(l.Items, Item{No: i + 1, Kind: Ceiling, Name: strings.Repeat("n", 64), Side: 99, Text: strings.Repeat("t", 80), Outcome: NotWalked,
			Why: strings.Repeat("w", MaxWhy), Distance: -123.456})
	}
	if b, err := json.Marshal(&l); err != nil || len(b) > 32<<10-400 {
		t.Errorf("%d bytes, %v", len(b), err)
	}
}

// TestApart holds the distance from a side to figures worked out by hand.
func TestApart(t *testing.T) {
	way := []zones.XY{{X: 0, Y: 0}, {X: 4, Y: 0}, {X: 4, Y: 3}}
	for _, c := range []struct{ x, y, want float64 }{{2, 1, 1}, {-3, 4, 5}, {7, 7, 5}, {6, 1.5, 2}, {4, 0, 0}, {3, 2, 1}} {
		if got := apart(way, zones.XY{X: c.x, Y: c.y}); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("(%g, %g): %g, want %g", c.x, c.y, got, c.want)
		}
	}
}
