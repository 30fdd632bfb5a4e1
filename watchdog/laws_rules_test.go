package watchdog

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// laws is an independent account of what may be permitted. It knows only what
// goes in and what comes out, and its geometry is a plain box: it does not use
// zones, nor anything of the core but the numbers of the config.
type laws struct {
	cfg Config

	waiting map[uint64]Event // durable requests that were announced, by token
	back    time.Duration    // until when a retrieval may last; 0: none
	mayGo   bool             // a start became durable, and no stop was seen since
	level   Level
	nonce   string
	nonces  map[string]bool // every nonce ever shown
	latched []Cause
	seq     uint64 // newest permit's
	closed  bool
	going   bool // the newest permit
	link    bool
	tied    string // id of the tracker's session that the alignment in force is of
	tiedAt  time.Duration
	ties    map[uint64]string // alignments that were announced, by token: their tracker

	next                               *sample // in the event that comes
	last                               []sample
	granted, stopped, reset, retrieved int // what was seen: a law that is never tried proves nothing
	aligned, voided                    int
}

// sample is a pose as the test made it.
type sample struct {
	p, v    pose.Vec
	tilt    float64
	at      time.Duration
	unsure  bool
	tracker string
}

func newLaws(c *Config) *laws {
	return &laws{cfg: *c, waiting: make(map[uint64]Event), nonces: make(map[string]bool), link: true, tied: c.Pose.Align.Tracker, ties: make(map[uint64]string)}
}

// sent is told of every well-formed pose before the guard gets it.
func (l *laws) sent(r *rig) {
	l.next = &sample{p: r.p, v: r.v, tilt: r.tilt, at: r.now, unsure: r.conf < r.cfg.Pose.MinConfidence, tracker: r.tracker}
}

func (l *laws) check(t testing.TB, g *Guard, ev *Event, now time.Duration, effects []Effect) {
	t.Helper()
	s := g.Snapshot()
	l.follow(ev)
	l.order(t, effects)
	l.requests(t, ev, effects)
	l.alignments(t, ev, &s, now, effects)
	l.levels(t, ev, &s, effects)
	l.permits(t, &s, now, effects)
	l.finite(t, effects)
	if d := g.Deadline(); d <= now {
		t.Fatalf("at %v: deadline %v is not ahead", now, d)
	}
}

// follow keeps account of what went in.
func (l *laws) follow(ev *Event) {
	switch ev.Kind {
	case EvPose:
		if l.next != nil {
			l.last = append(l.last, *l.next)
			if len(l.last) > 2 {
				l.last = l.last[1:]
			}
			l.next = nil
		}
	case EvLink:
		l.link = ev.Up
	case EvClose:
		l.closed = true
	}
}

// order: permits and commands come before the state, records come last, and
// permits count up.
func (l *laws) order(t testing.TB, effects []Effect) {
	t.Helper()
	stage := 0
	for _, e := range effects {
		at := map[EffectKind]int{DoPermit: 0, DoCommand: 1, DoState: 2, DoRecord: 3}[e.Kind]
		if at < stage {
			t.Fatalf("effect %v comes after a later kind", e.Kind)
		}
		stage = at
		if e.Kind == DoPermit {
			if e.Permit.Seq != l.seq+1 {
				t.Fatalf("permit %d follows permit %d", e.Permit.Seq, l.seq)
			}
			l.seq = e.Permit.Seq
		}
	}
}

// requests: laws 3 and 4. What waits for the disk was asked with the nonce that
// was shown, fresh, and not retained.
func (l *laws) requests(t testing.TB, ev *Event, effects []Effect) {
	t.Helper()
	for _, e := range effects {
		if e.Kind != DoRecord || !e.Record.Durable || e.Record.Kind != RecRequest {
			continue
		}
		if ev.Kind != EvRequest || ev.Retained || ev.Nonce != l.nonce {
			t.Fatalf("request accepted with nonce %q (retained %v), shown was %q", ev.Nonce, ev.Retained, l.nonce)
		}
		if l.waiting[e.Record.Token].Ask != 0 {
			t.Fatalf("token %d is used twice", e.Record.Token)
		}
		l.waiting[e.Record.Token] = Event{Ask: ev.Ask, Retrieve: ev.Retrieve}
	}
}

// alignments: law 9. What is announced came with the nonce that was shown, or
// from the site's own files; what takes effect was announced, is durable, is of
// the session the tracker is in, and neither finds nor leaves a permit.
func (l *laws) alignments(t testing.TB, ev *Event, s *Snapshot, now time.Duration, effects []Effect) {
	t.Helper()
	durable, known := "", false
	if ev.Kind == EvDurable {
		durable, known = l.ties[ev.Token]
		delete(l.ties, ev.Token)
		known = known && !ev.Failed
	}
	for _, e := range effects {
		b, ok := e.Record.Body.(AlignHeard)
		if !ok {
			continue
		}
		switch b.Outcome {
		case "accepted":
			if ev.Kind != EvAlign || ev.Retained || !ev.Local && ev.Nonce != l.nonce || !e.Record.Durable || l.going {
				t.Fatalf("alignment accepted with nonce %q (retained %v, permit %v), shown was %q", ev.Nonce, ev.Retained, l.going, l.nonce)
			}
			l.ties[e.Record.Token] = b.Tracker
		case "effective":
			if !known || durable != b.Tracker || l.going || s.Go || l.level == Clear || l.level == Caution {
				t.Fatalf("alignment takes effect unannounced, or with a permit: %+v", b)
			}
			if n := len(l.last); n > 0 && l.last[n-1].tracker != b.Tracker {
				t.Fatalf("an alignment of session %q takes effect in session %q", b.Tracker, l.last[n-1].tracker)
			}
			l.tied, l.tiedAt = b.Tracker, now
			l.aligned++
		}
	}
	if (ev.Kind == EvAlign || known) && s.Go && !l.going {
		t.Fatalf("an alignment grants a permit")
	}
	if n := len(l.last); n > 0 && l.last[n-1].tracker != l.tied && !s.Go {
		l.voided++
	}
}

// levels: laws 2, 4 and 5.
func (l *laws) levels(t testing.TB, ev *Event, s *Snapshot, effects []Effect) {
	t.Helper()
	durable, back := Ask(0), false
	if ev.Kind == EvDurable && !ev.Failed {
		durable, back = l.waiting[ev.Token].Ask, l.waiting[ev.Token].Retrieve
		delete(l.waiting, ev.Token)
	}
	raised := false
	for _, e := range effects {
		raised = raised || e.Kind == DoRecord && e.Record.Kind == RecCommand
	}
	if raised || s.Level >= Stop || ev.Kind == EvClose {
		l.mayGo, l.back = false, 0
	} else if durable == AskStart {
		l.mayGo = true
		if back && s.Go {
			l.back = s.At + RetrieveFor
			l.retrieved++
		}
	}
	if s.Retrieves != (l.back > 0) {
		t.Fatalf("retrieval shown is %v, by this account it lasts until %v", s.Retrieves, l.back)
	}
	lowered := durable == AskReset && s.Level == Waiting || durable == AskStart && back && s.Level == Caution
	if l.level >= Stop && s.Level < l.level && !lowered {
		t.Fatalf("level fell from %v to %v by event %d", l.level, s.Level, ev.Kind)
	}
	if l.level == Waiting && (s.Level == Clear || s.Level == Caution) && durable != AskStart {
		t.Fatalf("level rose from waiting to %v without a durable start", s.Level)
	}
	if s.Nonce != l.nonce {
		if l.nonces[s.Nonce] {
			t.Fatalf("nonce %q is shown again", s.Nonce)
		}
		l.nonces[s.Nonce] = true
	} else if raised || !l.closed && ev.Kind == EvAlign && !ev.Local && !ev.Retained && ev.Nonce == l.nonce || (!l.closed && ev.Kind == EvRequest && len(l.waiting) > 0 && ev.Nonce == l.nonce && (ev.Ask == AskStart || ev.Ask == AskReset) && !ev.Retained) {
		t.Fatalf("nonce %q stays after it was used or a stop was raised", s.Nonce)
	}
	if l.level < Stop && s.Level >= Stop {
		l.stopped++
	}
	if l.level >= Stop && s.Level < Stop {
		l.reset++
	}
	l.kept(t, s)
	l.level, l.nonce = s.Level, s.Nonce
}

// kept: what latched stays named until the level is lowered.
func (l *laws) kept(t testing.TB, s *Snapshot) {
	t.Helper()
	if s.Level < Stop {
		if len(s.Latched) > 0 {
			t.Fatalf("level %v with latched %v", s.Level, words(s.Latched))
		}
		l.latched = nil
		return
	}
	if len(s.Latched) == 0 {
		t.Fatalf("level %v without a latched cause", s.Level)
	}
	for i, c := range l.latched {
		if s.Latched[i] != c {
			t.Fatalf("latched cause %q is lost or changed", c.Word)
		}
	}
	l.latched = append(l.latched[:0], s.Latched...)
}

// permits: law 1, by the account of this test.
func (l *laws) permits(t testing.TB, s *Snapshot, now time.Duration, effects []Effect) {
	t.Helper()
	for _, e := range effects {
		if e.Kind == DoPermit && e.Permit.Go != s.Go {
			t.Fatalf("permit says %v, snapshot %v", e.Permit.Go, s.Go)
		}
	}
	began := s.Go && !l.going
	if l.going = s.Go; !s.Go {
		return
	}
	l.granted++
	if began && (len(l.last) == 0 || l.last[len(l.last)-1].v.Norm() > l.cfg.Timing.RestSpeed) {
		t.Fatalf("at %v: a start takes effect although the vehicle moves", now)
	}
	why := l.forbidden(now)
	if why != "" {
		t.Fatalf("at %v: permit to go although %s", now, why)
	}
	if s.Level != Clear && s.Level != Caution {
		t.Fatalf("at %v: permit to go at level %v", now, s.Level)
	}
}

// forbidden says why no permit may be given now; empty where one may.
func (l *laws) forbidden(now time.Duration) string {
	if len(l.last) == 0 {
		return "no pose was sent"
	}
	n := &l.last[len(l.last)-1]
	switch {
	case !l.mayGo:
		return "nothing was started, or it was stopped since"
	case l.closed:
		return "the session is closed"
	case !l.link:
		return "the link is down"
	case now-n.at > l.cfg.Pose.MaxAge:
		return "the pose is stale"
	case n.unsure:
		return "the tracker is unsure"
	case n.tracker != l.tied:
		return "the tracker restarted"
	case n.at < l.tiedAt:
		return "no pose stands in the new alignment yet"
	case l.back > 0:
		return l.strays(n, now)
	case l.leaves(n):
		return "it could not stop inside"
	case l.beyond(func(s *sample) float64 { return math.Hypot(s.v.X, s.v.Y) }, l.cfg.Limits[LimitSpeed].Max):
		return "two poses in a row are too fast"
	case l.beyond(func(s *sample) float64 { return s.p.Z }, l.cfg.Limits[LimitHeight].Max):
		return "two poses in a row are too high"
	case l.beyond(func(s *sample) float64 { return s.tilt }, l.cfg.Limits[LimitTilt].Max):
		return "two poses in a row are tilted too far"
	}
	return ""
}

func (l *laws) beyond(v func(*sample) float64, limit float64) bool {
	return len(l.last) == 2 && v(&l.last[0]) > limit+1e-6 && v(&l.last[1]) > limit+1e-6
}

// strays says why a retrieval may not go on.
func (l *laws) strays(n *sample, now time.Duration) string {
	switch speed := n.v.Norm(); {
	case now >= l.back:
		return "the retrieval has lasted too long"
	case speed > WalkingPace+1e-6:
		return "the vehicle is brought back faster than at walking pace"
	}
	return ""
}

// leaves says whether the body comes out of the cage along each axis by itself
// with the bare formula d = v·t + v²/2a, without any error or margin: far less
// than what the core must cover.
func (l *laws) leaves(s *sample) bool {
	r := l.cfg.Radius
	stop := func(v, a float64) float64 {
		return v*l.cfg.Stopping.Reaction.Seconds() + v*math.Abs(v)/(2*a)
	}
	v := math.Hypot(s.v.X, s.v.Y)
	k := 0.0
	if v > 0 {
		k = stop(v, l.cfg.Stopping.Deceleration) / v
	}
	x, y, z := s.p.X+s.v.X*k, s.p.Y+s.v.Y*k, s.p.Z+stop(s.v.Z, l.cfg.Stopping.Vertical)
	for _, q := range [][2]float64{{x, y}, {s.p.X, s.p.Y}} {
		if q[0] < r || q[0] > 7-r || q[1] < r || q[1] > 5-r {
			return true
		}
	}
	return math.Max(z, s.p.Z)+l.cfg.Height/2 > 3.2
}

// finite: law 8. A number that is not finite could not be written down.
func (l *laws) finite(t testing.TB, effects []Effect) {
	t.Helper()
	for _, e := range effects {
		if e.Kind == DoRecord {
			if _, err := json.Marshal(e.Record.Body); err != nil {
				t.Fatalf("record %s: %v", e.Record.Kind, err)
			}
		}
		if c := e.Command; math.IsNaN(c.Value-c.Limit) || math.IsInf(c.Value-c.Limit, 0) {
			t.Fatalf("command %s with value %v and limit %v", c.ID, c.Value, c.Limit)
		}
	}
}
