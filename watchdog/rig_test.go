package watchdog

import (
	"fmt"
	"math"
	"testing"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

const ms = time.Millisecond

// cage is a pen of 7.0 × 5.0 × 3.2 m whose floor lies below the ground, with a
// post 0.1 m thick in it.
func cage(t testing.TB) *zones.Set {
	t.Helper()
	set, err := zones.New([]zones.Shape{
		{Name: "cage", Kind: zones.KeepIn, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(0, 0, 7, 5)}},
		{Name: "post", Kind: zones.KeepOut, Floor: -1, Ceiling: 3.2, Rings: [][]zones.XY{box(4, 2, 4.1, 2.1)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return set
}

func box(x0, y0, x1, y1 float64) []zones.XY {
	return []zones.XY{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

// testConfig is a multirotor in the cage; the tracker reports velocity.
func testConfig(t testing.TB) Config {
	c := Config{
		Guard: "test", Session: "s", Vehicle: "wren", Kind: Multirotor, Hash: "h0",
		Radius: 0.22, Height: 0.12, HasGround: true, Zones: cage(t), ZoneCaution: 0.30,
		Fields: pose.DefaultFields(),
		Pose: pose.Config{MaxAge: 100 * ms, MaxLate: 200 * ms, MinConfidence: 0.3, MaxSpeed: 8, JumpSlack: 0.05,
			Align: pose.Alignment{Tracker: "a"}},
		Stopping: Stopping{Predict: true, Reaction: 150 * ms, Deceleration: 3, Vertical: 3,
			Margin: 0.10, PositionErr: 0.02, VelocityErr: 0.05},
		Timing: DefaultTiming(),
		Tie:    Tie{Renew: true, Site: "Hall", Most: 0.5},
	}
	c.Limits[LimitHeight] = Limit{On: true, Max: 2.8, Caution: 2.5, Confirm: 2, Answer: ActStop}
	c.Limits[LimitSpeed] = Limit{On: true, Max: 1.5, Caution: 1.3, Confirm: 2, Answer: ActStop}
	c.Limits[LimitTilt] = Limit{On: true, Max: 25, Caution: 20, Confirm: 2, Answer: ActLand}
	c.Limits[LimitTurn] = Limit{On: true, Max: 180, Caution: 180, Confirm: 2, Answer: ActCaution}
	return c
}

// rig drives a Guard as a shell does: it calls at every deadline, feeds poses
// at 200 Hz, and has every step checked against the laws.
type rig struct {
	t       testing.TB
	g       *Guard
	cfg     Config
	now     time.Duration
	p, v    pose.Vec
	tilt    float64 // deg
	conf    float64
	tracker string
	frame   pose.Alignment // where the tracker's frame stands in the room
	begun   time.Duration  // when the tracker's session began
	made    int            // alignment files so far
	quiet   bool           // no velocity in the message
	laws    *laws
	token   uint64 // newest durable record that waits
	command Command
	first   string // the nonce shown first, where a test keeps it
	sent    Event  // the newest alignment sent, where a test keeps it
	out     func(now time.Duration, effects []Effect)
}

func newRig(t testing.TB, c Config) *rig {
	t.Helper()
	g, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{t: t, g: g, cfg: c, p: pose.Vec{X: 1, Y: 1, Z: 1}, conf: 0.9, tracker: "a", laws: newLaws(&c)}
	r.step(Event{Kind: EvTick})
	return r
}

// step gives the guard one event now.
func (r *rig) step(ev Event) []Effect {
	ev.Arrived = min(r.now, max(ev.Arrived, 0))
	if ev.Arrived == 0 {
		ev.Arrived = r.now
	}
	effects := r.g.Step(&ev, r.now)
	r.took(effects)
	if r.laws == nil {
		return effects // another account holds
	}
	r.laws.check(r.t, r.g, &ev, r.now, effects)
	return effects
}

// took notes what the test will need to answer.
func (r *rig) took(effects []Effect) {
	for _, e := range effects {
		if e.Kind == DoRecord && e.Record.Durable {
			r.token = e.Record.Token
		}
		if e.Kind == DoCommand {
			r.command = e.Command
		}
	}
	if r.out != nil {
		r.out(r.now, effects)
	}
}

// until lets time pass up to the instant end, with a tick at every deadline
// before it.
func (r *rig) until(end time.Duration) {
	for {
		d := r.g.Deadline()
		if d >= end {
			r.now = end
			return
		}
		r.now = max(r.now, d)
		r.step(Event{Kind: EvTick})
	}
}

func (r *rig) silence(d time.Duration) { r.until(r.now + d) }

// payload is the pose message of the rig's state, stamped now, in the tracker's
// own frame.
func (r *rig) payload() []byte {
	h := r.tilt / degPerRad / 2
	inv := r.frame.Rotation.Conj()
	if inv == (pose.Quat{}) {
		inv = pose.Quat{W: 1}
	}
	p, v := inv.Rotate(r.p.Sub(r.frame.Translation)), inv.Rotate(r.v)
	q := inv.Mul(pose.Quat{W: math.Cos(h), X: math.Sin(h)})
	b := fmt.Appendf(nil, `{"stamp":%.9f,"position":{"x":%.9f,"y":%.9f,"z":%.9f},"orientation":{"w":%.12f,"x":%.12f,"y":%.12f,"z":%.12f},"confidence":%g,"tracker":%q`,
		r.now.Seconds()+1000, p.X, p.Y, p.Z, q.W, q.X, q.Y, q.Z, r.conf, r.tracker)
	if !r.quiet {
		b = fmt.Appendf(b, `,"velocity":{"x":%.9f,"y":%.9f,"z":%.9f}`, v.X, v.Y, v.Z)
	}
	return append(b, '}')
}

// pose sends the rig's state.
func (r *rig) pose() []Effect {
	if r.laws != nil {
		r.laws.sent(r)
	}
	return r.step(Event{Kind: EvPose, Payload: r.payload()})
}

// move lets the vehicle go on at 200 Hz for d, its speed changed by a (m/s²).
func (r *rig) move(d time.Duration, a pose.Vec) {
	const dt = 5 * ms
	for end := r.now + d; r.now < end; {
		r.until(r.now + dt)
		s := dt.Seconds()
		r.p = r.p.Add(r.v.Scale(s)).Add(a.Scale(s * s / 2))
		r.v = r.v.Add(a.Scale(s))
		r.pose()
	}
}

// brake slows the vehicle down at a (m/s²) until it stands.
func (r *rig) brake(a float64) {
	const dt = 5 * ms
	for v := r.v.Norm(); v > 0; v = r.v.Norm() {
		r.until(r.now + dt)
		next := max(0, v-a*dt.Seconds())
		r.p = r.p.Add(r.v.Scale((v + next) / 2 / v * dt.Seconds()))
		r.v = r.v.Scale(next / v)
		r.pose()
	}
}

func (r *rig) still(d time.Duration) {
	r.v = pose.Vec{}
	r.move(d, pose.Vec{})
}

func (r *rig) nonce() string { return r.g.Snapshot().Nonce }

func (r *rig) ask(a Ask) []Effect {
	return r.step(Event{Kind: EvRequest, Ask: a, By: "tester", Nonce: r.nonce()})
}

func (r *rig) durable() []Effect { return r.step(Event{Kind: EvDurable, Token: r.token}) }

// started brings the guard to clear.
func (r *rig) started() *rig {
	r.t.Helper()
	r.still(2500 * ms)
	r.ask(AskStart)
	r.durable()
	if r.g.Level() != Clear {
		r.t.Fatalf("not started: %v, blocked by %q", r.g.Level(), r.g.Snapshot().Blocked)
	}
	return r
}

// granted says whether the guard's newest permit lets the vehicle move.
func (r *rig) granted() bool { return r.g.Snapshot().Go }

func (r *rig) wantLevel(l Level) {
	r.t.Helper()
	if r.g.Level() != l {
		r.t.Fatalf("at %v: level %v, want %v; causes %v", r.now, r.g.Level(), l, words(r.g.Snapshot().Causes))
	}
}

// wantLatched checks that the latched causes are exactly these, in any order.
func (r *rig) wantLatched(want ...string) {
	r.t.Helper()
	got := words(r.g.Snapshot().Latched)
	if fmt.Sprint(got) != fmt.Sprint(want) {
		r.t.Fatalf("at %v: latched %v, want %v", r.now, got, want)
	}
}

func words(causes []Cause) (out []string) {
	for _, c := range causes {
		out = append(out, c.Word)
	}
	return out
}

// bodies picks the records' bodies of one type.
func bodies[T any](effects []Effect) (out []T) {
	for _, e := range effects {
		if b, ok := e.Record.Body.(T); ok {
			out = append(out, b)
		}
	}
	return out
}
