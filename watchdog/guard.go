package watchdog

import (
	"fmt"
	"time"

	"pinfold/watchdog/pose"
	"pinfold/zones"
)

// MaxLatched is how many causes are kept by name while a stop or land is
// latched; further ones are counted.
const MaxLatched = 16

// Guard watches one vehicle. The zero Guard grants nothing and panics when
// stepped; New makes a usable one.
type Guard struct {
	cfg   Config
	dec   *pose.Decoder
	track *pose.Track

	now     time.Duration
	stepped bool
	round   uint64

	sample pose.Sample
	cur    pose.Pose
	judged bool // at least one pose was judged
	// poseNow is true while the Step is about a newly judged pose.
	poseNow bool
	trust   pose.Distrust
	reach   Reach
	later   Reach // for what has to be confirmed; see reachAfter
	laterBy time.Duration
	near    zones.Hit
	nearDue bool    // it is of an earlier reach: see nearest
	speed   float64 // m/s, newest known horizontal speed
	slow    time.Duration
	isSlow  bool

	firstStamp int64
	lookedAt   time.Duration // when the reach was last judged
	shapes     []zones.Shape
	subjects   []subject
	zoneOf     []int // zone index to subject
	limit0     int   // subject of LimitID 0
	other0     int   // subject of CausePoseNone
	slowZones  *zones.Set
	seen       zones.Last // of the reach; it changes no answer
	others     []otherSeen
	apart0     int   // subject of the first other
	slow0      int   // subject of the first slow zone
	active     []int // subjects that are not idle
	tripped    []int // subjects confirmed in this step that call for stop or land
	hits       []zones.Hit
	bodyHits   []zones.Hit
	slowHits   []zones.Hit

	latch     Action
	latched   [MaxLatched]Cause
	nLatched  int
	moreCause int // causes latched beyond MaxLatched
	started   bool
	startedAt time.Duration
	level     Level
	pending   pending
	nonces    uint64
	nonce     string
	nonceAt   time.Duration
	tokens    uint64
	aligned   AlignHeard // the newest alignment sent, with what became of it

	retrieve retrieval

	stop stopRun
	cmd  outCommand

	permitSeq  uint64
	permitGo   bool
	permitSent bool
	nextPermit time.Duration
	nextState  time.Duration
	stateDirty bool
	trip       time.Duration // longest round trip through the broker of the last minute; 0 not measured yet
	linkUp     bool
	trailUp    bool
	closed     bool

	counts Counts
	bad    []string

	first, rest []Effect // permits and commands; records
	out         []Effect
}

// Counts are totals of the session.
type Counts struct {
	Samples    uint64   `json:"samples"`     // poses judged
	Dropped    uint64   `json:"dropped"`     // poses decoded but not after the last kept one
	Refused    uint64   `json:"refused"`     // messages that could not be read
	FaultKinds []uint64 `json:"fault_kinds"` // by pose.FaultKind
	Episodes   uint64   `json:"episodes"`
	Stops      uint64   `json:"stops"`
	Bad        uint64   `json:"bad"` // unreadable messages on other topics
}

// Level is what displays show.
type Level uint8

// Levels, in rising order. The zero value is waiting: no permission.
const (
	Waiting Level = iota
	Clear
	Caution
	Stop
	Land
)

// String gives the level's word.
func (l Level) String() string {
	switch l {
	case Waiting:
		return "waiting"
	case Clear:
		return "clear"
	case Caution:
		return "caution"
	case Stop:
		return "stop"
	case Land:
		return "land"
	}
	return "unknown"
}

// New makes a Guard for a valid config. It refuses any other.
func New(c Config) (*Guard, error) {
	if err := c.Validate(); err != nil {
		return nil, err
	}
	c.handheld()
	dec, err := pose.NewDecoder(c.Fields)
	if err != nil {
		return nil, fmt.Errorf("watchdog: vehicle %q: %w", c.Vehicle, err)
	}
	track, err := pose.NewTrack(c.Pose)
	if err != nil {
		return nil, fmt.Errorf("watchdog: vehicle %q: %w", c.Vehicle, err)
	}
	g := &Guard{cfg: c, dec: dec, track: track, linkUp: true, trailUp: true, stateDirty: true}
	g.watch()
	g.counts.FaultKinds = make([]uint64, pose.FaultKinds+1)
	g.turnNonce(0)
	return g, nil
}

// watch lists what the config has watched, and makes room for all of it, so
// that an ordinary step allocates nothing.
func (g *Guard) watch() {
	g.shapes = g.cfg.Zones.Shapes()
	g.subjects, g.zoneOf = newSubjects(&g.cfg)
	g.slowZones, _ = slowSet(g.cfg.Slow) // a config that was validated
	g.apart0 = len(g.subjects) - len(g.cfg.Others)
	g.slow0 = g.apart0 - len(g.cfg.Slow)
	g.others = g.heardOf(g.others)
	for i := range g.subjects {
		switch g.subjects[i].kind {
		case CauseHeight:
			g.limit0 = i
		case CausePoseNone:
			g.other0 = i
		}
	}
	g.active = make([]int, 0, len(g.subjects))
	g.tripped = make([]int, 0, 2*len(g.subjects))
	g.hits = make([]zones.Hit, 0, len(g.shapes)+1)
	g.bodyHits = make([]zones.Hit, 0, len(g.shapes)+1)
	g.slowHits = make([]zones.Hit, 0, len(g.cfg.Slow)+2)
}

// Step takes one event at the instant now and returns what to do, in order.
// now never runs backwards: an earlier instant is taken as the newest one. The
// returned slice and what it points to are valid until the next Step.
func (g *Guard) Step(ev *Event, now time.Duration) []Effect {
	now = max(now, g.now)
	g.begin()
	if g.closed {
		if ev.Kind == EvAck {
			g.onAck(ev.Text, now)
		}
		g.now = now
		return g.finish(now)
	}
	g.judgeStall(now)
	before := g.now
	g.now, g.stepped = now, true
	g.expire(now)
	if ev.Kind == EvPose {
		// What passed until it arrived counts, also where it ends that.
		g.judgeTrust(max(before, min(ev.Arrived, now)))
	} else {
		g.judgeTrust(now)
	}
	g.handle(ev, now)
	if ev.Kind == EvPose {
		g.judgeTrust(now)
	}
	g.judgeTrip(now)
	g.judgeSession(now)
	g.judgeBetween(now)
	g.judgeApart(now)
	g.judgeRetrieval(now)
	g.judgeAck(now)
	g.obey(now)
	return g.finish(now)
}

// begin clears what the last step left.
func (g *Guard) begin() {
	g.first, g.rest, g.out = g.first[:0], g.rest[:0], g.out[:0]
	g.tripped = g.tripped[:0]
	g.round++
	g.poseNow = false
}

// finish turns what was judged into the level and the effects.
func (g *Guard) finish(now time.Duration) []Effect {
	g.settle(now)
	g.emit(now)
	return g.out
}

func (g *Guard) handle(ev *Event, now time.Duration) {
	switch ev.Kind {
	case EvTick:
	case EvPose:
		g.onPose(ev, now)
	case EvAck:
		g.onAck(ev.Text, now)
	case EvRequest:
		g.onRequest(ev, now)
	case EvLink:
		g.onLink(ev.Up, now)
	case EvTrail:
		g.onTrail(ev.Up, now)
	case EvDurable:
		g.onDurable(ev, now)
	case EvBad:
		g.onBad(ev.Text, now)
	case EvOther:
		g.onOther(&ev.Other, now)
	case EvTrip:
		g.onTrip(ev.Trip)
	case EvAlign:
		g.onAlign(ev, now)
	case EvClose:
		g.onClose(ev.Text, now)
	default:
		g.onBad(fmt.Sprintf("event kind %d", ev.Kind), now)
	}
}

// Deadline is the instant by which Step must be called again even if nothing
// happens.
func (g *Guard) Deadline() time.Duration {
	d := min(g.nextPermit, g.nextState)
	if t, ok := g.track.Deadline(); ok && t > g.now && t < d && !g.closed {
		d = t
	}
	if t, ok := g.cmd.due(); ok && t < d {
		d = t
	}
	if g.between() {
		d = min(d, g.lookedAt+JudgeEvery)
	}
	return d
}

// judgeStall raises guard-stalled where the shell came back long after it had
// to: nobody watched meanwhile. No deadline is before the step that left it, so
// after a shorter time than Stall none needs to be worked out.
func (g *Guard) judgeStall(now time.Duration) {
	late := time.Duration(0)
	if now-g.now <= g.cfg.Timing.Stall && !g.subjects[g.other(CauseStalled)].listed {
		return
	}
	if g.stepped {
		late = now - g.Deadline()
	}
	g.observeTime(CauseStalled, late, g.cfg.Timing.Stall, now)
}

// other is the subject of a cause that is neither zone nor limit.
func (g *Guard) other(k CauseKind) int { return g.other0 + int(k-CausePoseNone) }

func (g *Guard) onLink(up bool, now time.Duration) {
	if up == g.linkUp {
		return
	}
	g.linkUp, g.stateDirty = up, true
	g.observe(g.other(CauseLinkLost), !up, 0, 0, now)
	g.record(RecLink, now, LinkChange{What: "broker", Up: up})
}

func (g *Guard) onTrail(up bool, now time.Duration) {
	if up == g.trailUp {
		return
	}
	g.trailUp, g.stateDirty = up, true
	g.observe(g.other(CauseTrailDown), !up, 0, 0, now)
	g.record(RecLink, now, LinkChange{What: "trail", Up: up})
}

// MaxBadKinds is how many different unreadable messages are named; all are
// counted.
const MaxBadKinds = 16

func (g *Guard) onBad(what string, now time.Duration) {
	g.counts.Bad++
	what = clip(what, MaxText)
	for _, b := range g.bad {
		if b == what {
			return
		}
	}
	if len(g.bad) >= MaxBadKinds {
		return
	}
	g.bad = append(g.bad, what)
	g.record(RecFault, now, FaultSeen{Kind: "unreadable", Detail: what})
}

// onClose ends the session: stop first, then the open episodes and the counts.
func (g *Guard) onClose(why string, now time.Duration) {
	c := Cause{Kind: CauseClosing, Word: CauseClosing.String(), Name: clip(why, MaxName)}
	c.Text = g.sentence(&c, -1, 0)
	g.voidPending("the session was closed before it took effect", now)
	if g.started || g.latch != ActNone {
		g.raise(c, ActStop, now)
	}
	for _, i := range g.active {
		if s := &g.subjects[i]; s.holding {
			s.ep.Open = true
			g.closeEpisode(s, now)
		}
	}
	g.active, g.tripped = g.active[:0], g.tripped[:0]
	totals := g.counts
	totals.FaultKinds = append([]uint64(nil), g.counts.FaultKinds...)
	g.record(RecClose, now, totals)
	g.started, g.closed = false, true
}
