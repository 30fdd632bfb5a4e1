package review

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/console/browsertest"
	"pinfold/zones"
)

// handmade is a report with every part in it, and with names that would break
// a page that did not escape them.
func handmade() *Report {
	th := newThinner(60)
	v := Vehicle{Name: `wren <script>"&`, Kind: "multirotor", Levels: map[string]float64{"clear": 50, "stop": 10},
		Declared: Declared{Predict: true, Reaction: 0.15, Deceleration: 3, AckWithin: 0.5, Radius: 0.2, Caution: 0.3}}
	for id := watchdog.LimitID(0); id < watchdog.NumLimits; id++ {
		name, unit := id.Name()
		v.Limits = append(v.Limits, LimitUse{Name: name, Unit: unit, On: true, Max: 2, Caution: 1.8})
	}
	for i := range 12000 {
		t := float64(i) / 200
		level := watchdog.Clear
		if t > 50 {
			level = watchdog.Stop
		}
		th.add(&moment{t: t, x: 3 + 2*math.Cos(t), y: 2 + math.Sin(t), z: 1, speed: 1, moving: true, clear: math.Inf(-1), level: level})
	}
	th.flush()
	v.Track = th.track
	v.Track.LevelAt = []LevelFrom{{0, watchdog.Clear}, {50, watchdog.Stop}}
	v.Shapes = []zones.Shape{{Name: "cage </svg>", Kind: zones.KeepIn, Floor: 0, Ceiling: 3,
		Rings: [][]zones.XY{{{X: 0, Y: 0}, {X: 7, Y: 0}, {X: 7, Y: 5}, {X: 0, Y: 5}}}}}
	v.Slow = []zones.Shape{{Name: "gate", Floor: 0, Ceiling: 3, Rings: [][]zones.XY{{{X: 6, Y: 0}, {X: 7, Y: 0}, {X: 7, Y: 5}}}}}
	v.Stops = []Chain{{At: 50.125, Action: "stop", Speed: 1.234, Cause: watchdog.Cause{Word: "zone", Text: "a < b & c"}, Acked: 0.017,
		Falling: -1, Rest: 0.417, Distance: 0.38, Allowed: 0.55, Edge: 0.21, EdgeZone: "cage", AtRest: true, Deceleration: 2.71}}
	v.Near = []NearMiss{{At: 12.5, Clearance: 0.07, Zone: "cage"}}
	v.Ties = []Tie{{Outcome: "begun", Local: true, Tracker: "<eye>", Yaw: 12.5, Residual: 0.03, Uncertainty: 0.05},
		{At: 3, Outcome: "refused", By: `<b>"me"`, Why: []string{"a & b"}}}
	read := DriftAtClose{DriftRecord: DriftRecord{Vehicle: v.Name, Head: "00", Drift: DriftReport{Declared: 0.1}}}
	bad := DriftAtClose{DriftRecord: DriftRecord{Vehicle: v.Name}, Problem: "cut <short>"}
	return &Report{Drifts: []DriftAtClose{read, bad}, Session: Session{ID: "s1", Site: "Site & <b>", Rows: []Row{{Vehicle: "wren", Cause: "zone", From: 50.12, To: 50.3,
		Text: "x < y", Level: "clear", Worst: 0.031, Unit: "m"}}}, Duration: 60, Story: []string{"One.", "Two.", "Three."},
		Vehicles: []Vehicle{v}, Cautions: []string{"c"}, Missing: []string{"m"}, Safety: "local aviation rules come first"}
}

func page(t testing.TB, rep *Report) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := rep.WritePage(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// The page is written so that a strict XML reader takes it too, but for the
// script, whose text HTML does not escape.
func TestPageIsWellFormed(t *testing.T) {
	p := regexp.MustCompile(`(?s)<script>.*?</script>`).ReplaceAll(page(t, handmade()), nil)
	d := xml.NewDecoder(bytes.NewReader(p))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			return
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

func TestPageNeedsNothingBesideIt(t *testing.T) {
	p := string(page(t, handmade()))
	for _, bad := range []string{"http:", "https:", "//www", " src=", "@import", "url(", "<link rel=\"stylesheet\"", "NaN", "Inf", "<no value>"} {
		if strings.Contains(p, bad) {
			t.Errorf("the page holds %q", bad)
		}
	}
	for _, want := range []string{"local aviation rules come first", "One. Two. Three.", "slow gate", "50.12 s", "417 ms", "17 ms", "0.38 m of 0.55 m", "2.71", "0.07 m"} {
		if !strings.Contains(p, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

// Extremes of a single sample survive the thinning of an hour.
func TestThinningKeepsExtremes(t *testing.T) {
	th := newThinner(3600)
	for i := range 720000 {
		m := moment{t: float64(i) / 200, x: math.Sin(float64(i) / 3000), z: 1, clear: 1, moving: true, speed: 1, level: watchdog.Clear}
		switch i {
		case 123456:
			m.z, m.speed, m.x = 2.75, 1.9, 5
		case 654321:
			m.clear, m.tilt = -0.125, 44
		}
		th.add(&m)
	}
	th.flush()
	high, fast, low, lean, far := 0.0, 0.0, 1.0, 0.0, 0.0
	for i := range Buckets {
		high, fast = max(high, th.track.Height[i].Max), max(fast, th.track.Speed[i].Max)
		low, lean = min(low, th.track.Clearance[i].Min), max(lean, th.track.Tilt[i].Max)
	}
	for _, p := range th.track.Path {
		far = max(far, p.X)
	}
	if high != 2.75 || fast != 1.9 || low != -0.125 || lean != 44 || far != 5 {
		t.Errorf("height %v speed %v clearance %v tilt %v x %v: an extreme was lost", high, fast, low, lean, far)
	}
	if n := len(th.track.Path); n > maxPoints+6 {
		t.Errorf("%d points of the path, at most %d", n, maxPoints)
	}
}

// A short session has stretches without a pose: they are no gaps up to the age at
// which a pose is too old, and gaps from there on.
func TestShortStretchesAreHeld(t *testing.T) {
	th := newThinner(6) // stretches of 5 ms
	for i := range 600 {
		if at := float64(i) / 100; at < 3 || at > 3.5 {
			th.add(&moment{t: at, z: 1 + at, level: watchdog.Clear})
		}
	}
	th.flush()
	th.track.hold(0.1)
	for i := range 1199 {
		at := (float64(i) + 0.5) * th.track.Width
		if math.Abs(at-3.1) < 0.01 || math.Abs(at-3.5) < 0.01 {
			continue // the ends, to a stretch
		}
		if r := th.track.Height[i]; r.None != (at > 3.1 && at < 3.5) || !r.None && math.Abs(r.Min-1-at) > 0.12 {
			t.Errorf("at %.4f s: %+v", at, r)
		}
	}
}

func TestTallyPercentiles(t *testing.T) {
	ta := newTally(10)
	for i := 1; i <= 1000; i++ {
		ta.add(float64(i) / 100)
	}
	for _, c := range []struct{ q, want float64 }{{0.5, 5}, {0.99, 9.9}, {0.999, 9.99}, {1, 10}} {
		if got := ta.at(c.q); math.Abs(got-c.want) > 0.0011 {
			t.Errorf("share %v: %v, want %v", c.q, got, c.want)
		}
	}
}

// A real browser opens the page, runs its script and complains of nothing.
func TestPageInChromium(t *testing.T) {
	if testing.Short() {
		t.Skip("a browser takes seconds")
	}
	file := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(file, page(t, handmade()), 0o600); err != nil {
		t.Fatal(err)
	}
	p := browsertest.Open(t, file, 1000, 800)
	p.Wait("the script has run", `document.querySelector(".read").textContent.includes("Move over a chart to read it off")`, 10*time.Second)
	p.Shot("review_handmade")
	readsOff(t, p)
	zooms(t, p)
	p.Quiet()
}

// pointer sends a pointer event to the first chart, at a share of its time.
func pointer(p *browsertest.Page, kind string, share float64) {
	browsertest.Eval[bool](p, fmt.Sprintf(`(() => { const c = document.querySelector(".chart"), r = c.getBoundingClientRect();
		const x = r.left + (40 + %g * 856) / 900 * r.width;
		return c.dispatchEvent(new PointerEvent(%q, {clientX: x, clientY: r.top + r.height / 2, bubbles: true})); })()`, share, kind))
}

// readsOff holds what a chart says under the pointer against the numbers that
// were drawn: handmade goes at 1 m/s, 1 m high, with no clearance known.
func readsOff(t *testing.T, p *browsertest.Page) {
	t.Helper()
	pointer(p, "pointermove", 0.25)
	got := browsertest.Eval[string](p, `document.querySelector(".read").textContent`)
	if want := "15.00 s: height 1 m; speed 1 m/s; tilt 0 deg; clearance unknown"; got != want {
		t.Errorf("a quarter of the way the page reads off %q, want %q", got, want)
	}
}

// zooms draws a window over the third quarter, and goes back.
func zooms(t *testing.T, p *browsertest.Page) {
	t.Helper()
	window := func() [2]float64 {
		return browsertest.Eval[[2]float64](p, `(b => [b.x, b.x + b.width])(document.querySelector(".win").viewBox.baseVal)`)
	}
	near := func(what string, want [2]float64) {
		t.Helper()
		if got := window(); math.Abs(got[0]-want[0]) > 0.05 || math.Abs(got[1]-want[1]) > 0.05 {
			t.Errorf("%s the chart shows %v s, want %v", what, got, want)
		}
	}
	near("at first", [2]float64{0, 60})
	pointer(p, "pointerdown", 0.5)
	pointer(p, "pointerup", 0.75)
	near("zoomed in,", [2]float64{30, 45})
	pointer(p, "pointermove", 0.5)
	if got := browsertest.Eval[string](p, `document.querySelector(".read").textContent`); !strings.HasPrefix(got, "37.50 s: ") {
		t.Errorf("in the middle of 30 s to 45 s it reads off %q", got)
	}
	pointer(p, "dblclick", 0.5)
	near("after a double click", [2]float64{0, 60})
}
