package pose

import (
	"math"
	"reflect"
	"strings"
	"testing"
	"time"
)

func padFile() AlignmentFile {
	a := YawAlignment(0.7, Vec{1, -2, 0.03}, 0.12)
	a.Tracker, a.Since = "cam-1", 12e9
	made := time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC)
	a.Epoch = made.Add(-time.Minute).UnixNano()
	return AlignmentFile{Site: "Hall", Vehicle: "wren", Alignment: a, Method: MethodPad, Made: made,
		Epoch: made.Add(-time.Minute), Samples: 400, Pad: &PadSpot{Vec{1, 1, 0.06}, 0.5}}
}

func marksFile() AlignmentFile {
	f := padFile()
	f.Alignment.Rotation = FromEuler(0.05, -0.02, 2)
	f.Alignment.Tracker, f.Alignment.Epoch, f.Epoch, f.Pad, f.Method = "", 0, time.Time{}, nil, MethodMarksFull
	f.Alignment.Unbound = true
	f.Marks = []MarkLeft{{"north post", 0.004}, {"door", 0.011}, {"step", 0}}
	return f
}

func TestAlignmentFileComesBack(t *testing.T) {
	old := padFile()
	old.Site = "" // of the first format
	for _, f := range []AlignmentFile{padFile(), marksFile(), old} {
		data, err := WriteAlignment(&f)
		if err != nil {
			t.Fatal(err)
		}
		if first := strings.HasPrefix(string(data), "{\n  \"alignment\": 1,\n  \"vehicle\""); first != (f.Site == "") {
			t.Errorf("the format is not told by the site: %.40s", data)
		}
		got, err := ReadAlignment(data)
		if err != nil {
			t.Fatal(err)
		}
		d := got.Alignment.Rotation.Mul(f.Alignment.Rotation.Conj()).rotationVector().Norm()
		if d > 1e-12 || f.Pad != nil && math.Abs(got.Pad.Yaw-f.Pad.Yaw) > 1e-12 {
			t.Errorf("turned by %g rad", d)
		}
		got.Alignment.Rotation = f.Alignment.Rotation // degrees and back
		if f.Pad != nil {
			got.Pad.Yaw = f.Pad.Yaw
		}
		if !reflect.DeepEqual(got, f) {
			t.Errorf("got %+v\nwant %+v", got, f)
		}
	}
}

func TestAlignmentFileIsReadStrictly(t *testing.T) {
	f, g := padFile(), marksFile()
	pad, err := WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	marks, err := WriteAlignment(&g)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ from, old, new, want string }{
		{string(pad), `"residual": 0.12`, `"residual": -0.12`, "/residual: -0.12 is not within 0 to 10"},
		{string(pad), `"residual": 0.12`, `"residual": 1e400`, "/residual"},
		{string(pad), `"residual": 0.12`, `"residual": null`, "/residual: is missing"},
		{string(pad), `"residual": 0.12`, `"residual": 0.1, "residual": 0.2`, "duplicate"},
		{string(pad), `"residual": 0.12`, `"Residual": 0.12`, "/Residual is unknown"},
		{string(pad), `"residual": 0.12`, `"residual": "0.12"`, "/residual"},
		{string(pad), `"alignment": 2`, `"alignment": 3`, "/alignment"},
		{string(pad), `"alignment": 2`, `"alignment": 1`, "/site: does not belong"},
		{string(pad), `"site": "Hall"`, `"site": ""`, "/site: is missing"},
		{string(pad), `"site": "Hall",`, ``, "/site: is missing"},
		{string(pad), `"method": "pad"`, `"method": "guess"`, `"guess" is none of`},
		{string(pad), `"method": "pad"`, `"method": "marks"`, "0 marks where"},
		{string(pad), `"tracker": "cam-1"`, `"tracker": ""`, "/tracker: is missing"},
		{string(pad), `"since_ns": 12000000000`, `"since_ns": -1`, "/since_ns"},
		{string(pad), `"yaw": 4`, `"spin": 4`, "/spin is unknown"},
		{string(pad), `"made": "2026-03-01T09:30:00Z"`, `"made": "today"`, "/made"},
		{string(pad), `"x": 1,`, `"x": 1e7,`, "1e+07 is not within"},
		{string(pad), `{`, `[`, "line 1: the file as a whole"},
		{string(pad), "\n}\n", "\n}\n}", "not valid JSON"},
		{string(pad), "\n}\n", "", "not valid JSON"},
		{string(marks), `"w":`, `"w": 5, "v":`, "/rotation/v is unknown"},
		{string(marks), `"rotation"`, `"yaw": 3, "rotation"`, "either yaw or rotation"},
		{string(marks), `"residual": 0.011`, `"residual": -1`, "/marks/1/residual"},
	} {
		text := strings.Replace(c.from, c.old, c.new, 1)
		if text == c.from {
			t.Errorf("%s is not in the file", c.old)
			continue
		}
		_, err := ReadAlignment([]byte(text))
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), remake) {
			t.Errorf("%s: %v; want %q", c.new, err, c.want)
		}
	}
	if _, err := ReadAlignment(make([]byte, MaxAlignmentFile+1)); err == nil {
		t.Error("too large a file is taken")
	}
	bad := padFile()
	bad.Alignment.Residual = math.NaN()
	if _, err := WriteAlignment(&bad); err == nil {
		t.Error("a residual that is no number is written")
	}
}

func FuzzReadAlignment(f *testing.F) {
	for _, a := range []AlignmentFile{padFile(), marksFile()} {
		data, err := WriteAlignment(&a)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		a, err := ReadAlignment(data)
		if err != nil {
			return
		}
		again, err := WriteAlignment(&a)
		if err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		if _, err := ReadAlignment(again); err != nil {
			t.Fatal(err)
		}
	})
}

// An alignment is of one session: an earlier stamp, or an id where there was
// none, is of another one.
func TestAlignmentOfAnotherSession(t *testing.T) {
	for _, c := range []struct {
		name   string
		align  Alignment
		stamp  time.Duration
		id     string
		voided bool
	}{
		{"same session", Alignment{Tracker: "cam", Since: int64(10 * time.Second)}, 10 * time.Second, "cam", false},
		{"other id", Alignment{Tracker: "cam", Since: int64(10 * time.Second)}, 20 * time.Second, "cam2", true},
		{"no id, same session", Alignment{Since: int64(10 * time.Second)}, 11 * time.Second, "", false},
		{"no id, counts anew", Alignment{Since: int64(10 * time.Second)}, 9 * time.Second, "", true},
		{"no id, tells one now", Alignment{Since: int64(10 * time.Second)}, 11 * time.Second, "cam", true},
		{"not bound", Alignment{}, 1, "cam", false},
	} {
		cfg := plain()
		cfg.Align = c.align
		track := newTrack(t, cfg)
		s := Sample{Stamp: int64(c.stamp), Orientation: Quat{W: 1}, Tracker: c.id}
		accept(t, track, s, time.Second)
		if got := track.Distrust(time.Second).Has(Restarted); got != c.voided {
			t.Errorf("%s: restarted %v", c.name, got)
		}
	}
}
