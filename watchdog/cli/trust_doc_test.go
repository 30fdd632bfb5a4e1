package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// docs/trust.md is what its command prints, to the line.
func TestTrustDocIsWhatIsPrinted(t *testing.T) {
	hand, drone := filepath.Join(sharedData, "handheld_room.csv"), filepath.Join(sharedData, "drone_spiral.csv")
	if _, err := os.Stat(hand); err != nil {
		t.Skipf("needs the published recordings: %v", err)
	}
	if os.Getenv("PINFOLD_LONG") == "" {
		t.Skip("takes 20 s; set PINFOLD_LONG=1 to run it")
	}
	doc, err := os.ReadFile("../../docs/trust.md")
	if err != nil {
		t.Fatal(err)
	}
	code, said := runMain("trust", "--draws", "1000", hand, drone)
	if code != exitFine {
		t.Fatalf("exit status %d: %s", code, said)
	}
	for _, line := range strings.Split(strings.TrimSpace(said), "\n") {
		if !strings.Contains(string(doc), "    "+strings.TrimSpace(line)+"\n") {
			t.Errorf("not in docs/trust.md: %s", line)
		}
	}
}
