package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A key's file that a start could not use is found by check.
func TestCheckReadsTheKeys(t *testing.T) {
	site := demoFile(t)
	text, err := os.ReadFile(site)
	if err != nil {
		t.Fatal(err)
	}
	keep(t, site, string(text)+"[vehicle.signing]\nkey_file = \"mole.key\"\n")
	key := filepath.Join(filepath.Dir(site), "mole.key")
	for content, want := range map[string]string{"": "it is empty", "secret": "it holds no key", strings.Repeat("1f", 32): ""} {
		keep(t, key, content)
		code, out, errs := pinfold("check", "--site", site)
		switch {
		case want == "" && code != exitFine:
			t.Errorf("%q: exit status %d: %s%s", content, code, out, errs)
		case want != "" && (code != exitFound || !strings.Contains(out, want) || !strings.Contains(out, "vehicle.signing = mole") || strings.Contains(out, "secret")):
			t.Errorf("%q: exit status %d: %s%s", content, code, out, errs)
		}
	}
}
