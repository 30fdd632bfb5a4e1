package review

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/paulmach/orb"
	"github.com/paulmach/orb/geojson"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
)

// judgedPoses are the poses that the guard of a session judged.
func judgedPoses(t *testing.T, folder string) (all []watchdog.Snapshot) {
	t.Helper()
	err := Watch(folder, func(_ string, kind watchdog.EventKind, s *watchdog.Snapshot, _ []watchdog.Effect) error {
		if n := len(all); kind == watchdog.EvPose && s.Judged && (n == 0 || all[n-1].Pose.Stamp != s.Pose.Stamp) {
			all = append(all, *s)
		}
		return nil
	})
	if err != nil || len(all) == 0 {
		t.Fatalf("%d poses, %v", len(all), err)
	}
	return all
}

func exported(t *testing.T, folder string, f Format) (*Exported, string) {
	t.Helper()
	var b bytes.Buffer
	x, err := Export(folder, "", f, "words", &b)
	if err != nil || !x.Same {
		t.Fatalf("%v %+v", err, x)
	}
	return x, b.String()
}

// samePoses reads text as a recording and holds every sample to its last bit.
func samePoses(t *testing.T, text string, want []watchdog.Snapshot) {
	t.Helper()
	r, err := recording.NewReader(strings.NewReader(text), "export")
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for ; ; n++ {
		s, err := r.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if n >= len(want) {
			t.Fatalf("more than %d samples", len(want))
		}
		p := &want[n].Pose
		if s != (pose.Sample{Stamp: p.Stamp, Position: p.Position, Orientation: p.Orientation}) {
			t.Fatalf("sample %d: %+v, judged was %+v", n, s, p)
		}
	}
	if n != len(want) {
		t.Errorf("%d samples, want %d", n, len(want))
	}
}

func TestExportTUMReadsBackTheSame(t *testing.T) {
	folder := session(t, 30*time.Second)
	want := judgedPoses(t, folder)
	x, text := exported(t, folder, TUM)
	samePoses(t, text, want)
	if x.Poses != uint64(len(want)) || x.Void != 0 {
		t.Errorf("%+v, want %d poses", x, len(want))
	}
}

func TestExportCSVReadsBackTheSame(t *testing.T) {
	folder := session(t, 30*time.Second)
	want := judgedPoses(t, folder)
	_, text := exported(t, folder, CSV)
	rows, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil || len(rows) != len(want)+1 {
		t.Fatalf("%d lines, want %d and a header: %v", len(rows), len(want), err)
	}
	// The first eight columns are a recording.
	var b strings.Builder
	for _, r := range rows {
		b.WriteString(strings.Join(r[:8], ",") + "\n")
	}
	samePoses(t, b.String(), want)
	number := func(i, col int, want float64, known bool) {
		t.Helper()
		got, err := strconv.ParseFloat(rows[i+1][col], 64)
		if known && (err != nil || got != want) || !known && rows[i+1][col] != "" {
			t.Fatalf("line %d, %s: %q, want %g, known %v", i+2, rows[0][col], rows[i+1][col], want, known)
		}
	}
	levels := map[string]bool{}
	for i := range want {
		s := &want[i]
		number(i, 8, s.Speed, s.Pose.HasVelocity)
		number(i, 9, s.Pose.Tilt*180/math.Pi, true)
		number(i, 10, s.Nearest.Clearance, !math.IsInf(s.Nearest.Clearance, 0))
		if rows[i+1][11] != s.Level.String() {
			t.Fatalf("line %d: level %q, want %q", i+2, rows[i+1][11], s.Level)
		}
		levels[rows[i+1][11]] = true
	}
	for _, l := range []string{"waiting", "caution", "stop"} {
		if !levels[l] {
			t.Errorf("no line at level %s", l)
		}
	}
}

// The document is read by a library of its own (paulmach/orb), and held to what
// RFC 7946 asks.
func TestExportGeoJSON(t *testing.T) {
	folder := session(t, 30*time.Second)
	want := judgedPoses(t, folder)
	x, text := exported(t, folder, GeoJSON)
	fc, err := geojson.UnmarshalFeatureCollection([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	sum, err := Read(folder)
	if err != nil {
		t.Fatal(err)
	}
	if len(fc.Features) != 1+len(sum.Rows) || x.Episodes != len(sum.Rows) || len(sum.Rows) == 0 {
		t.Fatalf("%d features, %d episodes", len(fc.Features), len(sum.Rows))
	}
	track := fc.Features[0]
	line, ok := track.Geometry.(orb.LineString)
	if !ok || len(line) < 2 || len(line) > maxPoints {
		t.Fatalf("the track is %T of %d", track.Geometry, len(line))
	}
	if times := track.Properties["times_s"].([]any); len(times) != len(line) {
		t.Errorf("%d times for %d points", len(times), len(line))
	}
	most := 0.0
	for i := range want {
		most = max(most, want[i].Pose.Position.X)
	}
	if got := line.Bound().Max[0]; math.Abs(got-most) > pathStep {
		t.Errorf("the track goes to x = %g, the vehicle to %g", got, most)
	}
	for i, f := range fc.Features[1:] {
		p, ok := f.Geometry.(orb.Point)
		r := &sum.Rows[i]
		if !ok || f.Properties["what"] != "episode" || f.Properties["cause"] != r.Cause || f.Properties["from_s"] != r.From {
			t.Errorf("episode %d: %T %+v", i, f.Geometry, f.Properties)
			continue
		}
		near := math.Inf(1)
		for j := range want {
			if at := want[j].At.Seconds(); math.Abs(at-r.From) < 0.05 {
				near = min(near, math.Abs(want[j].Pose.Position.X-p[0]))
			}
		}
		if near > 1e-9 {
			t.Errorf("episode %d at %.3f s: placed at x = %g, where the vehicle was not then", i, r.From, p[0])
		}
	}
	if fc.ExtraMembers["note"] != "words" || !strings.Contains(fc.ExtraMembers["frame"].(string), "RFC 7946 §4") {
		t.Errorf("foreign members: %v", fc.ExtraMembers)
	}
}

func TestExportRefuses(t *testing.T) {
	folder := session(t, 20*time.Second)
	for _, c := range []struct {
		vehicle string
		f       Format
		want    string
	}{{"vole", CSV, `no vehicle "vole"; it has mole`}, {"", "xml", "csv, geojson, tum or parquet"}} {
		if _, err := Export(folder, c.vehicle, c.f, "words", io.Discard); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q as %s: %v", c.vehicle, c.f, err)
		}
	}
	for _, f := range []Format{TUM, GeoJSON, Parquet} {
		if _, err := Export(folder, "", f, "words", full{}); !errors.Is(err, io.ErrShortWrite) {
			t.Errorf("%s, a full disk: %v", f, err)
		}
	}
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, io.ErrShortWrite }
