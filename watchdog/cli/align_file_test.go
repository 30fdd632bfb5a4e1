package cli

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/survey"
)

// roundOfMarks is a recording of a vehicle carried from mark to mark, 2.5 s on
// each, by a tracker whose frame is start's.
func roundOfMarks(start pose.Alignment, marks []pose.Vec) string {
	rng := rand.New(rand.NewPCG(7, 8))
	inv := start.Rotation.Conj()
	var b strings.Builder
	b.WriteString("t_ns,x,y,z,qw,qx,qy,qz\n")
	now, at := int64(1e9), marks[0]
	emit := func(p pose.Vec) {
		now += 10e6
		q := inv.Rotate(p.Sub(start.Translation)).Add(pose.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}.Scale(5e-4))
		fmt.Fprintf(&b, "%d,%.6f,%.6f,%.6f,%.12f,%.12f,%.12f,%.12f\n", now, q.X, q.Y, q.Z, inv.W, inv.X, inv.Y, inv.Z)
	}
	for _, m := range marks {
		n := int(m.Sub(at).Norm() / 0.008)
		for i := range n {
			emit(at.Add(m.Sub(at).Scale(float64(i) / float64(n))))
		}
		at = m
		for range 250 {
			emit(m)
		}
	}
	return b.String()
}

func TestAlignByMarksFromARecording(t *testing.T) {
	site := writeSite(t, "", "mqtt://127.0.0.1:1", 2.8) // no broker is asked
	dir := filepath.Dir(site)
	put := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	start := pose.YawAlignment(2.2, pose.Vec{X: 1, Y: -3, Z: 0.4}, 0)
	walk := put("walk.csv", roundOfMarks(start, []pose.Vec{{Z: 0.06}, {X: 5, Z: 0.06}, {X: 5, Y: 3, Z: 0.06}, {X: 1, Y: 4, Z: 0.06}}))
	file := filepath.Join(dir, "wren.align.json")
	run := func(args ...string) (int, string) {
		var out, errw bytes.Buffer
		code := Main(append([]string{"align", "--site", site, "--from", walk, "--file", file}, args...), nil, &out, &errw)
		return code, out.String() + errw.String()
	}
	for text, want := range map[string]string{
		"a,5,0,0.06\nb,0,0,0.06\nc,5,3,0.06\nd,1,4,0.06\n":          "swapped",
		"a,0,0,0.06\nb,5,0,0.06\nc,5,-3,0.06\nd,1,-4,0.06\n":        "mirror",
		"a,0,0,0.06\nb,5,0.5,0.06\nc,5,3,0.06\nd,1,4,0.06\n":        `mark "b" is the worst`,
		"a,0,0,0\nb,1,0,0\nc,2,0,0\nd,3,0,0\n":                      "on one line",
		"a,0,0,0.06\nb,5,0,0.06\nc,5,3,0.06\nd,1,4,0.06\ne,1,1,0\n": "4 of 5 marks taken",
	} {
		code, said := run("--marks", put("bad.csv", text))
		if code == exitFine || !strings.Contains(said, want) {
			t.Errorf("exit status %d, want %q: %s", code, want, said)
		}
		if _, err := os.Stat(file); err == nil {
			t.Fatalf("a file is written for %q", text)
		}
	}
	good := put("marks.csv", "name,x,y,z\na,0,0,0.06\nb,5,0,0.06\nc,5,3,0.06\nd,1,4,0.06\n")
	if code, said := run("--marks", good); code != exitFine || !strings.Contains(strings.Join(strings.Fields(said), " "), "A guard gives no permit") {
		t.Fatalf("exit status %d: %s", code, said)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	f, err := pose.ReadAlignment(data)
	if err != nil {
		t.Fatal(err)
	}
	// Mostly 0.3° of the tracker's vertical over the 5.6 m from the marks' middle
	// to the pen's furthest corner, and its 3.2 m of height.
	if off := f.Alignment.Point(pose.Vec{X: 3}).Sub(start.Point(pose.Vec{X: 3})).Norm(); off > f.Alignment.Residual ||
		f.Alignment.Residual < 5.6*0.3*math.Pi/180 || f.Alignment.Residual > 0.05 {
		t.Errorf("off by %g m, stated %g", off, f.Alignment.Residual)
	}
	// The last place it stood on is said to be 0.2 m from where it was, and
	// nothing in the site file covers that.
	code, said := run("--close", "--at", "1.2,4,0.06", "--heading", "0")
	if code != exitFound || !strings.Contains(said, "crept by 0.20") || !strings.Contains(said, "raise position_error") {
		t.Errorf("close: exit status %d: %s", code, said)
	}
	if code, said := run("--pad"); code != exitError || !strings.Contains(said, "where is the pad?") {
		t.Errorf("no pad: exit status %d: %s", code, said)
	}
	if code, said := run("--pad", "--at", fmt.Sprint(math.Pi)); code != exitError {
		t.Errorf("half a pad: exit status %d: %s", code, said)
	}
}

// What is stated holds from the marks' middle to the pen's furthest corner,
// floor or ceiling, whichever mark comes first.
func TestHowFarAnAlignmentHolds(t *testing.T) {
	site, err := config.Load(writeSite(t, "", "mqtt://127.0.0.1:1", 2.8))
	if err != nil {
		t.Fatal(err)
	}
	points := []survey.Point{{At: pose.Vec{Z: 0.1}}, {At: pose.Vec{X: 2, Z: 0.1}}, {At: pose.Vec{X: 1, Y: 3, Z: 0.1}}}
	for range points {
		points = append(points[1:], points[0])
		a := &aligner{cmd: &alignCmd{}, v: &site.Vehicles[0]}
		reach, rise := a.far(middle(points)) // the middle is (1, 1, 0.1)
		if math.Abs(reach-math.Hypot(6, 4)) > 1e-9 || math.Abs(rise-(site.Vehicles[0].Shapes[0].Ceiling-0.1)) > 1e-9 {
			t.Errorf("reach %v m, rise %v m", reach, rise)
		}
	}
}

// A tracker without an id that is switched off and on while align waits: the tie is
// good since it was on again, or the guard that saw the restart refuses it.
func TestAlignIsOfTheSessionItMeasured(t *testing.T) {
	v := &config.Vehicle{}
	v.Config.Pose = pose.DefaultConfig()
	for what, try := range map[string]struct {
		from, id    string
		again, want time.Duration // stamp of the first after the silence; of the session's first
	}{
		"the host's clock":         {again: 90 * time.Second, want: 90 * time.Second},
		"stamps that begin anew":   {again: time.Second, want: time.Second},
		"an id that stays":         {id: "cam", again: 90 * time.Second, want: time.Minute},
		"silence in a recording":   {from: "walk.csv", again: 90 * time.Second, want: time.Minute},
		"no silence, but one late": {again: 61*time.Second + 50*time.Millisecond, want: time.Minute},
	} {
		a := &aligner{cmd: &alignCmd{From: try.from}, v: v}
		for _, begin := range []time.Duration{time.Minute, try.again} {
			for i := range 100 {
				a.note(&pose.Sample{Stamp: int64(begin + time.Duration(i)*10*time.Millisecond), Tracker: try.id})
			}
		}
		if got := time.Duration(a.first); got != try.want {
			t.Errorf("%s: since %v, want %v", what, got, try.want)
		}
	}
}
