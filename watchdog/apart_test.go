package watchdog

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// TestApartFixed: distances that can be done in the head.
func TestApartFixed(t *testing.T) {
	disc := func(x, y, z, r float64) zones.Sweep {
		at := zones.XYZ{X: x, Y: y, Z: z}
		return zones.Sweep{From: at, To: at, Radius: r, Below: 0.5, Above: 0.5}
	}
	way := disc(0, 0, 0, 0.5)
	way.To.X = 4
	for _, c := range []struct {
		what string
		a, b zones.Sweep
		want float64
	}{
		{"two discs, 3-4-5", disc(0, 0, 0, 1), disc(3, 4, 0, 1), 3},
		{"touching", disc(0, 0, 0, 1), disc(2, 0, 0, 1), 0},
		{"overlapping by 1", disc(0, 0, 0, 1), disc(1, 0, 0, 1), -1},
		{"one above the other, 2 m of air", disc(0, 0, 0, 1), disc(0, 0, 3, 1), 2},
		{"beside and above, 3-4-5", disc(0, 0, 0, 1), disc(5, 0, 5, 1), 5},
		{"beside the way", way, disc(2, 2, 0, 0.5), 1},
		{"past its end", way, disc(7, 4, 0, 0.5), 4},
		{"ways that cross", way, zones.Sweep{From: zones.XYZ{X: 1.9, Y: -2}, To: zones.XYZ{X: 1.9, Y: 2}, Radius: 0.1, Above: 1}, -0.6},
	} {
		near(t, c.what, Apart(&c.a, &c.b), c.want, 1e-12)
		near(t, c.what+", the other way round", Apart(&c.b, &c.a), c.want, 1e-12)
	}
	bad := disc(0, 0, 0, 1)
	bad.To.X = math.NaN()
	if good := disc(9, 9, 0, 1); Apart(&bad, &good) != -Unbounded || Apart(&good, &bad) != -Unbounded {
		t.Error("what is not a number is far away")
	}
}

// TestApartIsNeverMore: against points drawn from the two bodies, without any
// of the geometry of Apart: no two of them are nearer than it says, and it is
// short of the nearest by no more than the pieces' growth and the drawing's
// coarseness explain.
func TestApartIsNeverMore(t *testing.T) {
	rnd := rand.New(rand.NewPCG(5, 5))
	some := func() zones.Sweep {
		p := func() zones.XYZ { return zones.XYZ{X: rnd.Float64() * 6, Y: rnd.Float64() * 6} }
		return zones.Sweep{From: p(), To: p(), Radius: rnd.Float64(), Grow: rnd.Float64(), Above: 1}
	}
	apart := 0
	for range 300 {
		a, b := some(), some()
		got, best := Apart(&a, &b), math.Inf(1)
		const n = 60
		for i := range n + 1 {
			for k := range n + 1 {
				s, u := float64(i)/n, float64(k)/n
				dx := a.From.X + s*(a.To.X-a.From.X) - b.From.X - u*(b.To.X-b.From.X)
				dy := a.From.Y + s*(a.To.Y-a.From.Y) - b.From.Y - u*(b.To.Y-b.From.Y)
				best = math.Min(best, math.Sqrt(dx*dx+dy*dy)-a.Radius-s*a.Grow-b.Radius-u*b.Grow)
			}
		}
		if got > best+1e-9 {
			t.Fatalf("says %v m, two points are only %v m apart: %+v %+v", got, best, a, b)
		}
		if coarse := 0.15 + (a.Grow+b.Grow)/apartPieces; got < best-coarse {
			t.Errorf("says %v m where %v m are", got, best)
		}
		if got > 0 {
			apart++
		}
	}
	if apart < 50 {
		t.Errorf("only %d pairs were apart", apart)
	}
}

// TestApartSparesNothing: passing over pieces that are too far away to matter
// gives the same distance, to the last bit, as asking all of them.
func TestApartSparesNothing(t *testing.T) {
	rnd := rand.New(rand.NewPCG(6, 6))
	for i := range 20_000 {
		size := math.Pow(10, 4*rnd.Float64()-2)
		some := func() (w zones.Sweep) {
			p := func() zones.XYZ { return zones.XYZ{X: rnd.NormFloat64() * size, Y: rnd.NormFloat64() * size} }
			w = zones.Sweep{From: p(), Radius: rnd.Float64(), Grow: rnd.Float64() * float64(rnd.IntN(2))}
			if w.To = w.From; rnd.IntN(4) > 0 {
				w.To = p()
			}
			return w
		}
		a, b := some(), some()
		want := math.Inf(1)
		for i := range apartPieces {
			for k := range apartPieces {
				p, q, r := piece(&a, i)
				u, v, s := piece(&b, k)
				want = math.Min(want, segmentsApart(p, q, u, v)-r-s)
			}
		}
		if got := Apart(&a, &b); got != want {
			t.Fatalf("draw %d: %v, all pieces give %v: %+v %+v", i, got, want, a, b)
		}
	}
}

func BenchmarkApart(b *testing.B) {
	a := zones.Sweep{To: zones.XYZ{X: 0.6}, Radius: 0.3, Grow: 0.1, Above: 1}
	o := zones.Sweep{From: zones.XYZ{X: 4, Y: 1}, To: zones.XYZ{X: 3.4, Y: 1}, Radius: 0.3, Grow: 0.1, Above: 1}
	for b.Loop() {
		Apart(&a, &o)
	}
}

// duo is two vehicles in one hall whose guards tell each other of them.
type duo struct{ a, b *rig }

// newDuo puts the yielding one at x = 2 m, the other at x = 8 m. They are moved
// in turn, so their clocks run together.
func newDuo(t *testing.T) *duo {
	set := setOf(t, zones.Shape{Name: "hall", Kind: zones.KeepIn, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(0, 0, 20, 6)}})
	make := func(name, other string, x, lead float64) *rig {
		c := testConfig(t)
		c.Vehicle, c.Zones, c.Kind = name, set, Rover
		c.Others = []Other{{Name: other, Distance: 0.5, Lead: lead}}
		r := newRig(t, c)
		r.laws = nil
		r.p = pose.Vec{X: x, Y: 3}
		return r
	}
	return &duo{a: make("mole", "vole", 2, 0.3), b: make("vole", "mole", 8, 0)}
}

// run lets both go on for d, each at its speed while it has a permit, braking as
// declared where not.
func (p *duo) run(d, dt time.Duration, va, vb float64) {
	for end := p.a.now + d; p.a.now < end; {
		p.tell()
		p.one(p.a, dt, va)
		p.one(p.b, dt, vb)
	}
}

func (p *duo) tell() {
	p.a.step(Event{Kind: EvOther, Other: p.b.g.ForOthers(p.b.now)})
	p.b.step(Event{Kind: EvOther, Other: p.a.g.ForOthers(p.a.now)})
}

func (p *duo) one(r *rig, dt time.Duration, v float64) {
	r.until(r.now + dt)
	s := dt.Seconds()
	if !r.granted() { // acknowledges, and brakes at once
		if r.command.ID != "" {
			r.step(Event{Kind: EvAck, Text: r.command.ID})
		}
		was := r.v.X
		r.v.X = math.Copysign(math.Max(0, math.Abs(was)-3*s), was)
	} else {
		r.v.X = v
	}
	r.p.X += r.v.X * s
	r.pose()
}

func (p *duo) start(t *testing.T) {
	t.Helper()
	for _, r := range []*rig{p.a, p.b} {
		r.ask(AskStart)
		r.durable()
		if !r.granted() {
			t.Fatalf("%s: blocked by %q", r.cfg.Vehicle, r.g.Snapshot().Blocked)
		}
	}
}

// edges is how far the two bodies are apart.
func (p *duo) edges() float64 {
	return math.Hypot(p.a.p.X-p.b.p.X, p.a.p.Y-p.b.p.Y) - p.a.cfg.Radius - p.b.cfg.Radius
}

// TestKeepApart: the one that yields stops first, and the other goes on where
// that is enough; where it is not, both stop. They never come nearer than what
// is declared.
func TestKeepApart(t *testing.T) {
	for _, c := range []struct {
		what        string
		va, vb      float64
		stopA, runB bool
	}{
		{"head on", 1, -1, true, false},
		{"the one that yields comes near", 1, 0, true, true},
		{"the other comes near", 0, -1, true, false},
		{"they part", -0.2, 0.5, false, true},
	} {
		p := newDuo(t)
		p.run(2600*ms, 5*ms, 0, 0)
		p.start(t)
		first := ""
		for range 1200 {
			p.run(5*ms, 5*ms, c.va, c.vb)
			if a, b := p.a.granted(), p.b.granted(); first == "" && (!a || !b) {
				first = map[bool]string{true: "mole", false: "vole"}[!a]
			}
			if d := p.edges(); d < 0.5 {
				t.Fatalf("%s: %.3f m apart", c.what, d)
			}
		}
		if p.a.granted() == c.stopA || p.b.granted() != c.runB || c.stopA && first != "mole" {
			t.Errorf("%s: mole granted %v, vole %v, first to stop %q", c.what, p.a.granted(), p.b.granted(), first)
		}
		if c.stopA {
			p.a.wantLatched("apart")
		}
	}
}

// TestForOthersCoversLoss: what is said to others covers a vehicle that goes on
// for as long as that holds, loses its link at the moment it is then stopped,
// and drives on until its newest permit is too old for it.
func TestForOthersCoversLoss(t *testing.T) {
	for _, cover := range []bool{false, true} {
		c := testConfig(t)
		c.Stopping.CoverLoss = cover
		c.Stopping.Margin, c.Stopping.PositionErr, c.Stopping.VelocityErr = 0, 0, 0
		r := newRig(t, c)
		r.p = pose.Vec{X: 1, Y: 2.5, Z: 1}
		r.started()
		r.v.X = 1
		r.move(500*ms, pose.Vec{})
		told := r.g.ForOthers(r.now)
		at, newest := r.p.X, told.At
		for r.now < told.At+OtherFor {
			r.move(5*ms, pose.Vec{})
			for i := range r.g.out {
				if r.g.out[i].Kind == DoPermit && r.g.out[i].Permit.Go {
					newest = r.now
				}
			}
		}
		if !r.granted() {
			t.Fatal("was stopped before")
		}
		last := r.now
		if cover {
			last = newest + c.Timing.PermitValid
		}
		rest := at + (last - told.At).Seconds() + StoppingDistance(1, c.Stopping.Reaction.Seconds(), c.Stopping.Deceleration)
		if most := told.Sweep.To.X + told.Sweep.Grow; rest > most {
			t.Errorf("cover %v: rests at x = %.3f m, others were told of %.3f m at most", cover, rest, most)
		}
	}
}

// TestApartUnknown: an other that was never heard of, not for long, or whose
// pose is not trusted may be anywhere.
func TestApartUnknown(t *testing.T) {
	p := newDuo(t)
	p.a.still(2600 * ms)
	p.a.ask(AskStart)
	p.a.durable()
	if p.a.granted() {
		t.Error("started without having heard of the other")
	}
	for what, lose := range map[string]func(p *duo){
		"silent":    func(p *duo) { p.a.still(OtherFor + 10*ms) },
		"untrusted": func(p *duo) { p.b.conf = 0; p.run(20*ms, 5*ms, 0, 0) },
		"not a number": func(p *duo) {
			o := p.b.g.ForOthers(p.b.now)
			o.Sweep.To.X = math.Inf(1)
			p.a.step(Event{Kind: EvOther, Other: o})
		},
	} {
		p := newDuo(t)
		p.run(2600*ms, 5*ms, 0, 0)
		p.start(t)
		p.a.step(Event{Kind: EvOther, Other: OtherReach{Name: "stranger"}})
		p.a.step(Event{Kind: EvOther, Other: OtherReach{Name: "vole"}}) // older than what is known
		if !p.a.granted() {
			t.Fatalf("%s: stopped for nothing", what)
		}
		lose(p)
		if p.a.granted() {
			t.Errorf("%s: goes on", what)
		}
	}
}

// TestApartConfig: what cannot be kept is refused, and nothing looser is taken
// while running.
func TestApartConfig(t *testing.T) {
	with := func(o ...Other) Config {
		c := testConfig(t)
		c.Others = o
		return c
	}
	for what, c := range map[string]Config{
		"itself":      with(Other{Name: "wren", Distance: 1}),
		"no name":     with(Other{Distance: 1}),
		"no distance": with(Other{Name: "mole"}),
		"NaN":         with(Other{Name: "mole", Distance: math.NaN()}),
		"lead":        with(Other{Name: "mole", Distance: 1, Lead: -1}),
		"twice":       with(Other{Name: "mole", Distance: 1}, Other{Name: "mole", Distance: 1}),
		"too many":    with(make([]Other, MaxOthers+1)...),
	} {
		if _, err := New(c); err == nil {
			t.Errorf("%s: taken", what)
		}
	}
	bare := with(Other{Name: "mole", Distance: 1})
	bare.Stopping.Predict = false
	if _, err := New(bare); err == nil {
		t.Error("without prediction: taken")
	}
	for what, c := range map[string]struct {
		next Config
		ok   bool
	}{
		"further": {with(Other{Name: "mole", Distance: 1.1, Lead: 0.2}), true},
		"nearer":  {with(Other{Name: "mole", Distance: 0.9, Lead: 0.2}), false},
		"later":   {with(Other{Name: "mole", Distance: 1, Lead: 0.1}), false},
		"gone":    {with(), false},
	} {
		r := newRig(t, with(Other{Name: "mole", Distance: 1, Lead: 0.2}))
		if _, err := r.g.Tighten(c.next, 0); (err == nil) != c.ok {
			t.Errorf("%s: %v", what, err)
		}
	}
}
