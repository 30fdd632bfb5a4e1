package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"pinfold/watchdog/review"
)

func TestReplayByAnotherSite(t *testing.T) {
	folder := madeSession(t, 2)
	other := func(old, new string) string {
		text := strings.Replace(madeHall, old, new, 1)
		path := filepath.Join(t.TempDir(), "other.toml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, c := range []struct {
		name, old, new string
		code           int
		want           []string
	}{
		{"the same", "", "", exitFine, []string{"the same", "no stop differs", "emergency stop come first"}},
		{"a nearer wall", "7,5]", "6.82,5]", exitFound, []string{" EARLIER", "after the two parted"}},
		{"out of reach", "[[0,0],[7,0],[7,5],[0,5]]", "[[0,0],[9,0],[9,5],[0,5]]", exitFound, []string{"GONE", "NEW *", "after the two parted"}},
		{"another vehicle", `name = "mole"`, `name = "vole"`, exitError, []string{`no vehicle "mole"`, "vole"}},
		{"not a site", "[site]", "[sight]", exitError, []string{"sight"}},
	} {
		code, out, errs := pinfold("replay", folder, "--site", other(c.old, c.new))
		if code != c.code {
			t.Errorf("%s: exit %d, want %d: %s%s", c.name, code, c.code, out, errs)
		}
		for _, want := range c.want {
			if !strings.Contains(strings.Join(strings.Fields(out+errs), " "), strings.TrimSpace(want)) {
				t.Errorf("%s: lacks %q:\n%s%s", c.name, want, out, errs)
			}
		}
		for _, l := range strings.Split(out, "\n") {
			if utf8.RuneCountInString(l) > 60 && !strings.Contains(l, "other.toml") {
				t.Errorf("%s: more than 60 columns: %q", c.name, l)
			}
		}
	}

	code, out, _ := pinfold("replay", "--json", "--site", other("7,5]", "6.82,5]"), folder)
	var w review.WhatIf
	d := json.NewDecoder(strings.NewReader(out))
	d.DisallowUnknownFields()
	if err := d.Decode(&w); err != nil || code != exitFound || !w.Differs || len(w.Vehicles) != 1 || w.Vehicles[0].Stops[0].Fate != review.FateEarlier {
		t.Errorf("as JSON: exit %d, %v, %+v", code, err, w)
	}
	// The poses alone, as a recording: its clock begins with the first pose.
	code, out, errs := pinfold("replay", "--json", "--poses", "--site", other("", ""), folder)
	var res review.Result
	if err := json.Unmarshal([]byte(out), &res); err != nil || code != exitFound || res.Samples != 2400 {
		t.Errorf("as a recording: exit %d, %v, %+v, %s", code, err, res, errs)
	}
	if code, _, errs := pinfold("replay", "--poses", folder); code != exitError || !strings.Contains(errs, "--site") {
		t.Errorf("poses without a site: exit %d, %q", code, errs)
	}
}
