package config

import (
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// mustParse parses a fixture that is good.
func mustParse(t *testing.T, path string) *Site {
	t.Helper()
	s, err := parseFile(t, path)
	if err != nil {
		t.Fatalf("%s:\n%v", path, err)
	}
	return s
}

// mustParseText parses a text that is good.
func mustParseText(t *testing.T, text string) *Site {
	t.Helper()
	s, err := Parse("site.toml", []byte(text), readTestdata)
	if err != nil {
		t.Fatalf("%v\nin:\n%s", err, text)
	}
	return s
}

// text is a fixture as text.
func text(t *testing.T, name string) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", name))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// changed is text with old replaced by next, where it stands.
func changed(t *testing.T, text, old, next string) string {
	t.Helper()
	if !strings.Contains(text, old) {
		t.Fatalf("%q does not stand in the text", old)
	}
	return strings.Replace(text, old, next, 1)
}

// TestSketchLoads reads the smallest site file that makes sense, and sees that
// what it leaves out is filled in.
func TestSketchLoads(t *testing.T) {
	s := mustParse(t, "testdata/sketch.toml")
	v, ok := s.Vehicle("wren")
	if !ok || len(s.Vehicles) != 1 || s.Guard != "pinfold" || s.Broker.Prefix != "pinfold" || s.Broker.URL != "mqtt://127.0.0.1:1883" {
		t.Fatalf("%+v", s)
	}
	if s.Trail != (Trail{Dir: "trail", KeyFile: "trail.key", MaxBytes: 2_000_000_000}) {
		t.Errorf("trail: %+v", s.Trail)
	}
	c := v.Config
	if c.Kind != watchdog.Multirotor || c.Radius != 0.22 || c.Height != 0.12 || c.Guard != "pinfold" || c.Hash != s.Hash || c.Session != "" {
		t.Errorf("config: %+v", c)
	}
	want := watchdog.Limit{On: true, Max: 1.5, Caution: 1.35, Confirm: 2, Answer: watchdog.ActStop}
	if got := c.Limits[watchdog.LimitSpeed]; math.Abs(got.Caution-want.Caution) > 1e-12 || got.Max != 1.5 || got.Confirm != 2 || got.Answer != watchdog.ActStop || !got.On {
		t.Errorf("speed limit: %+v, want %+v", got, want)
	}
	if c.Limits[watchdog.LimitTurn].On || c.Limits[watchdog.LimitDistance].On || c.Limits[watchdog.LimitSession].On {
		t.Error("limits the file does not name are on")
	}
	st := c.Stopping
	if !st.Predict || st.Reaction != 150*ms || st.Deceleration != 3 || st.Vertical != 3 || st.Margin != 0.10 || st.PositionErr != DefaultPositionError || st.VelocityErr != DefaultVelocityError {
		t.Errorf("stopping: %+v", st)
	}
	if c.Pose.Axes != pose.ZUp || c.Pose.MaxAge != 100*ms || c.Pose.MaxLate != 100*ms || c.Pose.MaxSpeed != 3*(1.5+1.0) || c.Fields.X != "/position/x" {
		t.Errorf("pose: %+v %+v", c.Pose, c.Fields)
	}
	if c.Timing != watchdog.DefaultTiming() {
		t.Errorf("timing: %+v", c.Timing)
	}
}

// TestDemoLoads reads the demo's own site.
func TestDemoLoads(t *testing.T) {
	s := mustParse(t, "testdata/demo.toml")
	if len(s.Vehicles) != 2 || s.Name != "Brackenfield Community Workshop" {
		t.Fatalf("%+v", s)
	}
	wren, _ := s.Vehicle("wren")
	mole, _ := s.Vehicle("mole")
	if len(wren.Shapes) != 2 || len(mole.Shapes) != 2 || wren.Shapes[0].Name != "cage" || mole.Shapes[1].Name != "stairs" {
		t.Errorf("each vehicle has its own two zones: %+v, %+v", wren.Shapes, mole.Shapes)
	}
	if _, ok := s.Vehicle("nobody"); ok {
		t.Error("a vehicle nobody declared is found")
	}
	for _, r := range s.Rooms() {
		if r.AtRest.Empty() || r.Moving.Empty() || r.Moving.Pieces != 1 {
			t.Errorf("the demo has no room: %+v", r)
		}
	}
}

// TestDemoIsTheSimulators holds the fixture to the site the simulator prints.
func TestDemoIsTheSimulators(t *testing.T) {
	src, err := os.ReadFile("../sim/demo.go")
	if err != nil {
		t.Skipf("the simulator is absent: %v", err)
	}
	_, after, found := strings.Cut(string(src), "const demoSite = `")
	site, _, closed := strings.Cut(after, "`")
	if !found || !closed {
		t.Skip("the simulator keeps its site elsewhere now")
	}
	if want := strings.ReplaceAll(site, "%q", `"mqtt://127.0.0.1:1883"`); text(t, "demo.toml") != want {
		t.Error("testdata/demo.toml differs from the simulator's site: copy it again")
	}
}

// TestFull reads a file with every key, and looks at what became of each.
func TestFull(t *testing.T) {
	s := mustParse(t, "testdata/full.toml")
	if s.Guard != "hut-1" || !slices.Equal(s.Fellows, []string{"hut-2"}) || !reflect.DeepEqual(s.Broker, Broker{URL: "mqtts://broker.example:8883", Prefix: "yard/pinfold", User: "pinfold", PasswordFile: "password.txt", CA: "ca.pem", Cert: "cert.pem", Key: "key.pem", Budget: 120 * ms}) {
		t.Errorf("guard %q, broker %+v", s.Guard, s.Broker)
	}
	if s.Trail != (Trail{Dir: "evidence", MaxBytes: 1_500_000_000, KeyFile: "evidence.key"}) {
		t.Errorf("trail %+v", s.Trail)
	}
	if len(s.Files) != 2 || s.Files[0].Name != "site.toml" || s.Files[1].Name != "yard.geojson" || string(s.Files[0].Data) != text(t, "full.toml") {
		t.Errorf("files: %d", len(s.Files))
	}
	v, _ := s.Vehicle("wren")
	c := v.Config
	p := c.Pose
	if p.Axes != pose.YUp || p.MaxAge != 80*ms || p.MaxLate != 60*ms || p.FrozenAfter != 150*ms || p.MinConfidence != 0.4 || p.MinRateHz != 100 ||
		p.MaxSpeed != 8 || p.JumpSlack != 0.08 || p.MaxAccel != 20 || p.MaxClockStep != 200*ms || p.VelocityWindow != 40*ms || p.VelocityTolerance != 0.6 || p.RestartRadius != 0.05 || p.Settle != time.Second {
		t.Errorf("pose: %+v", p)
	}
	if p.Mount.Offset != (pose.Vec{X: 0.05, Z: 0.02}) || quatGap(p.Mount.Rotation, pose.FromEuler(0, 15*math.Pi/180, math.Pi/2)) > 1e-12 {
		t.Errorf("mount: %+v", p.Mount)
	}
	if p.Align.Translation != (pose.Vec{X: 1.25, Y: -0.5, Z: 0.1}) || quatGap(p.Align.Rotation, pose.FromYaw(35*math.Pi/180)) > 1e-12 || p.Align.Residual != 0.03 || p.Align.Tracker != "run-7" {
		t.Errorf("align: %+v", p.Align)
	}
	f := c.Fields
	if f.Stamp != "/t" || f.StampUnit != pose.Nanoseconds || f.Seq != "/n" || f.X != "/pose/position/x" || f.QW != "/pose/q/3" || f.QX != "/pose/q/0" || f.VZ != "/twist/linear/z" || !f.BodyVelocity || f.Tracker != "/session" || len(f.Words) != 3 || f.Words[0] != (pose.Word{Word: "high", Value: 1}) {
		t.Errorf("fields: %+v", f)
	}
	st := c.Stopping
	if !st.Predict || st.Trip != 40*ms || st.Deceleration != watchdog.BrakingByTilt(20*degree) || st.Vertical != 2.5 || st.Acceleration != 1 || st.Margin != 0.1 || math.Abs(st.PlaceErr()-0.05) > 1e-12 {
		t.Errorf("stopping (the residual widens the position error): %+v", st)
	}
	want := watchdog.Timing{PermitEvery: 40 * ms, PermitValid: 200 * ms, CommandEvery: 70 * ms, AckWithin: 400 * ms, StateEvery: 250 * ms, TripMost: 120 * ms, Stall: 300 * ms, CautionDwell: 600 * ms,
		TrustedFor: 3 * time.Second, RestFor: 400 * ms, RestSpeed: 0.1, ObeySlack: 0.25, ObeyTolerance: 0.75, ObeyConfirm: 4}
	if c.Timing != want || c.ZoneCaution != 0.4 || c.Home != (zones.XY{X: 2, Y: 2}) {
		t.Errorf("timing: %+v, caution %v, home %v", c.Timing, c.ZoneCaution, c.Home)
	}
	checkFullLimits(t, &c)
	m, _ := s.Vehicle("mole")
	if f := m.Config.Fields; f.StampNanos != "/stamp/nanosec" || f.Roll != "/roll" || !f.Degrees || f.QW != "" || !f.Percent || f.X != "/x" {
		t.Errorf("fields of mole: %+v", f)
	}
}

// quatGap is how far two quaternions are apart, component by component.
func quatGap(a, b pose.Quat) float64 {
	return math.Abs(a.W-b.W) + math.Abs(a.X-b.X) + math.Abs(a.Y-b.Y) + math.Abs(a.Z-b.Z)
}

func checkFullLimits(t *testing.T, c *watchdog.Config) {
	t.Helper()
	want := [watchdog.NumLimits]watchdog.Limit{
		watchdog.LimitHeight:   {On: true, Max: 4, Caution: 3.5, Confirm: 3, Answer: watchdog.ActStop},
		watchdog.LimitSpeed:    {On: true, Max: 2, Caution: 1.8, Confirm: 2, Answer: watchdog.ActStop},
		watchdog.LimitClimb:    {On: true, Max: 1, Caution: 0.9, Confirm: 2, Answer: watchdog.ActStop},
		watchdog.LimitDescent:  {On: true, Max: 0.8, Caution: 0.9 * 0.8, Confirm: 2, Answer: watchdog.ActStop},
		watchdog.LimitTilt:     {On: true, Max: 30, Caution: 25, Confirm: 1, Answer: watchdog.ActLand},
		watchdog.LimitTurn:     {On: true, Max: 180, Caution: 162, Confirm: 2, Answer: watchdog.ActStop},
		watchdog.LimitDistance: {On: true, Max: 16, Caution: 14.4, Confirm: 2, Answer: watchdog.ActCaution},
		watchdog.LimitSession:  {On: true, Max: 1200, Caution: 1080, Confirm: 2, Answer: watchdog.ActStop},
	}
	for id, w := range want {
		got := c.Limits[id]
		if math.Abs(got.Caution-w.Caution) > 1e-9 {
			t.Errorf("caution of limit %d: %v, want %v", id, got.Caution, w.Caution)
		}
		if got.Caution = w.Caution; got != w {
			t.Errorf("limit %d: %+v, want %+v", id, got, w)
		}
	}
}

// TestHashFollowsTheFiles sees that the hash is over names and bytes of all.
func TestHashFollowsTheFiles(t *testing.T) {
	a := []File{{"site.toml", []byte("ab")}, {"z", []byte("c")}}
	seen := map[string]bool{hashFiles(a): true}
	for _, b := range [][]File{
		{{"site.toml", []byte("a")}, {"z", []byte("bc")}},
		{{"site.toml", []byte("ab")}, {"zc", nil}},
		{{"site.toml", []byte("ab")}},
		{{"z", []byte("c")}, {"site.toml", []byte("ab")}},
	} {
		if h := hashFiles(b); seen[h] || len(h) != 64 {
			t.Errorf("%v has hash %s, which is no SHA-256 or was seen before", b, h)
		} else {
			seen[h] = true
		}
	}
	if again := append([]File(nil), a...); hashFiles(a) != hashFiles(again) {
		t.Error("the same files give two hashes")
	}
}

// TestLoadResolvesPaths loads from a directory of its own.
func TestLoadResolvesPaths(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"yard.geojson", "password.txt", "ca.pem", "cert.pem", "key.pem", "wren.key", "desk.key", "tracker.key"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text(t, name)), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(path, []byte(text(t, "full.toml")), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("STATE_DIRECTORY", "/var/lib/pinfold:/elsewhere")
	s, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	if s.Broker.PasswordFile != filepath.Join(dir, "password.txt") || s.Trail.Dir != "/var/lib/pinfold/evidence" || s.Trail.KeyFile != "/var/lib/pinfold/evidence.key" || s.Path != path {
		t.Errorf("%+v %+v %s", s.Broker, s.Trail, s.Path)
	}
	t.Setenv("STATE_DIRECTORY", "")
	again, err := Load(path)
	if err != nil || again.Trail.Dir != filepath.Join(dir, "evidence") || again.Trail.KeyFile != filepath.Join(dir, "evidence.key") || again.Hash != s.Hash || again.Files[0].Name != "site.toml" {
		t.Errorf("without a state directory: %v, %+v", err, again)
	}
}

// TestParseNeedsNoSecrets parses the files of a trail where the password and
// certificates are absent, as a review elsewhere does.
func TestParseNeedsNoSecrets(t *testing.T) {
	full := mustParse(t, "testdata/full.toml")
	s, err := Parse(full.Files[0].Name, full.Files[0].Data, func(name string) ([]byte, error) {
		for _, f := range full.Files {
			if f.Name == name {
				return f.Data, nil
			}
		}
		return nil, os.ErrNotExist
	})
	if err != nil {
		t.Fatal(err)
	}
	if s.Hash != full.Hash {
		t.Errorf("hash %q, want %q", s.Hash, full.Hash)
	}
}

// TestLoadCannotRead gives Load what is no readable file.
func TestLoadCannotRead(t *testing.T) {
	big := filepath.Join(t.TempDir(), "big.toml")
	if err := os.WriteFile(big, make([]byte, MaxSiteFile+1), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		filepath.Join(t.TempDir(), "gone.toml"): "there is no such file",
		t.TempDir():                             "it is not a file",
		big:                                     "more than 1048576",
	} {
		s, err := Load(path)
		if s != nil || err == nil || !strings.Contains(err.Error(), want) || !strings.HasPrefix(err.Error(), path) {
			t.Errorf("Load(%s): %v, %v; want %q", path, s, err, want)
		}
	}
}

// TestProblemsAreBounded sees that a file of nonsense does not bring a flood.
func TestProblemsAreBounded(t *testing.T) {
	var b strings.Builder
	b.WriteString(text(t, "sketch.toml"))
	for i := range 1000 {
		b.WriteString("[[zone]]\nname = \"z" + strings.Repeat("x", i%7) + "\"\n")
	}
	_, err := Parse("site.toml", []byte(b.String()), readTestdata)
	ps, ok := err.(Problems)
	if !ok || len(ps) != MaxProblems+1 || !strings.Contains(ps[MaxProblems].What, "more problems are not shown") {
		t.Errorf("%d problems, the last %v", len(ps), ps[len(ps)-1])
	}
}

// A guard may take some of the vehicles, but not one without the others that it
// keeps apart from.
func TestSiteOfSomeVehicles(t *testing.T) {
	apart := mustQuickly(t, text(t, "full.toml"))
	if _, err := apart.Only([]string{"wren"}); err == nil || !strings.Contains(err.Error(), `"wren" keeps apart from "mole"`) {
		t.Errorf("one of two that keep apart: %v", err)
	}
	if s, err := apart.Only([]string{"mole", "wren"}); err != nil || len(s.Vehicles) != 2 || s.Vehicles[0].Name != "wren" {
		t.Errorf("both: %v", err)
	}
	alone := mustQuickly(t, text(t, "demo.toml"))
	s, err := alone.Only([]string{"mole"})
	if err != nil || len(s.Vehicles) != 1 || s.Vehicles[0].Name != "mole" || s.Hash != alone.Hash || len(alone.Vehicles) != 2 {
		t.Errorf("one of two that do not keep apart: %v", err)
	}
	if rooms := s.Rooms(); len(rooms) != 1 || rooms[0].Vehicle != "mole" {
		t.Errorf("rooms %+v", rooms)
	}
	for _, names := range [][]string{{"rook"}, {"mole", ""}} {
		if _, err := alone.Only(names); err == nil || !strings.Contains(err.Error(), "as one of: wren, mole") {
			t.Errorf("%q: %v", names, err)
		}
	}
}

// The nodes of a broker, one or several.
func TestBrokerOfSeveralNodes(t *testing.T) {
	demo := text(t, "demo.toml")
	for list, want := range map[string]string{
		`["mqtt://127.0.0.1:1883"]`:                          "mqtt://127.0.0.1:1883",
		`["mqtt://127.0.0.1:1883", "mqtt://127.0.0.1:1884"]`: "mqtt://127.0.0.1:1883 or mqtt://127.0.0.1:1884",
	} {
		s := mustQuickly(t, strings.Replace(demo, `"mqtt://127.0.0.1:1883"`, list, 1))
		if s.Broker.Addresses() != want || s.Broker.URL != "mqtt://127.0.0.1:1883" {
			t.Errorf("%s: %+v", list, s.Broker)
		}
	}
}
