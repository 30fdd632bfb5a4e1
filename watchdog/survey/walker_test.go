package survey

import (
	"math"
	"math/rand/v2"
	"testing"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// walker is the declared model of a person with a tracker in hand: 100 Hz with
// stamps uneven by up to 3 ms, a pace of 0.8 m/s, a hand that sways around the
// edge by an Ornstein-Uhlenbeck process of 1 cm and 0.5 s, cut off at maxSway
// on each axis, and a tracker with white noise of 1 mm.
type walker struct {
	rng  *rand.Rand
	sway zones.XY
	now  float64 // s
	out  []pose.Sample
}

const (
	maxSway  = 0.02
	modelOff = 1.4143*maxSway + 0.005 // m, the furthest a sample is off the edge, with 5σ of noise
)

func newWalker(seed uint64) *walker {
	return &walker{rng: rand.New(rand.NewPCG(seed, 77)), now: 1}
}

func (w *walker) emit(p zones.XY) {
	const dt, sigma, tau = 0.01, 0.01, 0.5
	for _, v := range []*float64{&w.sway.X, &w.sway.Y} {
		*v += -*v*dt/tau + sigma*math.Sqrt(2*dt/tau)*w.rng.NormFloat64()
		*v = math.Max(-maxSway, math.Min(maxSway, *v))
	}
	noise := func() float64 { return 0.001 * math.Max(-3.5, math.Min(3.5, w.rng.NormFloat64())) }
	w.now += dt + 0.006*(w.rng.Float64()-0.5)
	w.out = append(w.out, pose.Sample{Stamp: int64(w.now * 1e9), Tracker: "cam", Orientation: pose.Quat{W: 1},
		Position: pose.Vec{X: p.X + w.sway.X + noise(), Y: p.Y + w.sway.Y + noise(), Z: 1 + noise()}})
}

func (w *walker) rest(p zones.XY, seconds float64) {
	for range int(seconds * 100) {
		w.emit(p)
	}
}

func (w *walker) line(a, b zones.XY) {
	n := max(1, int(distance(a, b)/0.008))
	for i := 1; i <= n; i++ {
		t := float64(i) / float64(n)
		w.emit(zones.XY{X: a.X + t*(b.X-a.X), Y: a.Y + t*(b.Y-a.Y)})
	}
}

// round walks all round a ring and rests at the corners that rests names.
func (w *walker) round(ring []zones.XY, rests map[int]float64) {
	w.rest(ring[0], 1)
	for i, p := range ring {
		w.line(p, ring[(i+1)%len(ring)])
		w.rest(ring[(i+1)%len(ring)], rests[i])
	}
	w.rest(ring[0], 1)
}

func walked(t testing.TB, samples []pose.Sample, o WalkOptions) (*Walk, error) {
	t.Helper()
	w, err := NewWalk(pose.DefaultConfig(), o)
	if err != nil {
		t.Fatal(err)
	}
	for i := range samples {
		if err := w.Add(&samples[i]); err != nil {
			return w, err
		}
	}
	return w, nil
}

func band(kind zones.Kind) zones.Shape {
	return zones.Shape{Name: "traced", Kind: kind, Ceiling: 2.5}
}
