package judge

import (
	"math"
	"os/exec"
	"strings"
	"testing"
	"time"
)

// The judge is a second opinion only as long as it shares no code with what it
// judges: of this module it imports nothing at all.
func TestImportsNothingOfThisModule(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", "-test=false", ".").Output()
	if err != nil {
		t.Skipf("go list is not available: %v", err)
	}
	for _, p := range strings.Fields(string(out)) {
		if strings.HasPrefix(p, "pinfold/") && p != "pinfold/sim/judge" {
			t.Errorf("imports %s", p)
		}
	}
	if !strings.Contains(string(out), "pinfold/sim/judge") {
		t.Errorf("go list did not list this package: %s", out)
	}
}

var square = [][2]float64{{0, 0}, {4, 0}, {4, 4}, {0, 4}}

func box(name string, x0, y0, x1, y1 float64) Region {
	return Region{Name: name, Outer: [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, Floor: 0, Ceiling: 3}
}

func newJudge(t *testing.T, p Pen) *Judge {
	t.Helper()
	j, err := New(p)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// Distances in and around a square and a height band, by hand: the room is the
// least of what is left on any side; outside, how far it would have to come
// back.
func TestRoomInABox(t *testing.T) {
	point := newJudge(t, Pen{Inside: []Region{{Name: "box", Outer: square, Floor: 0, Ceiling: 3}}})
	body := newJudge(t, Pen{Inside: []Region{{Name: "box", Outer: square, Floor: 0, Ceiling: 3}}, Radius: 0.5, Below: 0.1, Above: 0.2})
	for _, c := range []struct {
		x, y, z     float64
		point, body float64
	}{
		{2, 2, 1.5, 1.5, 1.3},                // the ceiling is nearest: 3 - 1.5 - 0.2
		{0.7, 2, 1.5, 0.7, 0.2},              // west wall
		{2, 3.8, 1.5, 0.2, -0.3},             // body through the north wall
		{4, 2, 1.5, 0, -0.5},                 // on the line
		{5, 2, 1.5, -1, -1.5},                // outside by one
		{2, 2, 0.3, 0.3, 0.2},                // floor
		{2, 2, 3.5, -0.5, -0.7},              // above the ceiling
		{7, 8, 1.5, -5, -5.5},                // 3-4-5 from the corner
		{7, 2, 7, -5, -math.Hypot(3.5, 4.2)}, // 3 beside and 4 above
	} {
		if got := point.Room(c.x, c.y, c.z); math.Abs(got-c.point) > 1e-12 {
			t.Errorf("point at (%v, %v, %v): %v, wanted %v", c.x, c.y, c.z, got, c.point)
		}
		if got := body.Room(c.x, c.y, c.z); math.Abs(got-c.body) > 1e-12 {
			t.Errorf("body at (%v, %v, %v): %v, wanted %v", c.x, c.y, c.z, got, c.body)
		}
	}
}

// A keep-out is kept clear of on every side, also above it.
func TestKeepOut(t *testing.T) {
	post := box("post", 1.9, 1.9, 2.1, 2.1)
	post.Ceiling = 1
	j := newJudge(t, Pen{Inside: []Region{box("hall", 0, 0, 4, 4)}, Outside: []Region{post}, Radius: 0.2, Below: 0.1, Above: 0.1})
	for _, c := range []struct{ x, y, z, want float64 }{
		{1, 2, 0.5, 0.4},               // floor: 0.5 - 0.1
		{1.5, 2, 0.5, 0.2},             // 0.4 to the post less the radius
		{2, 2, 0.5, -0.3},              // inside: 0.1 to its edge and the radius
		{2, 2, 1.3, 0.2},               // above its top, which the body clears by 0.2
		{1.6, 2, 1.2, math.Sqrt(0.02)}, // past its top edge: 0.1 aside, 0.1 above
	} {
		if got := j.Room(c.x, c.y, c.z); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("at (%v, %v, %v): %v, wanted %v", c.x, c.y, c.z, got, c.want)
		}
	}
}

// A hole of a keep-in zone is outside.
func TestHole(t *testing.T) {
	r := box("ring", 0, 0, 4, 4)
	r.Holes = [][][2]float64{{{1, 1}, {3, 1}, {3, 3}, {1, 3}}}
	j := newJudge(t, Pen{Inside: []Region{r}})
	if got := j.Room(2, 1.5, 1.5); math.Abs(got+0.5) > 1e-12 {
		t.Errorf("in the hole: %v, wanted -0.5", got)
	}
	if got := j.Room(0.4, 2, 1.5); math.Abs(got-0.4) > 1e-12 {
		t.Errorf("in the ring: %v, wanted 0.4", got)
	}
}

// A body that stands in the gateway between two overlapping regions is in the
// union, though in neither of them alone.
func TestUnion(t *testing.T) {
	j := newJudge(t, Pen{Inside: []Region{box("west", 0, 0, 2.2, 4), box("east", 1.8, 0, 4, 4)}, Radius: 0.5})
	if got := j.Room(2, 2, 1.5); !(got > 0) {
		t.Errorf("in the gateway: %v, wanted above 0", got)
	}
	if got := j.Room(2, 0.3, 1.5); !(got < 0) {
		t.Errorf("through the wall: %v, wanted below 0", got)
	}
	apart := newJudge(t, Pen{Inside: []Region{box("west", 0, 0, 1.8, 4), box("east", 2.2, 0, 4, 4)}, Radius: 0.5})
	if got := apart.Room(2, 2, 1.5); !(got < 0) {
		t.Errorf("between two regions: %v, wanted below 0", got)
	}
}

// The verdict counts, keeps the deepest breach, and only speaks of staying for
// a run that was seen to its end.
func TestVerdict(t *testing.T) {
	var none Verdict
	if none.Stayed() {
		t.Error("no run has stayed")
	}
	j := newJudge(t, Pen{Inside: []Region{box("hall", 0, 0, 4, 4)}})
	if v := j.Verdict(true); v.Stayed() {
		t.Error("a run without a look has stayed")
	}
	j.Look(time.Second, 2, 2, 1.5)
	if v := j.Verdict(false); v.Stayed() {
		t.Error("a run that goes on has stayed")
	}
	if v := j.Verdict(true); !v.Stayed() || v.Closest != 1.5 || v.Looks != 1 {
		t.Errorf("%+v", v)
	}
	j.Look(2*time.Second, 4.25, 2, 1.5)
	j.Look(3*time.Second, 4.125, 2, 1.5)
	v := j.Verdict(true)
	if v.Stayed() || v.Outside != 2 || v.Closest != -0.25 || v.Deepest != (Breach{0.25, 2 * time.Second, "hall"}) {
		t.Errorf("%+v", v)
	}
}

// On the line is outside, and so is what is not a number.
func TestOnTheLineAndNotFinite(t *testing.T) {
	for name, p := range map[string][3]float64{
		"line": {4, 2, 1.5}, "corner": {0, 0, 1.5}, "ceiling": {2, 2, 3}, "nan": {math.NaN(), 2, 1}, "inf": {2, math.Inf(1), 1},
	} {
		j := newJudge(t, Pen{Inside: []Region{box("hall", 0, 0, 4, 4)}})
		j.Look(0, p[0], p[1], p[2])
		if v := j.Verdict(true); v.Stayed() || v.Outside != 1 || !(v.Deepest.Depth > 0) {
			t.Errorf("%s: %+v", name, v)
		}
	}
}

func TestNewRefuses(t *testing.T) {
	good := box("hall", 0, 0, 4, 4)
	bad := func(change func(*Region)) Pen {
		r := box("hall", 0, 0, 4, 4)
		change(&r)
		return Pen{Inside: []Region{r}}
	}
	for want, p := range map[string]Pen{
		"no keep-in region":   {},
		"not a length":        {Inside: []Region{good}, Radius: math.NaN()},
		"body size -1":        {Inside: []Region{good}, Below: -1},
		"height band 3..0":    bad(func(r *Region) { r.Floor, r.Ceiling = 3, 0 }),
		"height band NaN":     bad(func(r *Region) { r.Floor = math.NaN() }),
		"a ring of 2 corners": bad(func(r *Region) { r.Outer = r.Outer[:2] }),
		"corner [+Inf":        bad(func(r *Region) { r.Outer[0][0] = math.Inf(1) }),
		"corner [NaN":         bad(func(r *Region) { r.Holes = [][][2]float64{{{math.NaN(), 0}, {1, 1}, {2, 2}}} }),
	} {
		if _, err := New(p); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, wanted %q", err, want)
		}
	}
}

// Ray crossings and distance against a slow second way: the winding of a
// finely walked ring, and the least distance to its points.
func TestSignedAgainstWalkedRing(t *testing.T) {
	star := Region{Outer: [][2]float64{{0, 0}, {5, 1}, {9, 0}, {7, 4}, {9, 9}, {4, 6}, {0, 8}, {2, 4}}}
	const n = 4000 // points a side; the longest side is 9.1 m, so 2.3 mm apart
	for x := -1.03; x < 10; x += 0.57 {
		for y := -1.07; y < 10; y += 0.61 {
			turn, least := 0.0, math.Inf(1)
			for i, a := range star.Outer {
				b := star.Outer[(i+1)%len(star.Outer)]
				for k := range n {
					px, py := a[0]+(b[0]-a[0])*float64(k)/n-x, a[1]+(b[1]-a[1])*float64(k)/n-y
					qx, qy := a[0]+(b[0]-a[0])*float64(k+1)/n-x, a[1]+(b[1]-a[1])*float64(k+1)/n-y
					turn += math.Atan2(px*qy-py*qx, px*qx+py*qy)
					least = math.Min(least, math.Hypot(px, py))
				}
			}
			got := star.signed(x, y)
			if inside := math.Abs(turn) > math.Pi; inside != (got > 0) || math.Abs(math.Abs(got)-least) > 2e-3 {
				t.Errorf("(%.2f, %.2f): %.4f, walked %.4f, inside %v", x, y, got, least, inside)
			}
		}
	}
}
