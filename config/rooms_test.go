package config

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pinfold/watchdog"
	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// bigRover is a site for a rover on a square of the given half side, m, with
// the given limit and stop. Its reaction is what is left of the wanted total
// after half of max_age, the time to the next judgement and half the window.
func bigRover(half, speed, total, deceleration float64) string {
	rest := total - (pose.DefaultConfig().MaxAge/2 + pose.DefaultConfig().VelocityWindow/2 + watchdog.JudgeEvery).Seconds()
	return fmt.Sprintf(`[site]
name = "Test square"
local_rules = "A square for arithmetic, checked by this test"
[broker]
url = "mqtt://127.0.0.1:1883"
[[zone]]
name = "square"
kind = "keep-in"
floor = 0
ceiling = 3
polygon = [[%[1]v, %[1]v], [-%[1]v, %[1]v], [-%[1]v, -%[1]v], [%[1]v, -%[1]v]]
[[vehicle]]
name = "cart"
kind = "rover"
radius = 0.5
height = 1
pose = { axes = "z-up" }
limits = { speed = %[2]v }
[vehicle.stopping]
reaction = "%.9[3]fs"
deceleration = %[4]v
position_error = 0
velocity_error = 0
`, half, speed, rest, deceleration)
}

// TestStoppingAgainstTheGreenBook holds the stopping distance that check
// prints to AASHTO, A Policy on Geometric Design of Highways and Streets,
// stopping sight distance on level roads (t = 2.5 s, a = 3.4 m/s²). The rows of
// 80 to 110 km/h and all design values were read in a public source, the
// others are from memory and recomputed. The printed sums add rounded parts:
// the exact one is 0.4 to 0.8 % lower.
func TestStoppingAgainstTheGreenBook(t *testing.T) {
	for _, row := range []struct{ kmh, sum, exact float64 }{
		{20, 18.5, 18.428}, {30, 31.2, 31.046}, {50, 63.5, 63.090}, {80, 129.0, 128.177}, {100, 184.2, 182.916}, {130, 284.2, 282.044},
	} {
		s := mustParseText(t, bigRover(1000, row.kmh/3.6, 2.5, 3.4))
		r := s.Rooms()[0]
		if math.Abs(r.Stopping-row.exact) > 6e-4 || r.Stopping > row.sum || r.Stopping < row.sum*0.99 {
			t.Errorf("%v km/h: %v m, the table has %v, exactly %v", row.kmh, r.Stopping, row.sum, row.exact)
		}
		if math.Abs(r.Moving.Inset-(0.5+r.Stopping)) > 1e-9 {
			t.Errorf("%v km/h: inset %v is not radius and stopping distance", row.kmh, r.Moving.Inset)
		}
	}
}

// TestTiltAgainstSORA holds a braking declared as a tilt to the manoeuvre
// distance S_CM of JARUS SORA 2.5 Annex A §A.5.2, ½·V²/(g·tan Θ), g = 9.81
// (values computed from that formula, which three public re-implementations
// share).
func TestTiltAgainstSORA(t *testing.T) {
	for _, row := range []struct{ v, theta, distance float64 }{
		{1, 20, 0.1400}, {1, 30, 0.0883}, {1, 45, 0.0510}, {2, 20, 0.5601}, {2, 30, 0.3531}, {3, 45, 0.4587}, {3, 30, 0.7945}, {5, 20, 3.5009}, {5, 45, 1.2742},
	} {
		sketch := changed(t, text(t, "sketch.toml"), "deceleration = 3.0", fmt.Sprintf("tilt = %v\nvertical = 3", row.theta))
		s := mustQuickly(t, sketch)
		a := s.Vehicles[0].Config.Stopping.Deceleration
		if d := row.v * row.v / (2 * a); math.Abs(d-row.distance) > 6e-5 {
			t.Errorf("%v m/s, %v°: %v m, want %v", row.v, row.theta, d, row.distance)
		}
	}
}

// TestRoomOfASquare compares with arithmetic: a square of 20 m less the inset
// on every side.
func TestRoomOfASquare(t *testing.T) {
	r := mustParseText(t, bigRover(10, 2, 0.5, 2)).Rooms()[0]
	// 2 m/s · 0.5 s + 4/(2·2) m = 2 m, and half a metre of body.
	if math.Abs(r.Stopping-2) > 1e-9 || math.Abs(r.Reaction-0.5) > 1e-9 {
		t.Errorf("stopping %v in %v s", r.Stopping, r.Reaction)
	}
	near := func(what string, got, want, by float64) {
		if math.Abs(got-want) > by {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("area at rest", r.AtRest.Area, 19*19, 0.5)
	near("area moving", r.Moving.Area, 15*15, 0.5)
	near("circle", r.Moving.Radius, 7.5, 0.05)
	near("floor", r.Moving.Floor, 0.5, 1e-9)
	near("top", r.Moving.Top, 2.5, 1e-6)
	if r.Moving.Pieces != 1 || r.Fastest != 2 || !r.Predict {
		t.Errorf("%+v", r)
	}
	// Unguarded: permit's validity 0.25 s, the reaction and the braking.
	near("unguarded", r.Unguarded, 2*(0.25+0.5-0.085)+1, 1e-9)
}

// TestCoverLoss sees that the room grows by the permit's validity.
func TestCoverLoss(t *testing.T) {
	plain := bigRover(10, 2, 0.5, 2)
	covered := mustParseText(t, plain+"cover_loss = true\n").Rooms()[0]
	// 0.25 s of validity stand in for 0.05 s of age and 0.01 s of judgement.
	if want := 2 + 2*0.19; math.Abs(covered.Stopping-want) > 1e-9 {
		t.Errorf("stopping %v, want %v", covered.Stopping, want)
	}
}

// TestFastest sees that the speed a refusal names is one that is taken, and
// that a little more is not.
func TestFastest(t *testing.T) {
	// Half side 3 less 0.5 of body leaves 2.5: v·0.5 + v²/4 < 2.5 gives
	// v < −1 + √11 = 2.3166.
	_, err := Parse("site.toml", []byte(bigRover(3, 5, 0.5, 2)), readTestdata)
	if err == nil || !strings.Contains(err.Error(), "at 5 m/s the pen of \"cart\" has no usable volume") || !strings.Contains(err.Error(), "lower the limit to 2.3") {
		t.Errorf("%v", err)
	}
	mustParseText(t, bigRover(3, 2.3, 0.5, 2))
	if _, err := Parse("site.toml", []byte(bigRover(3, 2.33, 0.5, 2)), readTestdata); err == nil {
		t.Error("2.33 m/s is taken")
	}
}

// TestPieces sees that a pen that falls apart at speed is spoken of.
func TestPieces(t *testing.T) {
	waist := changed(t, bigRover(10, 2, 0.5, 2), "polygon = [[10, 10], [-10, 10], [-10, -10], [10, -10]]",
		"polygon = [[-12, -6], [-2, -6], [-2, -2], [2, -2], [2, -6], [12, -6], [12, 6], [2, 6], [2, 2], [-2, 2], [-2, 6], [-12, 6]]")
	s := mustParseText(t, waist)
	if r := s.Rooms()[0]; r.AtRest.Pieces != 1 || r.Moving.Pieces != 2 {
		t.Errorf("pieces: %d at rest, %d moving", r.AtRest.Pieces, r.Moving.Pieces)
	}
	if !strings.Contains(Problems(s.Cautions).Error(), "in 2 pieces") {
		t.Errorf("no caution: %v", s.Cautions)
	}
}

// TestNothingPredicted reads a site for bare rules: everything that softens a
// judgement is zero, and the band is exactly as written.
func TestNothingPredicted(t *testing.T) {
	bare := `zones = "bare.geojson"
[site]
name = "Recording"
local_rules = "A recording is compared; nothing moves"
[broker]
url = "mqtt://127.0.0.1:1883"
[[vehicle]]
name = "hand"
kind = "multirotor"
radius = 0
height = 0
zone_caution = 0
[vehicle.pose]
axes = "z-up"
max_late = "0s"
frozen_after = "0s"
max_speed = 0
jump_slack = 0
velocity_tolerance = 0
max_clock_step = "0s"
settle = "0s"
[vehicle.limits]
speed = { max = 1.8, caution = 1.8, confirm = 1 }
tilt = { max = 30, caution = 30, confirm = 0 }
[vehicle.stopping]
predict = false
`
	geo := strings.Replace(strings.Replace(text(t, "yard.geojson"), `"keep-out", "floor": 0, "ceiling": 3`, `"keep-in", "floor": 1.0, "ceiling": 1.6`, 1), "shed", "room", 1)
	s, err := Parse("site.toml", []byte(bare), func(string) ([]byte, error) { return []byte(geo), nil })
	if err != nil {
		t.Fatal(err)
	}
	c := s.Vehicles[0].Config
	z := c.Zones.Shapes()[0]
	if z.Floor != 1.0 || z.Ceiling != 1.6 || c.HasGround {
		t.Errorf("the band is not as written: %+v, ground %v", z, c.HasGround)
	}
	if st := c.Stopping; st != (watchdog.Stopping{}) {
		t.Errorf("something is predicted or kept free: %+v", st)
	}
	if p := c.Pose; p.MaxLate != 0 || p.FrozenAfter != 0 || p.MaxSpeed != 0 || p.VelocityTolerance != 0 || p.Settle != 0 {
		t.Errorf("something is not switched off: %+v", p)
	}
	guardOf(t, &s.Vehicles[0])
	said := Problems(s.Cautions).Error()
	for _, want := range []string{"vehicle.radius = 0: makes the vehicle a point", "vehicle.stopping.predict = false: ", "vehicle.pose.max_speed = 0", "vehicle.pose.frozen_after"} {
		if !strings.Contains(said, want) {
			t.Errorf("no caution %q in:\n%s", want, said)
		}
	}
	if r := s.Rooms()[0]; r.Predict || r.Moving != r.AtRest || r.Moving.Inset != 0 {
		t.Errorf("%+v", r)
	}
}

// TestGrounded goes through what a floor may be.
func TestGrounded(t *testing.T) {
	in, out := zones.KeepIn, zones.KeepOut
	for _, c := range []struct {
		what   string
		shapes []zones.Shape
		floors []float64
		ground bool
	}{
		{"on the floor", []zones.Shape{{Kind: in, Floor: 0}}, []float64{-0.3}, true},
		{"a little below", []zones.Shape{{Kind: in, Floor: -0.1}}, []float64{-0.3}, true},
		{"further below than the allowance", []zones.Shape{{Kind: in, Floor: -0.5}}, []float64{-0.5}, true},
		{"above the floor: exactly", []zones.Shape{{Kind: in, Floor: 1}}, []float64{1}, false},
		{"just above: exactly", []zones.Shape{{Kind: in, Floor: 0.02}}, []float64{0.02}, false},
		{"a pit: exactly", []zones.Shape{{Kind: in, Floor: -2}}, []float64{-2}, false},
		{"a pit beside a floor", []zones.Shape{{Kind: in, Floor: -2}, {Kind: in, Floor: 0}}, []float64{-2, -0.3}, false},
		{"a platform above a floor", []zones.Shape{{Kind: in, Floor: 0}, {Kind: in, Floor: 1}}, []float64{-0.3, 1}, true},
		{"keep-outs", []zones.Shape{{Kind: out, Floor: 0}, {Kind: out, Floor: 1}, {Kind: out, Floor: -20}}, []float64{-10, 1, -20}, false},
	} {
		judged, ground := Grounded(c.shapes, GroundAllowance)
		if ground != c.ground {
			t.Errorf("%s: ground %v", c.what, ground)
		}
		for i, f := range c.floors {
			if judged[i].Floor != f {
				t.Errorf("%s: zone %d begins at %v, want %v", c.what, i, judged[i].Floor, f)
			}
		}
	}
	if s := []zones.Shape{{Kind: in, Floor: 0}}; len(s) > 0 {
		if Grounded(s, 0.3); s[0].Floor != 0 {
			t.Error("the declared zone was changed")
		}
	}
}

// TestLandedIsInside stands wren on the floor of the sketch and asks.
func TestLandedIsInside(t *testing.T) {
	v := mustParse(t, "testdata/sketch.toml").Vehicles[0]
	for _, z := range []float64{0.06, 0.0, -0.1} { // at rest on its feet, and with a tracker that reads low
		w := zones.Sweep{From: zones.XYZ{X: 3, Y: 2, Z: z}, To: zones.XYZ{X: 3, Y: 2, Z: z}, Radius: 0.22, Above: 0.06}
		if h := v.Config.Zones.Clearance(&w); !(h.Clearance > 0) {
			t.Errorf("standing at %v m: %+v", z, h)
		}
	}
	if v.Shapes[0].Floor != 0 || v.Config.Zones.Shapes()[0].Floor != -GroundAllowance {
		t.Errorf("declared floor %v, judged %v", v.Shapes[0].Floor, v.Config.Zones.Shapes()[0].Floor)
	}
}

// A vehicle that differs from one before it by its name has its room; one that is
// wider, or is not in the same zones, has its own.
func TestEqualVehiclesHaveEqualRooms(t *testing.T) {
	one := bigRover(20, 2, 1, 2)
	_, vehicle, _ := strings.Cut(one, "[[vehicle]]")
	text := one
	for name, change := range map[string]string{"twin": "radius = 0.5", "wide": "radius = 0.7"} {
		text += "[[vehicle]]" + strings.Replace(strings.Replace(vehicle, `"cart"`, fmt.Sprintf("%q", name), 1), "radius = 0.5", change, 1)
	}
	text += "[[zone]]\nname = \"pit\"\nkind = \"keep-out\"\nvehicles = [\"deep\"]\nfloor = 0\nceiling = 3\npolygon = [[1, 1], [4, 1], [4, 4], [1, 4]]\n" +
		"[[vehicle]]" + strings.Replace(vehicle, `"cart"`, `"deep"`, 1)
	rooms := map[string]Room{}
	for _, r := range mustParseText(t, text).Rooms() {
		rooms[r.Vehicle] = r
	}
	twin := rooms["cart"]
	twin.Vehicle = "twin"
	if len(rooms) != 4 || rooms["twin"] != twin {
		t.Errorf("%d rooms; the twin's is %+v, of %+v", len(rooms), rooms["twin"], rooms["cart"])
	}
	for _, name := range []string{"wide", "deep"} {
		if rooms[name].AtRest.Area >= rooms["cart"].AtRest.Area {
			t.Errorf("%s: %+v", name, rooms[name].AtRest)
		}
	}
}
