package rehearse

import (
	"fmt"
	"io"
	"math"
	"time"

	"pinfold/sim"
	"pinfold/sim/judge"
	"pinfold/watchdog"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/pose"
)

// Options of a run.
type Options struct {
	Hash  bool      // hash everything that happens into Result.Hash
	Trace io.Writer // where the run is told, line by line; nil nowhere

	record func(*watchdog.Record) // is shown what the guard has recorded; nil nobody
}

// rig is one run.
type rig struct {
	c     *Case
	opt   Options
	guard *watchdog.Guard
	gate  *receiver.Receiver
	plant sim.Plant
	eye   *sim.Eye
	judge *judge.Judge

	// written says that every pose is written out as a message and read again by
	// the guard. Where it is not, the guard is given what it would read: the run is
	// the same, and done sooner.
	written bool
	sample  pose.Sample

	up   mail // to the guard
	down mail // to the vehicle
	buf  []byte
	jit  jitter
	hash ledger

	now     time.Duration
	before  sim.State // at the last tick
	obeys   bool      // a permit has come: from now on the vehicle asks for one
	asked   bool      // the start was asked for
	allowed bool      // the guard's newest permit says go
	called  time.Duration
	shift   time.Duration // by how much the pilot's time is behind: the wait for the start
	halted  time.Duration // when the vehicle heard of it, or found its permit too old
	cut     bool          // the link to the vehicle is dead
	moved   float64       // m, way travelled at the last look of the judge
	room    float64       // m, at that look
	value   float64       // what the cause that latched it had
	res     Result

	back  bool                                                // the start is one that brings it back
	parks bool                                                // nobody asks for a start
	wish  func(s *sim.State, t, called time.Duration) sim.Vec // in place of the case's pilot; nil: it
	told  func(now time.Duration)                             // after every pose that was judged; nil nobody
	seen  func(s *sim.State)                                  // after every Tick, where it is; nil nobody

	state sim.State // at the end of the newest Tick
}

// Run makes the run of a case. An error says that the case cannot be run.
func Run(c *Case, opt Options) (Result, error) {
	r, err := newRig(c, opt)
	if err != nil {
		return Result{}, fmt.Errorf("rehearse: seed %d: %w", c.Seed, err)
	}
	r.run()
	return r.res, nil
}

func newRig(c *Case, opt Options) (r *rig, err error) {
	r = &rig{c: c, opt: opt, called: -1, halted: -1, jit: newJitter(c.Seed), hash: newLedger(opt.Hash)}
	r.res = Result{Run: c.Run(), Seed: c.Seed, Target: c.Target, Pilot: c.Pilot.Kind, Corner: c.Corner, Closest: math.Inf(1), Over: -watchdog.Unbounded}
	if r.guard, err = watchdog.New(c.Config); err != nil {
		return nil, err
	}
	if r.gate, err = receiver.New(receiver.Options{}); err != nil {
		return nil, err
	}
	if r.judge, err = judge.New(c.Pen); err != nil {
		return nil, err
	}
	r.plant = c.plant()
	r.written = opt.Hash || opt.Trace != nil || c.Seed%writtenEvery == 0
	r.eye = sim.NewEye(c.Truth.Eye, c.Seed)
	r.state = r.plant.State()
	r.before = r.state
	r.look(true)
	return r, nil
}

// run goes on until the vehicle rests after a stop, or the time is up.
func (r *rig) run() {
	r.step(&watchdog.Event{Kind: watchdog.EvTick}, 0)
	for !r.ended() {
		r.tick()
	}
	r.look(true)
	s := r.plant.State()
	r.res.Room, r.res.Place = r.judge.Nearest(s.Position.X, s.Position.Y, s.Position.Z)
	r.res.At, r.res.Length = s.Position, r.now
	r.res.Short = r.res.Rested && r.short(&s)
	r.res.Headed = r.c.headed() && r.res.Place == r.c.Target
	v := r.judge.Verdict(true)
	r.res.Left, r.res.Depth, r.res.Closest = !v.Stayed(), v.Deepest.Depth, v.Closest
	if r.res.Left {
		r.tell("outside by %.4f m, nearest %s", v.Deepest.Depth, r.res.Place.Region)
	} else {
		r.tell("ends with %.4f m of room, nearest %s", r.res.Room, r.res.Place.Region)
	}
	r.res.Hash = r.hash.sums()
}

// writtenEvery: of as many seeds one has its poses written out.
const writtenEvery = 16

// noStart is how long a start may be waited for, beyond the config's waits.
const noStart = 600 * time.Millisecond

func (r *rig) ended() bool {
	c := r.c
	switch {
	case !r.res.Started:
		wait := noStart
		if c.AtRest {
			wait += c.Config.Timing.TrustedFor + c.Config.Timing.RestFor
		}
		return r.now > wait || r.room <= 0 && !r.back
	case r.res.Rested:
		return true
	}
	return r.now-r.shift >= c.Most
}

// tick moves the vehicle by one Tick and lets the guard do what falls into it.
func (r *rig) tick() {
	end := r.move()
	for r.next() <= end {
		r.advance()
	}
	r.watch(end)
}

// move lets the vehicle hear what has come, moves it by one Tick, and sends what
// its tracker sees on the way. It returns the instant the Tick ends at.
func (r *rig) move() (end time.Duration) {
	r.hear()
	c := r.want()
	r.before = r.state
	r.state = r.plant.Step(Tick, c)
	end = r.now + Tick
	for r.eye.Next() <= end {
		at := between(&r.before, &r.state, float64(r.eye.Next()-r.now)/float64(Tick))
		g, due := r.eye.See(&at)
		switch {
		case g == nil || r.silent(due):
		case r.written:
			data := r.eye.Message(g)
			r.up.put(aboutPose, data, due)
			r.hash.pose(data, due)
		default:
			r.up.show(g, due)
		}
	}
	return end
}

// watch looks, from outside, at what has become of the Tick that ends now.
func (r *rig) watch(end time.Duration) {
	r.now = end
	s := &r.state
	r.look(false)
	if r.seen != nil {
		r.seen(s)
	}
	r.hash.state(s)
	r.rest(s)
	r.limits(s)
	if r.opt.Trace != nil && r.now%tellEvery == 0 {
		r.tell("%.4f m to an edge, the guard sees %.4f m for its reach", r.judge.Room(s.Position.X, s.Position.Y, s.Position.Z),
			r.guard.Snapshot().Nearest.Clearance)
	}
}

// tellEvery is how often a run that is told says where the vehicle is.
const tellEvery = 20 * time.Millisecond

// between is the truth a share of the way from one tick to the next.
func between(a, b *sim.State, share float64) sim.State {
	s := *b
	s.Position = a.Position.Add(b.Position.Sub(a.Position).Mul(share))
	s.Velocity = a.Velocity.Add(b.Velocity.Sub(a.Velocity).Mul(share))
	s.Travelled = a.Travelled + (b.Travelled-a.Travelled)*share
	return s
}

// next is the next instant at which something arrives for the guard, or it wants
// to be stepped.
func (r *rig) next() time.Duration {
	at := r.guard.Deadline()
	if due, any := r.up.next(); any && due <= at {
		return due
	}
	return at
}

// advance steps the guard at that instant.
func (r *rig) advance() {
	at := r.guard.Deadline()
	if due, any := r.up.next(); any && due <= at {
		r.arrive(r.up.take())
		return
	}
	r.step(&watchdog.Event{Kind: watchdog.EvTick}, at)
}

// start asks for the start once everything it needs is there.
func (r *rig) start(now time.Duration) {
	if r.res.Started || r.asked || r.parks || !r.c.AtRest && now < r.c.warm() {
		return
	}
	s := r.guard.Snapshot()
	if len(s.Blocked) > 0 && !r.back || !s.Judged {
		return
	}
	r.asked = true
	r.step(&watchdog.Event{Kind: watchdog.EvRequest, Ask: watchdog.AskStart, Retrieve: r.back, By: "rehearsal", Nonce: s.Nonce, Arrived: now}, now)
	r.asked = false
}

// step steps the guard and carries out what it says.
func (r *rig) step(ev *watchdog.Event, now time.Duration) {
	token := uint64(0)
	effects := r.guard.Step(ev, now)
	for i := range effects {
		switch e := &effects[i]; e.Kind {
		case watchdog.DoPermit:
			r.permit(&e.Permit, now)
		case watchdog.DoCommand:
			r.command(&e.Command, now)
		case watchdog.DoRecord:
			if r.opt.record != nil {
				r.opt.record(&e.Record)
			}
			if e.Record.Durable {
				token = e.Record.Token
			}
		}
	}
	if token != 0 {
		r.step(&watchdog.Event{Kind: watchdog.EvDurable, Token: token}, now)
	}
}

// want is what the vehicle is told: the pilot's wish while it may move. Before
// the first permit it is carried along, as if it had been moving for ever.
func (r *rig) want() sim.Control {
	may := r.gate.MayMove(int64(r.eye.ClockAt(r.now))).Go
	r.obeys = r.obeys || may || r.c.AtRest || r.called >= 0
	s := &r.state
	switch {
	case may:
		if r.wish != nil {
			return r.c.follow(s, r.wish(s, r.now-r.shift, r.since()))
		}
		return r.c.control(s, r.now-r.shift, r.since())
	case r.obeys:
		if r.called >= 0 && r.halted < 0 {
			r.halted = r.now
			r.tell("halts")
		}
		return sim.Control{}
	}
	return r.c.coast(s)
}

// since is when the stop was called, by the pilot's time; negative: not yet.
func (r *rig) since() time.Duration {
	if r.called < 0 {
		return -1
	}
	return r.called - r.shift
}

func (r *rig) tell(format string, a ...any) {
	if r.opt.Trace != nil {
		s := r.plant.State()
		fmt.Fprintf(r.opt.Trace, "%8.3f s  (%8.4f %8.4f %8.4f) m  (%7.4f %7.4f %7.4f) m/s  ", r.now.Seconds(),
			s.Position.X, s.Position.Y, s.Position.Z, s.Velocity.X, s.Velocity.Y, s.Velocity.Z)
		fmt.Fprintf(r.opt.Trace, format+"\n", a...)
	}
}
