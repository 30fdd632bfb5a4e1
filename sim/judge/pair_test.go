package judge

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// Gaps of two cylinders that can be done in the head.
func TestGap(t *testing.T) {
	a, b := Body{0.5, 0.1, 0.2}, Body{0.3, 0.3, 0.4}
	for _, c := range []struct {
		q    Point
		want float64
	}{
		{Point{3, 4, 0}, 4.2},    // 5 between the axes, less both radii
		{Point{0.8, 0, 0}, 0},    // rims touch
		{Point{0.5, 0, 0}, -0.3}, // beside by less than the radii
		{Point{0, 0, 2}, 1.5},    // above: 2 - 0.2 - 0.3
		{Point{0, 0, -2}, 1.5},   // below: 2 - 0.1 - 0.4
		{Point{3.8, 0, 4.5}, 5},  // 3 beside and 4 above
		{Point{0, 0, 0.2}, -0.3}, // 0.2 - 0.5: nearer out upwards than sideways
		{Point{math.NaN(), 0, 0}, math.Inf(-1)},
		{Point{0, 0, math.Inf(1)}, math.Inf(-1)},
	} {
		got, back := Gap(a, b, Point{}, c.q), Gap(b, a, c.q, Point{})
		if got != c.want && math.Abs(got-c.want) > 1e-12 || got != back {
			t.Errorf("%v: %v and %v, wanted %v", c.q, got, back, c.want)
		}
	}
}

// Against the least distance of points on the two rims, and of heights on the
// two sides, for bodies that are beside one another.
func TestGapAgainstPoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	looked := 0
	for range 200 {
		body := func() Body { return Body{rng.Float64(), rng.Float64(), rng.Float64()} }
		a, b := body(), body()
		q := Point{6 * rng.Float64(), 6 * rng.Float64(), 4 * rng.Float64()}
		if math.Hypot(q[0], q[1]) < a.Radius+b.Radius {
			continue
		}
		looked++
		const n = 180
		flat, high := math.Inf(1), math.Inf(1)
		for i := range n {
			for k := range n {
				s, c := math.Sincos(2 * math.Pi * float64(i) / n)
				u, v := math.Sincos(2 * math.Pi * float64(k) / n)
				flat = math.Min(flat, math.Hypot(q[0]+b.Radius*v-a.Radius*c, q[1]+b.Radius*u-a.Radius*s))
				low, up := (a.Below+a.Above)*float64(i)/(n-1)-a.Below, q[2]+(b.Below+b.Above)*float64(k)/(n-1)-b.Below
				high = math.Min(high, math.Abs(up-low))
			}
		}
		if got, want := Gap(a, b, Point{}, q), math.Hypot(flat, high); math.Abs(got-want) > 0.02 {
			t.Errorf("%v %v at %v: %v, points are %v apart", a, b, q, got, want)
		}
	}
	if looked < 50 {
		t.Errorf("only %d pairs stood beside one another", looked)
	}
}

func TestApartVerdict(t *testing.T) {
	j, err := NewApart(Body{Radius: 0.5}, Body{Radius: 0.5}, 1)
	if err != nil {
		t.Fatal(err)
	}
	if j.Verdict().Kept() {
		t.Error("what was not looked at was kept")
	}
	j.Look(time.Second, Point{}, Point{2, 0, 0}) // just as far as declared
	if v := j.Verdict(); !v.Kept() || v.Closest != 1 || v.At != time.Second {
		t.Errorf("%+v", v)
	}
	j.Look(2*time.Second, Point{}, Point{1.9, 0, 0})
	j.Look(3*time.Second, Point{}, Point{5, 0, 0})
	if v := j.Verdict(); v.Kept() || v.Near != 1 || v.Looks != 3 || math.Abs(v.Closest-0.9) > 1e-12 || v.At != 2*time.Second {
		t.Errorf("%+v", v)
	}
	j.Look(4*time.Second, Point{math.NaN()}, Point{})
	if v := j.Verdict(); v.Near != 2 {
		t.Errorf("what is not a number is far away: %+v", v)
	}
}

func TestNewApartRefuses(t *testing.T) {
	for want, c := range map[string]struct {
		a     Body
		least float64
	}{"not a length": {Body{Radius: math.NaN()}, 1}, "body size -1": {Body{Below: -1}, 1}, "no length above zero": {Body{}, 0}, "no length": {Body{}, math.NaN()}} {
		if _, err := NewApart(c.a, Body{}, c.least); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, wanted %q", err, want)
		}
	}
}
