package watchdog

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, tolerance)
	}
}

// TestStoppingSightDistance: AASHTO, A Policy on Geometric Design of Highways
// and Streets (Green Book), stopping sight distance on level roads, t = 2.5 s,
// a = 3.4 m/s². The rows of 80 to 110 km/h and all design values from 30 km/h
// were read in a public source; the other rows are from memory. The printed sum
// adds rounded parts, so it is met within 1 %; exact is the sum in SI units.
func TestStoppingSightDistance(t *testing.T) {
	for _, r := range []struct{ kmh, sum, design, exact float64 }{
		{20, 18.5, 20, 18.428}, {30, 31.2, 35, 31.046}, {40, 46.2, 50, 45.933}, {50, 63.5, 65, 63.090},
		{60, 83.0, 85, 82.516}, {70, 104.9, 105, 104.212}, {80, 129.0, 130, 128.177}, {90, 155.5, 160, 154.412},
		{100, 184.2, 185, 182.916}, {110, 215.3, 220, 213.689}, {120, 248.6, 250, 246.732}, {130, 284.2, 285, 282.044},
	} {
		d := StoppingDistance(r.kmh/3.6, 2.5, 3.4)
		near(t, fmt.Sprintf("%v km/h, printed sum", r.kmh), d, r.sum, 0.01*r.sum)
		near(t, fmt.Sprintf("%v km/h, exact sum", r.kmh), d, r.exact, 0.0006)
		if d > r.design {
			t.Errorf("%v km/h: %v m is over the design value %v m", r.kmh, d, r.design)
		}
	}
}

// TestHighwayCode: UK Highway Code rule 126, thinking and braking distance in
// metres, printed without decimals. The rule behind the table is V + V²/20 feet
// (V in mph): t = 0.6818 s, a = 6.557 m/s² (computed). The whole metres were
// rounded from whole feet.
func TestHighwayCode(t *testing.T) {
	const thinking, braking = 0.6818, 6.557
	for _, r := range []struct{ mph, think, brake, total float64 }{
		{20, 6, 6, 12}, {30, 9, 14, 23}, {40, 12, 24, 36}, {50, 15, 38, 53}, {60, 18, 55, 73}, {70, 21, 75, 96},
	} {
		v := r.mph * 0.44704
		near(t, fmt.Sprintf("%v mph thinking", r.mph), StoppingDistance(v, thinking, math.MaxFloat64), r.think, 0.5)
		near(t, fmt.Sprintf("%v mph braking", r.mph), StoppingDistance(v, 0, braking), r.brake, 0.5)
		near(t, fmt.Sprintf("%v mph total", r.mph), StoppingDistance(v, thinking, braking), r.total, 0.6)
	}
}

// TestBrakingByTilt: JARUS SORA 2.5 Annex A §A.5.2, as quoted in three agreeing
// public re-implementations: S_CM = ½·V0²/(g·tan Θ), Θ at most 45°. The values
// for small vehicles are computed from it with g = 9.81 m/s².
func TestBrakingByTilt(t *testing.T) {
	for _, r := range []struct{ v, deg20, deg30, deg45 float64 }{
		{1, 0.1400, 0.0883, 0.0510}, {2, 0.5601, 0.3531, 0.2039}, {3, 1.2603, 0.7945, 0.4587}, {5, 3.5009, 2.2070, 1.2742},
	} {
		for deg, want := range map[float64]float64{20: r.deg20, 30: r.deg30, 45: r.deg45} {
			got := StoppingDistance(r.v, 0, BrakingByTilt(deg/degPerRad))
			near(t, fmt.Sprintf("S_CM of %v m/s at %v°", r.v, deg), got, want, 0.00006)
		}
	}
	// The worked example: V0 = 10 m/s, Θ = 45°, t_R = 1 s: S_CV = 3+3+1+S_R+S_CM
	// = 22.1 m; and the height H_CM = ½·V0²/g with H_R = 0.7·V0·t_R, 1 m of
	// barometer error and 100 m of flight geography: 113.1 m.
	cv := 3 + 3 + 1 + StoppingDistance(10, 1, BrakingByTilt(math.Pi/4))
	near(t, "S_CV", cv, 22.1, 0.05)
	near(t, "H_CV", 100+1+StoppingDistance(0.7*10, 1, math.MaxFloat64)+StoppingDistance(10, 0, Gravity), 113.1, 0.05)
	for _, theta := range []float64{0, -0.1, math.Pi/4 + 1e-9, math.NaN(), math.Inf(1)} {
		if a := BrakingByTilt(theta); a != 0 {
			t.Errorf("a tilt of %v rad gives %v m/s²; nothing is promised there", theta, a)
		}
	}
}

// TestSeparationDistance: ISO 13855 S = K·T + C, C = 8·(d − 14) mm for d up to
// 40 mm, as quoted in secondary text: K 2000 mm/s, T 0.165 s, d 14 mm is 330 mm;
// K 1600, T 0.300, d 40 is 688 mm. What applies here is the structure: a body
// that goes on at K for T and a fixed margin C. It is the reach of a vehicle
// that stops at once, with C as its margin.
func TestSeparationDistance(t *testing.T) {
	for _, r := range []struct{ k, t, d, want float64 }{{2, 0.165, 14, 0.330}, {1.6, 0.300, 40, 0.688}} {
		c := testConfig(t)
		c.Kind, c.Radius = Rover, 0
		c.Stopping = Stopping{Predict: true, Deceleration: 1e9, Margin: 8 * (r.d - 14) / 1000,
			Reaction: time.Duration(r.t*1e9) - JudgeEvery}
		p := pose.Pose{Velocity: pose.Vec{X: r.k}, HasVelocity: true}
		var reach Reach
		c.reachOf(&p, delays{age: 0}, 0, &reach)
		near(t, fmt.Sprintf("K %v T %v d %v", r.k, r.t, r.d), reach.Sweep.To.X+reach.Sweep.Radius+reach.Sweep.Grow, r.want, 1e-6)
	}
}

// TestSpeedWithin: v = −a·t + √((a·t)² + 2·a·d), computed from the formula of
// the stopping distance; and the two are each other's inverse.
func TestSpeedWithin(t *testing.T) {
	near(t, "speed within 1.0 m, 0.2 s, 2 m/s²", SpeedWithin(1, 0.2, 2), 1.6396, 0.00005)
	near(t, "distance of 0.8 m/s, 0.25 s, 1 m/s²", StoppingDistance(0.8, 0.25, 1), 0.520, 1e-12)
	for _, v := range []float64{0.01, 0.5, 1, 3, 30} {
		for _, lag := range []float64{0, 0.1, 2.5} {
			for _, a := range []float64{0.3, 3, 9.81} {
				near(t, "inverse", SpeedWithin(StoppingDistance(v, lag, a), lag, a), v, 1e-9*v)
			}
		}
	}
	for _, bad := range [][3]float64{{0, 1, 1}, {-1, 1, 1}, {1, -1, 1}, {1, 1, 0}, {math.NaN(), 1, 1}, {1, math.NaN(), 1}, {1, 1, math.NaN()}} {
		if v := SpeedWithin(bad[0], bad[1], bad[2]); v != 0 {
			t.Errorf("SpeedWithin(%v) = %v, want 0", bad, v)
		}
		if bad[0] != 0 && !math.IsInf(StoppingDistance(bad[0], bad[1], bad[2]), 1) {
			t.Errorf("StoppingDistance(%v) promises a finite distance", bad)
		}
	}
}

// TestGrade: the grade term of AASHTO's stopping sight distance, braking
// V²/(254·(a/9.81 ± G)), V in km/h, G uphill positive. There is no finite
// distance where a/g + G <= 0: that is refused, never a negative number. 254 is
// 2·9.81·3.6² rounded, so the two differ by 0.11 %.
func TestGrade(t *testing.T) {
	for _, g := range []float64{0, 0.03, 0.06, 0.09} {
		a, ok := OnSlope(3.4, g)
		if !ok {
			t.Fatalf("grade %v is refused", g)
		}
		want := 80 * 80 / (254 * (3.4/9.81 - g))
		near(t, fmt.Sprintf("braking at 80 km/h down %v", g), StoppingDistance(80/3.6, 0, a), want, 0.0012*want)
	}
	for _, bad := range [][2]float64{{1, 1 / Gravity}, {1, 0.2}, {0, 0}, {-1, 0}, {math.NaN(), 0}, {1, math.NaN()}, {math.Inf(1), 0}} {
		if a, ok := OnSlope(bad[0], bad[1]); ok || a != 0 {
			t.Errorf("OnSlope(%v) = %v, %v; a vehicle that never stops must be refused", bad, a, ok)
		}
	}
	c := testConfig(t)
	c.Stopping.Deceleration, c.Stopping.Slope = 1, 0.2
	if _, err := New(c); err == nil {
		t.Error("New takes a vehicle that would never stop on its slope")
	}
}

// TestAlongIsTheStoppingDistance ties the reach to the formula above: without
// errors the far end lies exactly one stopping distance ahead.
func TestAlongIsTheStoppingDistance(t *testing.T) {
	c := testConfig(t)
	c.Stopping = Stopping{Predict: true, Reaction: 200 * ms, Deceleration: 3, Vertical: 2, Slope: 0.05}
	p := pose.Pose{Position: pose.Vec{X: 1, Y: 2, Z: 1}, Velocity: pose.Vec{X: 0.6, Y: 0.8, Z: -0.5}, HasVelocity: true, Lag: 20 * ms}
	var r Reach
	c.reachOf(&p, delays{age: 30 * ms}, 0, &r)
	d := StoppingDistance(1, 0.2+0.02+0.03+JudgeEvery.Seconds(), 3-0.05*Gravity)
	near(t, "x", r.Sweep.To.X, 1+0.6*d, 1e-12)
	near(t, "y", r.Sweep.To.Y, 2+0.8*d, 1e-12)
	near(t, "growth", r.Sweep.Grow, 0, 1e-12)
	near(t, "down", r.Down, StoppingDistance(0.5, 0.26, 2), 1e-12)
	near(t, "up", r.Up, 0, 1e-12)
	if r.Sweep.From != (zones.XYZ{X: 1, Y: 2, Z: 1}) {
		t.Errorf("the reach begins at %v", r.Sweep.From)
	}
}
