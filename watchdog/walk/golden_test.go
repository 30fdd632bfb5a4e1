package walk

import (
	"encoding/json"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the golden list anew; a changed one needs a new name for what it is about")

// TestGoldenList holds the record to its frozen bytes: a trail that was signed
// once stays readable.
func TestGoldenList(t *testing.T) {
	l := List{Vehicle: "mole", Site: strings.Repeat("ab", 32), Tie: strings.Repeat("cd", 32), Residual: 0.06, By: "Wanda", Shows: "what it shows", Done: true, Ended: "every item was seen to",
		Items: []Item{
			{No: 1, Kind: Side, Name: "landing", Side: 1, Text: "the long side", Outcome: Walked, Distance: 0.288, Speed: 0.617, After: 0.1, Elsewhere: 1},
			{No: 2, Kind: Side, Name: "landing", Side: 2, Text: "the short side", Outcome: Late, Distance: -0.05, Speed: 1.2, After: -1},
			{No: 3, Kind: Limit, Name: "tilt", Text: "tilt it", Outcome: Walked, Value: 10.86, Max: 10, Unit: "deg", Speed: 0.01, After: 0.4},
			{No: 4, Kind: Ceiling, Name: "landing", Text: "it lies at 3 m", Outcome: NotWalked, Why: "3.00 m is out of a hand's reach"},
			{No: 5, Kind: Slow, Name: "gate", Text: "come into it", Outcome: Skipped, Why: "it cannot be reached", Max: 0.4, Unit: "m/s"},
			{No: 6, Kind: Floor, Name: "shelf", Text: "lower it", Outcome: Open},
		}}
	got, err := json.MarshalIndent(&l, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join("testdata", "list.json")
	if *update {
		if err := os.WriteFile(name, append(got, '\n'), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != strings.TrimSpace(string(want)) {
		t.Errorf("frozen bytes changed\n got %s\nwant %s", got, want)
	}
	var back List
	if err := json.Unmarshal(want, &back); err != nil || back.Count(Walked) != 2 || back.OK() || len(back.Items) != 6 {
		t.Errorf("read back %+v, %v", back, err)
	}
}
