package review

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog/trail"
	"pinfold/zones"
)

// otherHall is the hall with some of its text replaced.
func otherHall(t *testing.T, change ...string) *config.Site {
	t.Helper()
	text := strings.NewReplacer(change...).Replace(hall)
	if len(change) > 0 && text == hall {
		t.Fatal("nothing was changed")
	}
	s, err := config.Parse("other.toml", []byte(text), nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

const wall = "[[0,0],[7,0],[7,5],[0,5]]"

func TestWhatIf(t *testing.T) {
	folder := session(t, 40*time.Second)
	judge := func(change ...string) *WhatIfVehicle {
		t.Helper()
		w, err := Judge(folder, otherHall(t, change...), "")
		if err != nil {
			t.Fatal(err)
		}
		if !w.Same || len(w.Vehicles) != 1 || w.Differs != (w.Vehicles[0].Parted >= 0) {
			t.Fatalf("%+v", w)
		}
		return &w.Vehicles[0]
	}
	fates := func(v *WhatIfVehicle) (s string) {
		for i := range v.Stops {
			s += string(v.Stops[i].Fate) + " "
		}
		return strings.TrimSpace(s)
	}

	v := judge()
	if fates(v) != "same" || v.Parted >= 0 || v.Permitted != v.Other || len(v.Refused) > 0 {
		t.Errorf("its own site file: %s, %+v", fates(v), v)
	}
	at := v.Stops[0].Was.At

	// At a steady 0.9 m/s a wall 0.18 m nearer is met 0.2 s earlier; the test's
	// poses are 5 ms apart.
	v = judge(wall, "[[0,0],[6.82,0],[6.82,5],[0,5]]")
	if fates(v) != "earlier" || math.Abs(v.Stops[0].Gain-0.2) > 0.0051 || v.Parted != v.Stops[0].Other.At || v.Stops[0].After {
		t.Errorf("a nearer wall: %s, %+v", fates(v), v.Stops)
	}
	if got := v.Permitted - v.Other; math.Abs(got-v.Stops[0].Gain) > 1e-9 {
		t.Errorf("a nearer wall: permitted %.4f s less, the stop came %.4f s earlier", got, v.Stops[0].Gain)
	}

	v = judge(wall, "[[0,0],[9,0],[9,5],[0,5]]")
	if fates(v) != "gone new" || v.Parted != at || !v.Stops[1].After || v.Stops[1].Other.Cause != "guard-closing" {
		t.Errorf("a wall out of reach: %s, %+v", fates(v), v.Stops[1].Other)
	}

	// To and fro it comes to 3.5 + 0.5·10/2π = 4.30 m, its edge to 4.60 m.
	v = judge(wall, "[[0,0],[4.65,0],[4.65,5],[0,5]]")
	if fates(v) != "new standing" || v.Stops[0].Other.At >= at-5 || !v.Stops[1].After {
		t.Errorf("a wall on the way to and fro: %s, %+v", fates(v), v.Stops)
	}

	v = judge(wall, "[[5,0],[9,0],[9,5],[5,5]]")
	if len(v.Refused) != 1 || v.Other != 0 || v.Parted != v.Refused[0].At || math.Abs(v.Parted-3) > 1e-9 {
		t.Errorf("started outside the other pen: %+v", v)
	}

	v = judge("speed = 1.0", "speed = 0.85")
	if fates(v) != "earlier" || v.Stops[0].Other.Cause == v.Stops[0].Was.Cause {
		t.Errorf("a lower speed limit: %s, %+v", fates(v), v.Stops)
	}
}

func TestWhatIfRefuses(t *testing.T) {
	folder := session(t, 20*time.Second)
	_, err := Judge(folder, otherHall(t, `name = "mole"`, `name = "vole"`), "")
	if err == nil || !strings.Contains(err.Error(), `no vehicle "mole"`) || !strings.Contains(err.Error(), "vole") {
		t.Errorf("a site without the vehicle: %v", err)
	}
	if _, err = Judge(folder, otherHall(t), "vole"); err == nil || !strings.Contains(err.Error(), "the session has no vehicle") {
		t.Errorf("a vehicle that the session does not have: %v", err)
	}
}

// Files that the other site file names and that do not stand beside it are the
// session's own.
func TestSiteForTakesTheSessionsCopies(t *testing.T) {
	folder := session(t, 20*time.Second)
	dir := t.TempDir()
	path := filepath.Join(dir, "other.toml")
	write := func(name, text string) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	kept := t.TempDir()
	w, err := trail.Create(trail.Options{Dir: kept, Session: "s1", Guard: "g", Site: "hall", Files: []trail.File{
		{Name: "site.toml", Data: []byte(hall)}, {Name: "yards_post.geojson", Data: post(t, 0.3)}}})
	if err != nil {
		t.Fatal(err)
	}
	sealed, err := w.Close(5 * time.Second)
	if err != nil {
		t.Fatal(err)
	}
	write("other.toml", "zones = \"yards/post.geojson\"\n"+hall)
	corner := func() float64 {
		t.Helper()
		s, err := SiteFor(sealed.Folder, path)
		if err != nil || s.Path != path || len(s.Vehicles[0].Shapes) != 2 {
			t.Fatalf("%v %+v", err, s)
		}
		for _, x := range s.Vehicles[0].Shapes {
			if x.Name == "post" {
				return x.Rings[0][1].X - x.Rings[0][0].X
			}
		}
		return 0
	}
	if got := corner(); got != 0.3 {
		t.Errorf("the session's copy: the post is %g m wide, want 0.3", got)
	}
	if err := os.Mkdir(filepath.Join(dir, "yards"), 0o700); err != nil {
		t.Fatal(err)
	}
	write("yards/post.geojson", string(post(t, 0.5)))
	if got := corner(); got != 0.5 {
		t.Errorf("the one beside the site file: the post is %g m wide, want 0.5", got)
	}
	if _, err := SiteFor(folder, path); err != nil {
		t.Errorf("a file that the session does not have, beside the site file: %v", err)
	}
	write("other.toml", strings.Replace(hall, "[[zone]]", "[ignored]\n[[zone]]", 1))
	if _, err := SiteFor(folder, path); err == nil || !strings.Contains(err.Error(), "ignored") {
		t.Errorf("an unknown key: %v", err)
	}
	if _, err := SiteFor(folder, dir); err == nil || !strings.Contains(err.Error(), "is not a file") {
		t.Errorf("a folder: %v", err)
	}
	if _, err := SiteFor(folder, filepath.Join(dir, "none")); err == nil || !strings.Contains(err.Error(), "--site") {
		t.Errorf("no file: %v", err)
	}
}

// post is a GeoJSON file with one square to keep out of.
func post(t *testing.T, side float64) []byte {
	t.Helper()
	data, err := zones.WriteGeoJSON([]zones.Shape{{Name: "post", Kind: zones.KeepOut, Ceiling: 2,
		Rings: [][]zones.XY{{{X: 0, Y: 0}, {X: side, Y: 0}, {X: side, Y: side}, {X: 0, Y: side}}}}})
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestPair(t *testing.T) {
	call := func(at, until time.Duration) Called {
		return Called{at: at * time.Second, until: until * time.Second, At: float64(at), Action: "stop", Cause: "zone", Name: "hall"}
	}
	jump := call(12, 0)
	jump.Cause, jump.Name = "pose-jump", ""
	asked := call(12, 0)
	asked.Cause, asked.Name = "operator", "desk"
	for _, c := range []struct {
		name       string
		was, other []Called
		want       string
	}{
		{"none", nil, nil, ""},
		{"gone after one that was reset", []Called{call(10, 20), call(30, 0)}, []Called{call(10, 20)}, "same gone"},
		{"standing", []Called{call(30, 0)}, []Called{call(10, 0)}, "new standing"},
		{"reset between", []Called{call(30, 0)}, []Called{call(10, 25)}, "new gone"},
		{"later", []Called{call(10, 20)}, []Called{call(12, 20)}, "later"},
		{"too late to be the same", []Called{call(10, 20)}, []Called{call(14, 20)}, "gone new"},
		{"the end of what is the same", []Called{call(10, 20)}, []Called{call(13, 20)}, "later"},
		{"the next one, not a late one", []Called{call(10, 11), jump}, []Called{jump}, "gone same"},
		{"the next one, not an early one", []Called{jump}, []Called{call(10, 11), jump}, "new same"},
		{"an operator's stop is no late answer", []Called{call(10, 20)}, []Called{asked}, "gone new"},
		{"an operator's stop in both", []Called{asked}, []Called{asked}, "same"},
	} {
		got := ""
		for _, s := range pair(c.was, c.other) {
			got += string(s.Fate) + " "
		}
		if strings.TrimSpace(got) != c.want {
			t.Errorf("%s: %s, want %s", c.name, got, c.want)
		}
	}
}
