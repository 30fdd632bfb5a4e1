package watchdog

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// TestCausesMatchReasons: every reason of distrust is a cause with the same
// word, so that none is ever silent.
func TestCausesMatchReasons(t *testing.T) {
	if n := int(CauseClockStep-CausePoseNone) + 1; n != pose.DistrustReasons {
		t.Fatalf("%d causes for %d reasons of distrust", n, pose.DistrustReasons)
	}
	seen := map[string]bool{}
	for k := CauseZone; k <= CauseClosing; k++ {
		if w := k.String(); w == "unknown" || seen[w] {
			t.Errorf("cause %d has the word %q", k, w)
		} else {
			seen[w] = true
		}
		if k >= CausePoseNone && k <= CauseClockStep {
			if r := pose.Distrust(1) << (k - CausePoseNone); r.Name() != k.String() {
				t.Errorf("cause %q stands for reason %q", k, r.Name())
			}
		}
	}
}

// TestStaleWithoutATick: a pose that ends a silence and comes before anybody
// ticked still leaves the episode, and stops the vehicle.
func TestStaleWithoutATick(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	last := r.now
	r.now += 200 * ms // within the stall time
	var got []Episode
	r.out = func(_ time.Duration, e []Effect) { got = append(got, bodies[Episode](e)...) }
	r.pose()
	r.wantLevel(Land)
	r.wantLatched("pose-stale")
	if r.granted() {
		t.Error("permit to go although it was blind for 200 ms")
	}
	if len(got) != 2 {
		t.Fatalf("%d episodes, want the opening and the closing: %+v", len(got), got)
	}
	e := got[1]
	stamp := func(at time.Duration) int64 { return int64(1000*time.Second + at) }
	if e.From != last+100*ms || e.FromStamp != stamp(last+100*ms) || e.ToStamp != stamp(r.now) || e.Worst != 0.2 {
		t.Errorf("stale from %v (%d) to %d, worst %v; want from %v to %v, worst 0.2", e.From, e.FromStamp, e.ToStamp, e.Worst, last+100*ms, r.now)
	}
}

// TestArrivedInTime: a pose that waited in the shell is judged by its arrival;
// it was there, so the pose was not stale.
func TestArrivedInTime(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	r.now += 90 * ms
	payload := r.payload()
	r.laws.sent(r)
	arrived := r.now
	r.now += 30 * ms
	r.step(Event{Kind: EvPose, Payload: payload, Arrived: arrived})
	r.wantLevel(Clear)
}

// TestUnknownVelocityIsNotRest: after a gap the velocity is unknown. The reach
// then takes the vehicle for as fast as it may be, in any direction.
func TestUnknownVelocityIsNotRest(t *testing.T) {
	c := testConfig(t)
	r := newRig(t, c)
	r.quiet = true
	r.now += 5 * ms
	r.pose()
	s := r.g.Snapshot()
	if s.Pose.HasVelocity || s.AtRest {
		t.Fatalf("velocity known %v, at rest %v after one pose without velocity", s.Pose.HasVelocity, s.AtRest)
	}
	if least := StoppingDistance(1.5, 0.15, 3); s.Reach.Sweep.Grow < least {
		t.Errorf("the reach grows by %v m; at the speed limit it stops in %v m", s.Reach.Sweep.Grow, least)
	}

	c.Limits[LimitSpeed].On = false
	r = newRig(t, c)
	r.quiet = true
	r.now += 5 * ms
	r.pose()
	if grow := r.g.Snapshot().Reach.Sweep.Grow; grow < StoppingDistance(8, 0.15, 3) {
		t.Errorf("without a limit the reach grows by %v m, less than from the 8 m/s it can do", grow)
	}

	c.Pose.MaxSpeed = 0
	r = newRig(t, c)
	r.quiet = true
	r.now += 5 * ms
	r.pose()
	s = r.g.Snapshot()
	if len(s.Causes) != 1 || s.Causes[0].Value != Unbounded || !strings.Contains(s.Causes[0].Text, "nothing bounds") {
		t.Errorf("nothing bounds its speed, and the causes are %+v", s.Causes)
	}
}

// TestStartIsBlockedByEveryCause: a start needs everything it needs twice, when
// it is asked for and when it is on disk.
func TestStartIsBlockedByEveryCause(t *testing.T) {
	for name, spoil := range map[string]func(r *rig){
		"too fast":     func(r *rig) { r.v.X = 1.6; r.move(10*ms, pose.Vec{}) },
		"one too fast": func(r *rig) { r.v.X = 1.6; r.move(5*ms, pose.Vec{}) },
		"too tilted":   func(r *rig) { r.tilt = 40; r.move(10*ms, pose.Vec{}) },
		"too high":     func(r *rig) { r.p.Z = 2.75; r.move(3*time.Second, pose.Vec{}) },
		"at the wall":  func(r *rig) { r.p.X = 0.25; r.move(3*time.Second, pose.Vec{}) },
		"unsure":       func(r *rig) { r.conf = 0; r.move(10*ms, pose.Vec{}) },
		"stale":        func(r *rig) { r.silence(150 * ms) },
		"no link":      func(r *rig) { r.step(Event{Kind: EvLink}) },
		"no trail":     func(r *rig) { r.step(Event{Kind: EvTrail}) },
		"moving":       func(r *rig) { r.v.Y = 0.2; r.move(10*ms, pose.Vec{}) },
		"just at rest": func(r *rig) { r.v.Y = 0.2; r.move(10*ms, pose.Vec{}); r.still(100 * ms) },
	} {
		r := newRig(t, testConfig(t))
		r.still(2500 * ms)
		spoil(r)
		r.ask(AskStart)
		r.step(Event{Kind: EvDurable, Token: r.token})
		if r.g.Level() != Waiting || r.granted() {
			t.Errorf("%s before the request: level %v, go %v", name, r.g.Level(), r.granted())
		}
		r = newRig(t, testConfig(t))
		r.still(2500 * ms)
		heard := bodies[RequestHeard](r.ask(AskStart))
		if len(heard) != 1 || heard[0].Outcome != "accepted" {
			t.Fatalf("start with nothing wrong: %+v", heard)
		}
		spoil(r)
		r.durable()
		if r.g.Level() != Waiting || r.granted() {
			t.Errorf("%s before the disk answered: level %v, go %v", name, r.g.Level(), r.granted())
		}
	}
}

// TestResetIsBlocked: a reset needs rest, trust and the body inside.
func TestResetIsBlocked(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(r *rig)
		want  Level
	}{
		"nothing":   {func(r *rig) {}, Waiting},
		"in margin": {func(r *rig) { r.p.X = 0.25; r.still(3 * time.Second) }, Waiting},
		"on edge":   {func(r *rig) { r.p.X = 0.22; r.still(3 * time.Second) }, Land},
		"outside":   {func(r *rig) { r.p.X = -1; r.still(3 * time.Second) }, Land},
		"in post":   {func(r *rig) { r.p.X, r.p.Y = 4.05, 2.05; r.still(3 * time.Second) }, Land},
		"moving":    {func(r *rig) { r.v.X = 0.3; r.move(400*ms, pose.Vec{}) }, Land},
		"stale":     {func(r *rig) { r.silence(200 * ms) }, Land},
		"no link":   {func(r *rig) { r.step(Event{Kind: EvLink}) }, Land},
	} {
		r := newRig(t, testConfig(t)).started()
		r.ask(AskLand)
		r.step(Event{Kind: EvAck, Text: r.command.ID})
		r.still(2500 * ms)
		c.spoil(r)
		r.ask(AskReset)
		r.durable()
		if r.g.Level() != c.want {
			t.Errorf("%s: level %v, want %v; lacks %q", name, r.g.Level(), c.want, r.g.Snapshot().Blocked)
		}
	}
}

// TestStaleTokens: only the newest request's own record lets it take effect,
// once.
func TestStaleTokens(t *testing.T) {
	r := newRig(t, testConfig(t))
	r.still(2500 * ms)
	r.ask(AskStart)
	first := r.token
	r.step(Event{Kind: EvDurable, Token: first, Failed: true})
	r.step(Event{Kind: EvDurable, Token: first})
	r.wantLevel(Waiting)
	r.ask(AskStart)
	for _, token := range []uint64{0, first, r.token + 1} {
		r.step(Event{Kind: EvDurable, Token: token})
		r.wantLevel(Waiting)
	}
	second := r.token
	r.durable()
	r.wantLevel(Clear)
	r.ask(AskStop)
	r.step(Event{Kind: EvDurable, Token: second})
	r.wantLevel(Stop)
}

// TestStalledStart: a guard that was held up does not begin by granting.
func TestStalledStart(t *testing.T) {
	r := newRig(t, testConfig(t))
	r.still(2500 * ms)
	r.ask(AskStart)
	r.now += 400 * ms
	r.durable()
	if r.granted() {
		t.Error("granted in the very step that was late")
	}
}

// TestTimeNeverRunsBack: an earlier instant is taken for the newest one.
func TestTimeNeverRunsBack(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	before := r.g.Deadline()
	r.g.Step(&Event{Kind: EvTick}, 0)
	r.g.Step(&Event{Kind: EvPose, Arrived: -time.Hour, Payload: []byte("{}")}, -time.Hour)
	if r.g.Deadline() < before || r.g.Level() != Clear {
		t.Errorf("deadline %v after %v, level %v", r.g.Deadline(), before, r.g.Level())
	}
}

// TestClosedGrantsNothing: after the end there are only withdrawals, and the
// command until it is acknowledged.
func TestClosedGrantsNothing(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	r.step(Event{Kind: EvClose, Text: "test"})
	r.wantLevel(Stop)
	r.still(3 * time.Second)
	r.ask(AskReset)
	r.durable()
	r.wantLevel(Stop)
	if r.granted() {
		t.Error("a closed session grants")
	}
	r.step(Event{Kind: EvAck, Text: r.command.ID})
	seen := 0
	r.out = func(_ time.Duration, e []Effect) {
		for _, x := range e {
			if x.Kind == DoCommand {
				seen++
			}
		}
	}
	r.silence(time.Second)
	if seen > 0 {
		t.Errorf("%d commands after the acknowledgement", seen)
	}
}

// TestBounds: what comes from outside is cut, and counted where it is not kept.
func TestBounds(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	for i := range 40 {
		r.step(Event{Kind: EvBad, Text: strings.Repeat("ß", 300) + string(rune('a'+i%26))})
		r.step(Event{Kind: EvBad, Text: string(rune('a' + i))})
		r.step(Event{Kind: EvRequest, Ask: AskStop, By: strings.Repeat("é", 100) + string(rune('a'+i))})
	}
	s := r.g.Snapshot()
	if len(s.Latched) > MaxLatched || s.Counts.Bad != 80 || len(r.g.bad) != MaxBadKinds {
		t.Errorf("%d latched, %d bad counted, %d kept", len(s.Latched), s.Counts.Bad, len(r.g.bad))
	}
	for _, c := range s.Latched {
		if len(c.Name) > MaxName || strings.ContainsRune(c.Name, '\uFFFD') {
			t.Errorf("name %q has %d bytes", c.Name, len(c.Name))
		}
	}
	for i := range 40 {
		r.step(Event{Kind: EvRequest, Ask: AskStop, By: string(rune('a' + i))})
	}
	if s = r.g.Snapshot(); len(s.Latched) != MaxLatched || s.MoreCause == 0 {
		t.Errorf("%d latched and %d more, want %d and some", len(s.Latched), s.MoreCause, MaxLatched)
	}
}

// TestCoverLoss: with it the reach lasts as long as the permit does.
func TestCoverLoss(t *testing.T) {
	c := testConfig(t)
	p := pose.Pose{Velocity: pose.Vec{X: 1}, HasVelocity: true}
	var short, long, old Reach
	c.reachOf(&p, delays{age: 20 * ms}, 0, &short)
	c.Stopping.CoverLoss = true
	c.reachOf(&p, delays{age: 20 * ms}, 0, &long)
	c.reachOf(&p, delays{age: 400 * ms}, 0, &old)
	near(t, "reaction", short.Reaction, 0.180, 1e-12)
	near(t, "reaction with the permit's validity", long.Reaction, 0.400, 1e-12)
	near(t, "reaction of a pose older than that", old.Reaction, 0.560, 1e-12)
}

// TestHeightIsAboveTheFloor: the height limit counts from the ground, wherever
// the frame's origin is.
func TestHeightIsAboveTheFloor(t *testing.T) {
	c := testConfig(t)
	c.Stopping.Predict, c.Stopping.Margin, c.Stopping.PositionErr = false, 0, 0
	c.Ground = -0.5
	r := newRig(t, c)
	r.p.Z = 2.4
	r.still(50 * ms)
	if got := words(r.g.Snapshot().Causes); !slices.Contains(got, "height") {
		t.Errorf("2.9 m above a floor at -0.5 m, limit 2.8 m: causes %v", got)
	}
}

// TestNotFiniteIsViolated: a value that is not a number is over every limit.
func TestNotFiniteIsViolated(t *testing.T) {
	for _, at := range []bool{false, true} {
		s := subject{limit: 1, atLimit: at}
		if !s.violates(math.NaN()) || !s.violates(math.Inf(1)) || s.violates(0.5) || s.violates(math.Inf(-1)) {
			t.Errorf("atLimit %v: NaN %v, +Inf %v, 0.5 %v", at, s.violates(math.NaN()), s.violates(math.Inf(1)), s.violates(0.5))
		}
		if s.violates(1) != at {
			t.Errorf("on the limit: violated %v, want %v", s.violates(1), at)
		}
	}
	if b := bounded(math.NaN()); b != Unbounded {
		t.Errorf("NaN is written as %v", b)
	}
}

// TestNewRefuses: what is not finite, out of range or missing makes no guard.
func TestNewRefuses(t *testing.T) {
	out, err := zones.New([]zones.Shape{{Name: "post", Kind: zones.KeepOut, Floor: 0, Ceiling: 1, Rings: [][]zones.XY{box(0, 0, 1, 1)}}})
	if err != nil {
		t.Fatal(err)
	}
	for what, spoil := range map[string]func(c *Config){
		"no name":          func(c *Config) { c.Vehicle = "" },
		"long session":     func(c *Config) { c.Session = strings.Repeat("x", MaxSession+1) },
		"no kind":          func(c *Config) { c.Kind = 0 },
		"no zones":         func(c *Config) { c.Zones = nil },
		"no pen":           func(c *Config) { c.Zones = out },
		"NaN radius":       func(c *Config) { c.Radius = math.NaN() },
		"NaN limit":        func(c *Config) { c.Limits[LimitSpeed].Max = math.NaN() },
		"infinite limit":   func(c *Config) { c.Limits[LimitSpeed].Max = math.Inf(1) },
		"NaN caution":      func(c *Config) { c.Limits[LimitSpeed].Caution = math.NaN() },
		"no answer":        func(c *Config) { c.Limits[LimitSpeed].Answer = ActNone },
		"no braking":       func(c *Config) { c.Stopping.Deceleration = 0 },
		"NaN braking":      func(c *Config) { c.Stopping.Deceleration = math.NaN() },
		"no lift":          func(c *Config) { c.Stopping.Vertical = 0 },
		"NaN slope":        func(c *Config) { c.Stopping.Slope = math.NaN() },
		"steep":            func(c *Config) { c.Stopping.Slope = 1 },
		"negative margin":  func(c *Config) { c.Stopping.Margin = -0.1 },
		"long reaction":    func(c *Config) { c.Stopping.Reaction = time.Minute },
		"endless permit":   func(c *Config) { c.Timing.PermitValid = time.Hour },
		"never stale":      func(c *Config) { c.Pose.MaxAge = 0 },
		"no fields":        func(c *Config) { c.Fields = pose.Fields{} },
		"no timing":        func(c *Config) { c.Timing = Timing{} },
		"obey never":       func(c *Config) { c.Timing.ObeyConfirm = 0 },
		"infinite home":    func(c *Config) { c.Home.X = math.Inf(1) },
		"NaN zone caution": func(c *Config) { c.ZoneCaution = math.NaN() },
	} {
		c := testConfig(t)
		spoil(&c)
		if g, err := New(c); err == nil || g != nil {
			t.Errorf("%s: New takes it", what)
		}
	}
	c := testConfig(t)
	if _, err := New(c); err != nil {
		t.Errorf("the good one: %v", err)
	}
}
