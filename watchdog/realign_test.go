package watchdog

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// restart begins a new session of the tracker: another id, another frame.
func (r *rig) restart(yaw float64, origin pose.Vec) {
	r.made++
	r.tracker, r.begun = fmt.Sprintf("b%d", r.made), r.now
	r.frame = pose.YawAlignment(yaw, origin, 0)
}

// alignFile is what pinfold align would write for the tracker's session now; edit, where
// not nil, makes it another.
func (r *rig) alignFile(edit func(*pose.AlignmentFile)) []byte {
	r.t.Helper()
	r.made++
	f := pose.AlignmentFile{Vehicle: r.cfg.Vehicle, Method: pose.MethodPad, Samples: 400, Pad: &pose.PadSpot{},
		Made: time.Date(2031, 1, 1, 0, 0, r.made, 0, time.UTC), Alignment: r.frame}
	f.Alignment.Tracker, f.Alignment.Residual = r.tracker, 0.04
	f.Alignment.Since = int64(r.begun + 1000*time.Second)
	if edit != nil {
		edit(&f)
	}
	data, err := pose.WriteAlignment(&f)
	if err != nil {
		r.t.Fatal(err)
	}
	return data
}

// alignment is the event that brings it, with the nonce that is shown.
func (r *rig) alignment(edit func(*pose.AlignmentFile)) Event {
	return Event{Kind: EvAlign, By: "tester", Nonce: r.nonce(), Payload: r.alignFile(edit)}
}

// realign sends one and makes it durable.
func (r *rig) realign(edit func(*pose.AlignmentFile)) []Effect {
	r.step(r.alignment(edit))
	return r.durable()
}

// wrongFiles are edits that make a file one that must not be taken.
func wrongFiles() []func(*pose.AlignmentFile) {
	return []func(*pose.AlignmentFile){
		func(f *pose.AlignmentFile) { f.Vehicle = "mole" },
		func(f *pose.AlignmentFile) { f.Alignment.Tracker = "yesterday" },
		func(f *pose.AlignmentFile) { f.Alignment.Tracker = "" },
		func(f *pose.AlignmentFile) { f.Alignment.Residual = 0.6 },
		func(f *pose.AlignmentFile) { f.Alignment.Since = int64(100 * time.Hour) },
		func(f *pose.AlignmentFile) { f.Made = time.Date(1971, 1, 1, 0, 0, 0, 0, time.UTC) },
	}
}

// The whole way: a restart withdraws the permit, the pose is judged where it
// truly is again after the new alignment, and only a reset and a start grant.
func TestRealignAfterARestart(t *testing.T) {
	for _, kind := range []Kind{Rover, Multirotor} {
		c := testConfig(t)
		c.Kind = kind
		r := newRig(t, c).started()
		r.restart(2.1, pose.Vec{X: 4, Y: -3, Z: 0.5})
		r.still(100 * ms)
		r.wantLatched("tracker-restarted")
		s := r.g.Snapshot()
		if said := s.Latched[0].Text + strings.Join(s.Blocked, ";"); strings.Count(said, "align again (pinfold align --vehicle wren)") != 2 {
			t.Errorf("what to do is not said: %q", said)
		}
		before := s.Nonce
		got := bodies[AlignHeard](r.step(r.alignment(nil)))
		if len(got) != 1 || got[0].Outcome != "accepted" || !r.g.trust.Has(pose.Restarted) {
			t.Fatalf("%+v, trust %v; want it accepted and not yet in force", got, r.g.trust)
		}
		if n := r.nonce(); n == before {
			t.Error("its nonce is still good")
		}
		got = bodies[AlignHeard](r.durable())
		if len(got) != 1 || got[0].Outcome != "effective" || got[0].By != "tester" || got[0].Replaces != "" || len(got[0].Hash) != 64 ||
			got[0].Residual != 0.04 || got[0].Uncertainty != 0.06 || got[0].Tracker != r.tracker {
			t.Fatalf("%+v", got)
		}
		near(t, "yaw", got[0].Yaw, 2.1*degPerRad, 1e-9)
		r.wantLatched("tracker-restarted") // nothing new is blamed on the vehicle
		r.still(2500 * ms)
		s = r.g.Snapshot()
		if off := s.Pose.Position.Sub(r.p).Norm(); off > 1e-6 || s.Go || s.Level < Stop || s.Tie.Hash != got[0].Hash {
			t.Fatalf("off by %v m, go %v, level %v, tie %+v", off, s.Go, s.Level, s.Tie)
		}
		r.ask(AskReset)
		r.durable()
		r.wantLevel(Waiting)
		r.ask(AskStart)
		r.durable()
		r.wantLevel(Clear)
		if r.g.cfg.Stopping.PlaceErr() != 0.02+0.04 {
			t.Errorf("the residual does not widen the judgement: %v", r.g.cfg.Stopping.PlaceErr())
		}
	}
}

// Every reason to refuse, each by its words; nothing changes but the nonce.
func TestAlignmentsThatAreRefused(t *testing.T) {
	right := func(*rig) {}
	for want, c := range map[string]struct {
		edit  func(*pose.AlignmentFile)
		event func(ev *Event)
		first func(r *rig)
	}{
		`alignment of "mole"`:             {edit: wrongFiles()[0]},
		`session "yesterday"`:             {edit: wrongFiles()[1]},
		`another site, "Yard"`:            {edit: func(f *pose.AlignmentFile) { f.Site = "Yard" }},
		"told no id":                      {edit: wrongFiles()[2]},
		"more than the tolerance":         {edit: wrongFiles()[3]},
		"it restarted since":              {edit: wrongFiles()[4]},
		"not after the one in force":      {edit: wrongFiles()[5], first: func(r *rig) { r.realign(nil) }},
		"made again with":                 {event: func(ev *Event) { ev.Payload = []byte("{}") }},
		"old by definition":               {event: func(ev *Event) { ev.Retained = true }},
		"nonce is not the one":            {event: func(ev *Event) { ev.Nonce = "guess" }},
		"stop it first":                   {first: func(r *rig) { r.started() }},
		"moves at 0.":                     {first: func(r *rig) { r.started(); r.move(time.Second, pose.Vec{X: 0.5}); r.ask(AskStop); r.pose() }},
		"no pose to be trusted says that": {first: func(r *rig) { r.started(); r.ask(AskStop); r.silence(time.Second) }},
		"trail cannot be written":         {first: func(r *rig) { r.step(Event{Kind: EvTrail}) }},
		"waits for the disk":              {first: func(r *rig) { r.still(2500 * ms); r.ask(AskStart) }},
		"the site file fixes":             {first: func(r *rig) { r.g.cfg.Tie.Renew = false }},
		"session is closed":               {first: func(r *rig) { r.step(Event{Kind: EvClose}) }},
	} {
		r := newRig(t, testConfig(t))
		r.pose()
		if c.first == nil {
			c.first = right
		}
		c.first(r)
		ev := r.alignment(c.edit)
		if c.event != nil {
			c.event(&ev)
		}
		was, tie, level := r.g.cfg.Pose.Align, r.g.cfg.Tie, r.g.Level()
		got := bodies[AlignHeard](r.step(ev))
		if want == "session is closed" { // nothing is recorded any more
			if len(got) > 0 || r.g.cfg.Tie != tie {
				t.Errorf("after the end: %+v", got)
			}
			continue
		}
		if len(got) != 1 || got[0].Outcome != "refused" || !strings.Contains(strings.Join(got[0].Why, "; ")+remade(got[0].Why), want) {
			t.Errorf("%s: %+v", want, got)
			continue
		}
		r.durable()
		if r.g.cfg.Pose.Align != was || r.g.cfg.Tie != tie || want != "waits for the disk" && r.g.Level() != level {
			t.Errorf("%s: something changed", want)
		}
		if s := r.g.Snapshot(); s.Aligned.Outcome != "refused" || len(s.Aligned.Why) == 0 {
			t.Errorf("%s: the state does not say it: %+v", want, s.Aligned)
		}
	}
}

// remade spells the reader's own advice as the table does.
func remade(why []string) string {
	if strings.Contains(strings.Join(why, ""), "make the file again with pinfold align") {
		return "made again with"
	}
	return ""
}

// What was taken once does nothing a second time, neither as the same message
// nor as the same file with a new nonce; also not once the tracker restarted.
func TestAlignmentTwice(t *testing.T) {
	r := newRig(t, testConfig(t))
	r.pose()
	ev := r.alignment(nil)
	r.step(ev)
	r.durable()
	r.still(2500 * ms)
	r.ask(AskStart)
	r.durable()
	r.wantLevel(Clear)
	refused := func(want string) {
		t.Helper()
		got := bodies[AlignHeard](r.step(ev))
		if len(got) != 1 || got[0].Outcome != "refused" || !strings.Contains(got[0].Why[0], want) {
			t.Fatalf("%+v, want %q", got, want)
		}
	}
	refused("nonce")
	r.wantLevel(Clear)
	ev.Nonce = r.nonce()
	refused("in force")
	r.wantLevel(Clear)
	r.restart(1, pose.Vec{X: 1})
	r.still(50 * ms)
	ev.Nonce = r.nonce()
	refused("void; align again")
	ev.Local, ev.Nonce = true, ""
	refused("void; align again")
}

// Between being accepted and being durable everything may change.
func TestAlignmentThatWaitsForTheDisk(t *testing.T) {
	for what, c := range map[string]struct {
		then func(r *rig)
		want string
	}{
		"not on disk":          {func(r *rig) { r.step(Event{Kind: EvDurable, Token: r.token, Failed: true}) }, "could not be made durable"},
		"too late":             {func(r *rig) { r.still(PendingFor + time.Second) }, "too long to become durable"},
		"a stop":               {func(r *rig) { r.ask(AskStop) }, "was called before it took effect"},
		"the tracker restarts": {func(r *rig) { r.restart(1, pose.Vec{X: 1}); r.pose(); r.durable() }, "restarted since"},
		"the end":              {func(r *rig) { r.step(Event{Kind: EvClose}) }, "session was closed"},
	} {
		r := newRig(t, testConfig(t))
		r.still(2500 * ms)
		was := r.g.cfg.Tie
		var why []string
		r.step(r.alignment(nil))
		r.out = func(_ time.Duration, effects []Effect) {
			for _, b := range bodies[AlignHeard](effects) {
				why = append(why, b.Outcome+": "+strings.Join(b.Why, "; "))
			}
		}
		c.then(r)
		r.durable()
		if len(why) != 1 || !strings.Contains(why[0], "refused: ") || !strings.Contains(why[0], c.want) || r.g.cfg.Tie != was {
			t.Errorf("%s: %q, want %q", what, why, c.want)
		}
	}
	r := newRig(t, testConfig(t))
	r.still(2500 * ms)
	r.step(r.alignment(nil))
	tie := r.token
	if got := bodies[RequestHeard](r.ask(AskStart)); len(got) != 1 || got[0].Outcome != "refused" {
		t.Fatalf("a start while an alignment waits: %+v", got)
	}
	r.step(Event{Kind: EvDurable, Token: tie})
	if r.wantLevel(Waiting); r.granted() {
		t.Error("a permit")
	}
}

// A vehicle that was stopped under way is tied anew only at rest: while it moves
// its stop is still being watched. One that was not started is carried by hand.
func TestAlignmentAtRestOnly(t *testing.T) {
	r := newRig(t, testConfig(t)).started()
	r.ask(AskStop)
	r.still(time.Second)
	if got := bodies[AlignHeard](r.step(r.alignment(nil))); len(got) != 1 || got[0].Outcome != "accepted" {
		t.Fatalf("at rest: %+v", got)
	}
	tie := r.token
	r.move(100*ms, pose.Vec{X: 2})
	got := bodies[AlignHeard](r.step(Event{Kind: EvDurable, Token: tie}))
	if len(got) != 1 || got[0].Outcome != "refused" || !strings.Contains(got[0].Why[0], "the vehicle moves at 0.") || !strings.Contains(got[0].Why[0], "send it again") {
		t.Errorf("set in motion before it was durable: %+v", got)
	}
	r.still(time.Second)
	if got := bodies[AlignHeard](r.realign(nil)); len(got) != 1 || got[0].Outcome != "effective" {
		t.Errorf("at rest again: %+v", got)
	}
	carried := newRig(t, testConfig(t))
	carried.move(time.Second, pose.Vec{X: 0.5})
	if got := bodies[AlignHeard](carried.realign(nil)); len(got) != 1 || got[0].Outcome != "effective" {
		t.Errorf("carried by hand: %+v", got)
	}
}

// A tracker that nobody aligned yet is told so, not that it restarted.
func TestNeverAligned(t *testing.T) {
	c := testConfig(t)
	c.Pose.Align = pose.Unaligned()
	r := newRig(t, c)
	r.laws.tied = "none"
	r.still(3 * time.Second)
	if b := strings.Join(r.g.Snapshot().Blocked, "; "); !strings.Contains(b, "not tied to the room yet: align it (pinfold align --vehicle wren)") {
		t.Errorf("blocked by %q", b)
	}
	r.ask(AskStart)
	r.durable()
	r.wantLevel(Waiting)
	r.realign(nil)
	said := ""
	r.out = func(_ time.Duration, effects []Effect) {
		for _, e := range bodies[Episode](effects) {
			said += e.Text
		}
	}
	r.started()
	if !strings.Contains(said, "not tied to the room yet") || strings.Contains(said, "restarted") {
		t.Errorf("the episode closes with %q", said)
	}
}

// A new site file does not bring an alignment in by the way.
func TestTightenKeepsTheAlignment(t *testing.T) {
	c := testConfig(t)
	r := newRig(t, c)
	r.pose()
	r.realign(nil)
	in := r.g.cfg
	next := c
	next.Tie.Hash, next.Tie.Made = "other", 1e15
	next.Pose.Align = pose.YawAlignment(1, pose.Vec{X: 3}, 0.001)
	next.Stopping.AlignErr, next.Stopping.Margin = 0.001, 0.2
	if _, err := r.g.Tighten(next, r.now); err != nil {
		t.Fatal(err)
	}
	now := r.g.cfg
	if now.Pose.Align != in.Pose.Align || now.Tie != in.Tie || now.Stopping.AlignErr != 0.04 || now.Stopping.Margin != 0.2 {
		t.Errorf("%+v %+v %+v", now.Pose.Align, now.Tie, now.Stopping)
	}
	next.Tie.Renew = false
	if _, err := r.g.Tighten(next, r.now); err == nil {
		t.Error("an alignment that stands in the site file is taken while running")
	}
}

// A tighter site file judges no pose that has no place: what was seen before the
// tracker restarted goes on.
func TestTightenJudgesNoVoidPose(t *testing.T) {
	c := testConfig(t)
	r := newRig(t, c).started()
	r.p = pose.Vec{X: 6.9, Y: 1, Z: 1} // over the edge
	r.still(100 * ms)
	r.restart(0, pose.Vec{X: 3}) // and now it seems to stand in the middle
	r.now += 5 * ms
	r.pose()
	was := words(r.g.Snapshot().Causes)
	c.Stopping.Margin += 0.01
	effects, err := r.g.Tighten(c, r.now)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range bodies[Episode](effects) {
		t.Errorf("an episode of %s is told: %+v", e.Cause, e)
	}
	if now := words(r.g.Snapshot().Causes); fmt.Sprint(now) != fmt.Sprint(was) || !slices.Contains(now, "zone") {
		t.Errorf("causes %v, before %v", now, was)
	}
}
