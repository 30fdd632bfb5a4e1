package watchdog

import (
	"strings"
	"testing"
)

// A hole in the sender's stamps is no silence: the poses arrive, and "no pose
// for 0.00 s" would say nothing.
func TestStaleSaysWhatIsMissing(t *testing.T) {
	for value, want := range map[float64]string{
		0:    "a gap of more than 0.10 s in the sender's stamps",
		0.1:  "a gap of more than 0.10 s in the sender's stamps",
		0.25: "no pose for 0.25 s, limit 0.10 s",
	} {
		if got := poseSentence(&Cause{Kind: CausePoseStale, Value: value, Limit: 0.1}); !strings.Contains(got, want) {
			t.Errorf("value %v: %q", value, got)
		}
	}
}
