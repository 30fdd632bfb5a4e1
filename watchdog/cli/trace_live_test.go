package cli

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// alignedSite is a site whose tracker is tied to the room by a file.
func alignedSite(t *testing.T, url string, a *pose.Alignment) string {
	t.Helper()
	site := writeSite(t, "", url, 2.8)
	text, err := os.ReadFile(site)
	if err != nil {
		t.Fatal(err)
	}
	dir := filepath.Dir(site)
	tied := strings.Replace(string(text), "[vehicle.limits]", "[vehicle.pose.align]\nfile = \"wren.align.json\"\n[vehicle.limits]", 1)
	tempFile(t, dir, "site.toml", "zones = \"more.geojson\"\n"+tied)
	f := pose.AlignmentFile{Vehicle: "wren", Method: pose.MethodPad, Made: time.Now(), Samples: 100, Alignment: *a, Pad: &pose.PadSpot{}}
	data, err := pose.WriteAlignment(&f)
	if err != nil {
		t.Fatal(err)
	}
	tempFile(t, dir, "wren.align.json", string(data))
	return site
}

func tiedFrame() pose.Alignment {
	a := pose.YawAlignment(2.1, pose.Vec{X: 4, Y: -3, Z: 0.5}, 0.02)
	a.Tracker, a.Since = "cam-1", 1
	return a
}

// A person goes to the edge, holds still, walks round 1.5 × 1.0 m with a rest
// that is not the end, and holds still again.
func TestTraceLive(t *testing.T) {
	b := mosquittotest.Start(t)
	frame := tiedFrame()
	site := alignedSite(t, b.URL, &frame)
	h := &hand{frame: frame, at: pose.Vec{X: 2, Y: 2, Z: 1}}
	h.move(pose.Vec{X: 1, Y: 1, Z: 1})
	h.rest(900 * time.Millisecond)
	h.move(pose.Vec{X: 2.5, Y: 1, Z: 1})
	h.move(pose.Vec{X: 2.5, Y: 2, Z: 1})
	h.rest(900 * time.Millisecond)
	h.move(pose.Vec{X: 1, Y: 2, Z: 1})
	h.move(pose.Vec{X: 1, Y: 1, Z: 1})
	var said overheard
	h.play(t, listen(t, b.URL, "wren"), func() bool { return strings.Contains(said.String(), "Go to") })
	code := Main([]string{"trace", "post", "--site", site, "--kind", "keep-out", "--ceiling", "1.5", "--hold", "500ms", "--wait", "30s"}, nil, &said, &said)
	if code != exitFine {
		t.Fatalf("exit status %d:\n%s", code, said.String())
	}
	if w := inOrder(said.String(), "Go to the edge", "hold\nit still", "begun", "Walk along", "Back here", "resting 1.", "walk on", "closed", `keep-out "post"`,
		"may be off\nby 0.020 m", "more.geojson", "post.svg", "pinfold check"); w != "" {
		t.Errorf("does not say %q in its place:\n%s", w, said.String())
	}
	if line := narrow(said.String()); line != "" {
		t.Errorf("wider than 60 columns: %q", line)
	}
	data, err := os.ReadFile(filepath.Join(filepath.Dir(site), "more.geojson"))
	if err != nil {
		t.Fatal(err)
	}
	shapes, err := zones.ReadGeoJSON(data)
	if err != nil || len(shapes) != 1 {
		t.Fatalf("%v: %s", err, data)
	}
	ring := shapes[0].Rings[0]
	if a := ringArea(ring); math.Abs(a-1.5) > 0.06*1.5 {
		t.Errorf("%.3f m², walked were 1.5", a)
	}
	for _, p := range ring { // in the site frame, not the tracker's
		if p.X < 0.9 || p.X > 2.6 || p.Y < 0.9 || p.Y > 2.1 {
			t.Errorf("corner %v is not where the edge is", p)
		}
	}
}

// ringArea is the shoelace formula.
func ringArea(r []zones.XY) (sum float64) {
	for i := range r {
		j := (i + 1) % len(r)
		sum += (r[i].X*r[j].Y - r[j].X*r[i].Y) / 2
	}
	return math.Abs(sum)
}

// A tracker that restarts or gets lost on the way ends the walk, and so does
// ^C; nothing is written.
func TestTraceLiveGivenUp(t *testing.T) {
	b := mosquittotest.Start(t)
	l := listen(t, b.URL, "wren")
	for _, c := range []struct {
		name   string
		spoil  func(h *hand)
		breaks bool
		want   string
	}{
		{"restart", func(h *hand) { h.frame.Tracker = "cam-2"; h.rest(time.Second) }, false, `the tracker restarted ("cam-1", then "cam-2")`},
		{"another session", func(h *hand) {
			for i := range h.out {
				h.out[i].Tracker = "cam-9"
			}
		}, false, `session "cam-1", and this one is "cam-9"`},
		{"^C", func(*hand) {}, true, "given up after "},
	} {
		t.Run(c.name, func(t *testing.T) {
			frame := tiedFrame()
			site := alignedSite(t, b.URL, &frame)
			h := &hand{frame: frame, at: pose.Vec{X: 1, Y: 1, Z: 1}}
			h.rest(900 * time.Millisecond)
			h.move(pose.Vec{X: 2.5, Y: 1, Z: 1})
			c.spoil(h)
			p := start(t, "trace", "post", "--site", site, "--kind", "keep-out", "--ceiling", "1.5", "--hold", "400ms", "--wait", "30s")
			h.play(t, l, func() bool { return strings.Contains(p.text(), "Go to") })
			if c.breaks {
				within(t, 10*time.Second, "the walk is under way", func() bool { return strings.Contains(p.text(), " m walked") })
				if code := p.end(syscall.SIGINT); code != exitFound {
					t.Errorf("exit status %d", code)
				}
			} else if code := p.wait(15 * time.Second); code != exitFound {
				t.Errorf("exit status %d", code)
			}
			if !strings.Contains(strings.ReplaceAll(p.text(), "\n  ", " "), c.want) || !strings.Contains(strings.ToLower(p.text()), "nothing was written") {
				t.Errorf("want %q:\n%s", c.want, p.text())
			}
			if _, err := os.Stat(filepath.Join(filepath.Dir(site), "more.geojson")); err == nil {
				t.Error("a zone was written")
			}
		})
	}
}

// Four marks taken live, each prompt when it is due.
func TestAlignByMarksLive(t *testing.T) {
	b := mosquittotest.Start(t)
	site := writeSite(t, "", b.URL, 2.8)
	dir := filepath.Dir(site)
	file := filepath.Join(dir, "wren.align.json")
	marks := tempFile(t, dir, "marks.csv", "name,x,y,z\ndoor, 1, 1, 0.8\npost, 3, 1, 0.8\nstairs, 3, 2.5, 0.8\nbench, 1.4, 2.2, 0.3\n")
	frame := tiedFrame()
	h := &hand{frame: frame, at: pose.Vec{X: 1, Y: 1, Z: 0.8}}
	for _, p := range []pose.Vec{{X: 1, Y: 1, Z: 0.8}, {X: 3, Y: 1, Z: 0.8}, {X: 3, Y: 2.5, Z: 0.8}, {X: 1.4, Y: 2.2, Z: 0.3}} {
		h.move(p)
		h.rest(1100 * time.Millisecond)
	}
	var said overheard
	h.play(t, listen(t, b.URL, "wren"), func() bool { return strings.Contains(said.String(), "Mark 1") })
	code := Main([]string{"align", "--marks", marks, "--site", site, "--file", file, "--hold", "600ms", "--wait", "30s"}, nil, &said, &said)
	if code != exitFine {
		t.Fatalf("exit status %d:\n%s", code, said.String())
	}
	var want []string
	for i, name := range []string{"door", "post", "stairs", "bench"} {
		want = append(want, fmt.Sprintf("Mark %d of 4: put wren on %q\n", i+1, name), "hold still", "taken; ")
	}
	if w := inOrder(said.String(), append(want, "leave it there", "off by 0.0", "yaw 120.3", "void once the tracker")...); w != "" {
		t.Errorf("does not say %q in its place:\n%s", w, said.String())
	}
	if line := narrow(said.String()); line != "" {
		t.Errorf("wider than 60 columns: %q", line)
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	f, err := pose.ReadAlignment(data)
	if err != nil {
		t.Fatal(err)
	}
	p := pose.Vec{X: 2, Y: 1, Z: 1}
	if d := f.Alignment.Point(p).Sub(frame.Point(p)).Norm(); d > 0.003 || f.Alignment.Tracker != "cam-1" || f.Method != pose.MethodMarks {
		t.Errorf("off by %g m: %+v", d, f)
	}
}
