package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestReviewExports(t *testing.T) {
	folder, dir := madeSession(t, 2), t.TempDir()
	for _, f := range []string{"csv", "geojson", "tum", "parquet"} {
		path := filepath.Join(dir, "out."+f)
		code, out, errs := pinfold("review", folder, "--export", f, "--out", path)
		if code != exitFine || !strings.Contains(strings.Join(strings.Fields(out), " "), "2400 judged poses") {
			t.Errorf("%s: exit %d, %q, %q", f, code, out, errs)
		}
		first, err := os.ReadFile(path)
		if err != nil || len(first) == 0 {
			t.Fatalf("%s: %d bytes, %v", f, len(first), err)
		}
		if code, _, errs = pinfold("review", folder, "--export", f, "--out", path); code != exitError || !strings.Contains(errs, "--replace") {
			t.Errorf("%s: over a file that is there: exit %d, %q", f, code, errs)
		}
		if err := os.WriteFile(path, []byte("old"), 0o600); err != nil {
			t.Fatal(err)
		}
		if code, _, errs = pinfold("review", "--json", folder, "--export", f, "--out", path, "--replace"); code != exitFine {
			t.Errorf("%s: replaced: exit %d, %q", f, code, errs)
		}
		if again, _ := os.ReadFile(path); string(again) != string(first) {
			t.Errorf("%s: replaced by something else", f)
		}
	}
	// An exported recording is one that replay takes.
	site := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(site, []byte(madeHall), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := pinfold("replay", "--site", site, filepath.Join(dir, "out.tum")); code == exitError || !strings.Contains(out, "2400 samples") {
		t.Errorf("replay of it: exit %d, %q, %q", code, out, errs)
	}
	for _, c := range []struct {
		want string
		args []string
	}{
		{"--out FILE", []string{folder, "--export", "csv"}},
		{"go with --export", []string{folder, "--out", filepath.Join(dir, "x")}},
		{"is not a file", []string{folder, "--export", "csv", "--out", dir, "--replace"}},
		{"folder that can be written", []string{folder, "--export", "csv", "--out", filepath.Join(dir, "none", "x")}},
		{"one session", []string{dir, "--export", "csv", "--out", filepath.Join(dir, "x")}},
		{"no vehicle", []string{folder, "--export", "csv", "--vehicle", "vole", "--out", filepath.Join(dir, "x")}},
		{"parquet", []string{folder, "--export", "xml", "--out", filepath.Join(dir, "x")}},
	} {
		if code, _, errs := pinfold(append([]string{"review"}, c.args...)...); code != exitError || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %q, want %q", c.args, code, errs, c.want)
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, ".pinfold-*"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "x")); err == nil {
		t.Error("a refused export left a file")
	}
}
