package pose

import (
	"math"
	"testing"
	"time"
)

const ms = time.Millisecond

// plain is a config with every check off but the age.
func plain() Config { return Config{MaxAge: 100 * ms, VelocityWindow: 50 * ms} }

func newTrack(t testing.TB, c Config) *Track {
	t.Helper()
	track, err := NewTrack(c)
	if err != nil {
		t.Fatal(err)
	}
	return track
}

// at is a sample at the given stamp and x.
func at(stamp time.Duration, x float64) Sample {
	return Sample{Stamp: int64(stamp), Position: Vec{X: x}, Orientation: Quat{W: 1}}
}

func accept(t testing.TB, track *Track, s Sample, now time.Duration) Pose {
	t.Helper()
	var p Pose
	if f := track.Accept(&s, now, now, &p); f != nil {
		t.Fatalf("at %v: %v", now, f)
	}
	return p
}

// run feeds samples every step from 0 to the end, x = speed·t.
func run(t testing.TB, track *Track, step, end time.Duration, speed float64) (p Pose) {
	t.Helper()
	for now := time.Duration(0); now <= end; now += step {
		p = accept(t, track, at(now, speed*now.Seconds()), now)
	}
	return p
}

func wantDistrust(t testing.TB, track *Track, now time.Duration, want Distrust) {
	t.Helper()
	if got := track.Distrust(now); got != want {
		t.Errorf("at %v: %v, want %v", now, got, want)
	}
}

func wantDeadline(t testing.TB, track *Track, want time.Duration) {
	t.Helper()
	if got, ok := track.Deadline(); !ok || got != want {
		t.Errorf("deadline %v (%v), want %v", got, ok, want)
	}
}

func TestNothingSeen(t *testing.T) {
	track := newTrack(t, plain())
	wantDistrust(t, track, 0, NoPose)
	wantDistrust(t, track, time.Hour, NoPose)
	if d, ok := track.Deadline(); ok {
		t.Errorf("deadline %v", d)
	}
	if _, ok := track.Age(0); ok {
		t.Error("an age without a pose")
	}
	if _, ok := track.TrustedSince(0); ok {
		t.Error("trusted without a pose")
	}
}

func TestStaleExactlyAboveMaxAge(t *testing.T) {
	track := newTrack(t, plain())
	accept(t, track, at(5*time.Second, 0), time.Second)
	wantDeadline(t, track, 1100*ms+1)
	wantDistrust(t, track, 1100*ms, 0)
	wantDeadline(t, track, 1100*ms+1)
	wantDistrust(t, track, 1100*ms+1, Stale)
	if d, ok := track.Deadline(); ok {
		t.Errorf("once stale nothing changes by itself, but the deadline is %v", d)
	}
	accept(t, track, at(6*time.Second, 0), 2*time.Second)
	wantDistrust(t, track, 2*time.Second, 0)
	wantDeadline(t, track, 2100*ms+1)
}

// A replay feeds arrivals at the stamps: a gap of 1.058 s is stale from 100 ms
// after the last sample until the next.
func TestReplayedGap(t *testing.T) {
	track := newTrack(t, plain())
	run(t, track, 8*ms, 800*ms, 1)
	wantDeadline(t, track, 900*ms+1)
	wantDistrust(t, track, 900*ms+1, Stale)
	p := accept(t, track, at(1858*ms, 1.858), 1858*ms)
	wantDistrust(t, track, 1858*ms, 0)
	if p.HasVelocity || p.HasTurnRate || p.Velocity != (Vec{}) {
		t.Errorf("a velocity across the gap: %+v", p)
	}
	if since, ok := track.TrustedSince(1858 * ms); !ok || since != 1858*ms {
		t.Errorf("trusted since %v (%v), want the sample after the gap", since, ok)
	}
}

// The sender was silent, but a late arrival before hides it.
func TestGapInStampsAlone(t *testing.T) {
	track := newTrack(t, plain())
	accept(t, track, at(0, 0), 0)
	accept(t, track, at(100*ms, 0), 100*ms)
	wantDistrust(t, track, 100*ms, 0)
	accept(t, track, at(200*ms+1, 0), 190*ms)
	wantDistrust(t, track, 190*ms, Stale)
	accept(t, track, at(210*ms, 0), 200*ms)
	wantDistrust(t, track, 200*ms, 0)
}

func TestRefusedSampleChangesNothing(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.MinRateHz, c.FrozenAfter, c.MaxLate = 3, 10, 50*ms, 10*ms
	track := newTrack(t, c)
	run(t, track, 10*ms, 200*ms, 1)
	age, _ := track.Age(250 * ms)
	state := *track
	ring := *track.hist.all
	bad := func(spoil func(*Sample)) Sample {
		s := at(210*ms, 0.21)
		s.Seq, s.HasSeq = 5, true
		spoil(&s)
		return s
	}
	for name, c := range map[string]struct {
		s    Sample
		kind FaultKind
	}{
		"same stamp":    {at(200*ms, 9), StampBack},
		"earlier stamp": {at(199*ms, 9), StampBack},
		"before zero":   {at(-1, 0), OutOfRange},
		"NaN":           {bad(func(s *Sample) { s.Position.Y = math.NaN() }), NotFinite},
		"infinite":      {bad(func(s *Sample) { s.Velocity.Y, s.HasVelocity = math.Inf(1), true }), NotFinite},
		"NaN attitude":  {bad(func(s *Sample) { s.Orientation.Z = math.NaN() }), NotFinite},
		"confidence":    {bad(func(s *Sample) { s.Confidence, s.HasConfidence = 2, true }), OutOfRange},
		"far":           {bad(func(s *Sample) { s.Position.Z = 2e6 }), OutOfRange},
		"fast":          {bad(func(s *Sample) { s.Velocity.Z, s.HasVelocity = 2e4, true }), OutOfRange},
		"not unit":      {bad(func(s *Sample) { s.Orientation = Quat{W: 1.011} }), NotUnit},
	} {
		p := Pose{Stamp: 77}
		f := track.Accept(&c.s, 250*ms, 250*ms, &p)
		if f == nil || f.Kind != c.kind {
			t.Errorf("%s: %v, want %v", name, f, c.kind)
		}
		if p != (Pose{Stamp: 77}) {
			t.Errorf("%s: wrote %+v", name, p)
		}
	}
	if got, _ := track.Age(250 * ms); got != age {
		t.Errorf("age %v after refused samples, %v before", got, age)
	}
	if track.newest != state.newest || track.trust.since != state.trust.since || track.clock != state.clock ||
		track.hist.count != state.hist.count || track.arrived != state.arrived || track.trust.rate.count != state.trust.rate.count {
		t.Error("a refused sample changed the track")
	}
	for i := range ring {
		if ring[i] != track.hist.all[i] {
			t.Fatal("a refused sample changed the history")
		}
	}
}

func TestSeq(t *testing.T) {
	track := newTrack(t, plain())
	with := func(stamp time.Duration, seq uint64) Sample {
		s := at(stamp, 0)
		s.Seq, s.HasSeq = seq, true
		return s
	}
	accept(t, track, with(10*ms, 5), 10*ms)
	var p Pose
	for _, seq := range []uint64{5, 4, 0} {
		s := with(20*ms, seq)
		if f := track.Accept(&s, 20*ms, 20*ms, &p); f == nil || f.Kind != SeqBack {
			t.Errorf("seq %d: %v", seq, f)
		}
	}
	accept(t, track, with(20*ms, 9), 20*ms) // lost ones are no fault
	accept(t, track, at(30*ms, 0), 30*ms)   // and neither is a missing one
	accept(t, track, with(40*ms, 3), 40*ms) // which nothing can be compared with
}

func TestAge(t *testing.T) {
	track := newTrack(t, plain())
	// Transit 20 ms, then 5 ms (the fastest), then 55 ms.
	for _, c := range []struct{ stamp, arrived, want time.Duration }{
		{0, 1020 * ms, 0}, {20 * ms, 1025 * ms, 0}, {30 * ms, 1085 * ms, 50 * ms},
	} {
		accept(t, track, at(7*time.Hour+c.stamp, 0), c.arrived)
		// The floor creeps by 200 ppm: 12 µs in the 60 ms of this test.
		if got, ok := track.Age(c.arrived); !ok || got > c.want || got < c.want-12*time.Microsecond {
			t.Errorf("stamp %v: age %v, want %v", c.stamp, got, c.want)
		}
	}
	a, _ := track.Age(1085 * ms)
	if b, _ := track.Age(1110 * ms); b != a+25*ms {
		t.Errorf("25 ms later the age is %v, was %v", b, a)
	}
	if b, _ := track.Age(0); b != a {
		t.Errorf("an instant before arrival gives %v, want the lateness %v", b, a)
	}
}

// A sender's clock 100 ppm slow drifts by 360 ms in an hour; none of it may
// look like lateness. A backlog growing by 1 ms a second must.
func TestDriftIsNotLateness(t *testing.T) {
	for _, c := range []struct {
		name    string
		ppm     int64
		atLeast time.Duration
		atMost  time.Duration
	}{{"slow clock", 100, 0, ms}, {"fast clock", -100, 0, ms}, {"backlog", 1000, 2800 * ms, 2900 * ms}} {
		track := newTrack(t, plain())
		var now time.Duration
		for i := range int64(36000) {
			stamp := time.Duration(i) * 100 * ms
			now = stamp + stamp/1000000*time.Duration(c.ppm)
			accept(t, track, at(stamp, 0), now)
		}
		if age, _ := track.Age(now); age < c.atLeast || age > c.atMost {
			t.Errorf("%s: age %v after an hour, want %v to %v", c.name, age, c.atLeast, c.atMost)
		}
	}
}

func TestLate(t *testing.T) {
	c := plain()
	c.MaxLate = 40 * ms
	track := newTrack(t, c)
	run(t, track, 10*ms, 100*ms, 0)
	for i, want := range []Distrust{0, 0, 0, 0, Late, Late} {
		// Each message comes 10 ms later than the last.
		stamp := 110*ms + time.Duration(i)*10*ms
		now := stamp + time.Duration(i)*10*ms + 1*ms
		accept(t, track, at(stamp, 0), now)
		wantDistrust(t, track, now, want)
	}
	accept(t, track, at(250*ms, 0), 260*ms)
	wantDistrust(t, track, 260*ms, 0)
}

func TestFrozen(t *testing.T) {
	c := plain()
	c.FrozenAfter = 50 * ms
	track := newTrack(t, c)
	accept(t, track, at(0, 1), 0)
	for now := 10 * ms; now <= 100*ms; now += 10 * ms {
		accept(t, track, at(now, 2), now) // identical from 10 ms on
		want := Distrust(0)
		if now > 60*ms {
			want = Frozen
		}
		wantDistrust(t, track, now, want)
	}
	s := at(110*ms, 2)
	s.Orientation = FromYaw(1e-9)
	accept(t, track, s, 110*ms) // the last bit of the attitude counts
	wantDistrust(t, track, 110*ms, 0)
}

func TestUnsure(t *testing.T) {
	c := plain()
	c.MinConfidence = 0.5
	track := newTrack(t, c)
	for i, v := range []struct {
		has  bool
		c    float64
		want Distrust
	}{{true, 0.5, 0}, {true, 0.49, Unsure}, {true, 1, 0}, {false, 0, Unsure}} {
		now := time.Duration(i) * 10 * ms
		s := at(now, 0)
		s.Confidence, s.HasConfidence = v.c, v.has
		accept(t, track, s, now)
		wantDistrust(t, track, now, v.want)
	}
	off := newTrack(t, plain())
	accept(t, off, at(0, 0), 0)
	wantDistrust(t, off, 0, 0)
}

func TestSlow(t *testing.T) {
	c := plain()
	c.MinRateHz = 20
	track := newTrack(t, c)
	// 50 ms apart is 20 a second and enough; 51 ms is not.
	for now := time.Duration(0); now <= 3*time.Second; now += 50 * ms {
		accept(t, track, at(now, 0), now)
		wantDistrust(t, track, now, 0)
	}
	// The twenty newest began at 2.05 s: a second later they are too few.
	wantDeadline(t, track, 3050*ms+1)
	wantDistrust(t, track, 3050*ms, 0)
	wantDistrust(t, track, 3050*ms+1, Slow)
	now := 3 * time.Second
	var seen time.Duration
	for range 60 {
		now += 53 * ms
		if d, ok := track.Deadline(); ok && d <= now {
			wantDistrust(t, track, d, Slow)
		}
		accept(t, track, at(now, 0), now)
		if track.Distrust(now)&Slow != 0 && seen == 0 {
			seen = now - 3*time.Second
		}
	}
	if seen == 0 || seen > 1100*ms {
		t.Errorf("slow seen after %v, want within 1.1 s", seen)
	}
	wantDistrust(t, track, now, Slow)
}

// A gap is Stale while it lasts; the full second after it is not blamed again.
func TestSlowBeginsAnewAfterGap(t *testing.T) {
	c := plain()
	c.MinRateHz = 50
	track := newTrack(t, c)
	run(t, track, 10*ms, 2*time.Second, 0)
	for now := 2500 * ms; now <= 5*time.Second; now += 10 * ms {
		accept(t, track, at(now, 0), now)
		wantDistrust(t, track, now, 0)
	}
}

func withID(s Sample, id string) Sample {
	s.Tracker = id
	return s
}

func TestRestartByID(t *testing.T) {
	track := newTrack(t, plain())
	accept(t, track, withID(at(5*time.Second, 1), "a"), 0)
	wantDistrust(t, track, 0, 0)
	accept(t, track, at(5010*ms, 1), 10*ms) // an id left out once proves nothing
	wantDistrust(t, track, 10*ms, 0)
	// The new session's stamps begin anew; they are taken, but not trusted.
	accept(t, track, withID(at(1*ms, 0), "b"), 20*ms)
	wantDistrust(t, track, 20*ms, Restarted)
	for now := 30 * ms; now < 10*time.Second; now += 50 * ms {
		accept(t, track, withID(at(now, 0), "b"), now)
		wantDistrust(t, track, now, Restarted)
	}
	if err := track.Realign(Alignment{Tracker: "b"}); err != nil {
		t.Fatal(err)
	}
	wantDistrust(t, track, 10*time.Second, Restarted) // until a pose stands in the new one
	accept(t, track, withID(at(10*time.Second, 0), "b"), 10*time.Second)
	wantDistrust(t, track, 10*time.Second, 0)
	accept(t, track, withID(at(10100*ms, 0), "a"), 10100*ms)
	wantDistrust(t, track, 10100*ms, Restarted)
}

func TestAlignmentBoundToAnotherSession(t *testing.T) {
	c := plain()
	c.Align.Tracker = "yesterday"
	track := newTrack(t, c)
	accept(t, track, withID(at(0, 0), "today"), 0)
	wantDistrust(t, track, 0, Restarted)
	silent := newTrack(t, c)
	accept(t, silent, at(0, 0), 0)
	wantDistrust(t, silent, 0, Restarted)
	right := newTrack(t, c)
	accept(t, right, withID(at(0, 0), "yesterday"), 0)
	wantDistrust(t, right, 0, 0)
}

func TestRestartByOrigin(t *testing.T) {
	c := plain()
	c.RestartRadius = 0.1
	for _, v := range []struct {
		name         string
		before, then float64
		gap          time.Duration
		want         Distrust
	}{
		{"back at its origin after a gap", 0.31, 0.09, 150 * ms, Restarted},
		{"without a gap", 0.31, 0.09, 90 * ms, 0},
		{"not at its origin", 0.31, 0.11, 150 * ms, 0},
		{"was there before", 0.29, 0.09, 150 * ms, 0},
	} {
		track := newTrack(t, c)
		accept(t, track, at(0, v.before), 0)
		accept(t, track, at(v.gap, v.then), v.gap)
		if got := track.Distrust(v.gap); got != v.want {
			t.Errorf("%s: %v, want %v", v.name, got, v.want)
		}
	}
}

func TestRealign(t *testing.T) {
	track := newTrack(t, plain())
	run(t, track, 10*ms, 100*ms, 1)
	if err := track.Realign(Alignment{Residual: math.NaN()}); err == nil {
		t.Error("a residual of NaN is taken")
	}
	wantDistrust(t, track, 100*ms, 0) // refused: nothing changed
	if err := track.Realign(YawAlignment(math.Pi/2, Vec{X: 10}, 0.01)); err != nil {
		t.Fatal(err)
	}
	p := accept(t, track, at(50*ms, 2), 110*ms) // stamps may begin anew
	nearVec(t, "position", p.Position, Vec{10, 2, 0}, 1e-14)
	near(t, "yaw", p.Orientation.Yaw(), math.Pi/2, 1e-15)
	if p.HasVelocity {
		t.Error("a velocity out of two frames")
	}
}

func TestTrustedSince(t *testing.T) {
	track := newTrack(t, plain())
	accept(t, track, at(0, 0), 40*ms)
	for now := 50 * ms; now <= 300*ms; now += 10 * ms {
		accept(t, track, at(now, 0), now)
	}
	if since, ok := track.TrustedSince(350 * ms); !ok || since != 40*ms {
		t.Errorf("%v (%v), want 40ms", since, ok)
	}
	if _, ok := track.TrustedSince(401 * ms); ok {
		t.Error("trusted while stale")
	}
	accept(t, track, at(500*ms, 0), 500*ms) // nobody asked while it was stale
	if since, ok := track.TrustedSince(510 * ms); !ok || since != 500*ms {
		t.Errorf("%v (%v), want 500ms", since, ok)
	}
}

// Instants that run backwards are taken for the newest: an arrival cannot make
// a pose younger than now, nor older than the one before.
func TestInstantsBackwards(t *testing.T) {
	track := newTrack(t, plain())
	var p Pose
	s := at(0, 0)
	if f := track.Accept(&s, 900*ms, 500*ms, &p); f != nil || p.Arrived != 500*ms {
		t.Errorf("%v, arrived %v, want 500ms", f, p.Arrived)
	}
	wantDistrust(t, track, 600*ms+1, Stale)
	wantDistrust(t, track, 0, Stale)
	s = at(10*ms, 0)
	if f := track.Accept(&s, 100*ms, 100*ms, &p); f != nil || p.Arrived != 500*ms {
		// Arrived at 100 ms by its own account, though 500 ms had passed.
		t.Errorf("%v, arrived %v", f, p.Arrived)
	}
	wantDistrust(t, track, 0, Stale)
}

func TestAcceptDoesNotAllocate(t *testing.T) {
	c := plain()
	c.MaxSpeed, c.MaxAccel, c.MinRateHz, c.VelocityTolerance = 3, 10, 20, 1
	track := newTrack(t, c)
	var p Pose
	i := 0
	if n := testing.AllocsPerRun(2000, func() {
		i++
		now := time.Duration(i) * 5 * ms
		s := at(now, now.Seconds())
		s.Velocity, s.HasVelocity = Vec{X: 1}, true
		if f := track.Accept(&s, now, now, &p); f != nil || track.Distrust(now) != 0 {
			t.Fatal(f, track.Distrust(now))
		}
		track.Deadline()
		track.TrustedSince(now)
	}); n != 0 {
		t.Errorf("%v allocations a sample", n)
	}
}

func BenchmarkAccept(b *testing.B) {
	c := plain()
	c.MaxSpeed, c.MaxAccel, c.MinRateHz = 3, 10, 20
	track := newTrack(b, c)
	var p Pose
	i := 0
	b.ReportAllocs()
	for b.Loop() {
		i++
		now := time.Duration(i) * 5 * ms
		s := at(now, math.Sin(now.Seconds()))
		if f := track.Accept(&s, now, now, &p); f != nil {
			b.Fatal(f)
		}
	}
}
