package watchdog

import (
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"pinfold/watchdog/pose"
)

// The exploration tries every order of a small set of events, and after each
// one checks the laws by the account of laws_rules_test.go, which shares no
// code with the core. Two ways:
//
//   - every order to a fixed depth, from several states, nothing left out;
//   - on from every state that is new, until no new one is found. Two states
//     count as the same where digest says so. What the digest leaves out (see
//     there) is what the closed state space does not prove.
//
// A state is reached by playing its events from the beginning.

// move is one event of the alphabet.
type move struct {
	name string
	do   func(r *rig)
}

// beat is how long each event takes. With the quick timing of exploreConfig two
// good poses make a vehicle that rests and is trusted.
const beat = 10 * ms

func exploreConfig(t testing.TB) Config {
	c := testConfig(t)
	c.Timing.TrustedFor, c.Timing.RestFor = beat, beat
	c.Timing.CautionDwell = 0
	return c
}

// alphabet is what can happen. The nonce of a request is the one shown, but for
// one that was shown first.
func alphabet() []move {
	put := func(x float64) func(r *rig) {
		return func(r *rig) { r.p.X, r.v, r.conf = x, pose.Vec{}, 0.9; r.pose() }
	}
	ask := func(a Ask, back bool, nonce func(r *rig) string) func(r *rig) {
		return func(r *rig) {
			r.step(Event{Kind: EvRequest, Ask: a, Retrieve: back, By: "x", Nonce: nonce(r)})
		}
	}
	shown := func(r *rig) string { return r.nonce() }
	return []move{
		{"pose", put(1)},
		{"outside", put(7.1)},
		{"fast", func(r *rig) { r.v, r.conf = pose.Vec{X: 1.6}, 0.9; r.pose() }},
		{"unsure", func(r *rig) { r.conf = 0; r.pose() }},
		{"garbage", func(r *rig) { r.step(Event{Kind: EvPose, Payload: []byte("{")}) }},
		{"silence", func(r *rig) { r.silence(120 * ms) }},
		{"held-up", func(r *rig) { r.now += 600 * ms; r.step(Event{Kind: EvTick}) }},
		{"ack", func(r *rig) { r.step(Event{Kind: EvAck, Text: r.command.ID}) }},
		{"start", ask(AskStart, false, shown)},
		{"retrieve", ask(AskStart, true, shown)},
		{"reset", ask(AskReset, false, shown)},
		{"old-start", ask(AskStart, false, func(r *rig) string { return r.first })},
		{"old-reset", ask(AskReset, false, func(r *rig) string { return r.first })},
		{"stop", ask(AskStop, false, shown)},
		{"link-down", func(r *rig) { r.step(Event{Kind: EvLink}) }},
		{"link-up", func(r *rig) { r.step(Event{Kind: EvLink, Up: true}) }},
		{"link-slow", func(r *rig) { r.step(Event{Kind: EvTrip, Trip: time.Second}) }},
		{"link-quick", func(r *rig) { r.step(Event{Kind: EvTrip, Trip: ms}) }},
		{"trail-down", func(r *rig) { r.step(Event{Kind: EvTrail}) }},
		{"trail-up", func(r *rig) { r.step(Event{Kind: EvTrail, Up: true}) }},
		{"durable", func(r *rig) { r.durable() }},
		{"not-durable", func(r *rig) { r.step(Event{Kind: EvDurable, Token: r.token, Failed: true}) }},
		{"late-durable", func(r *rig) { r.step(Event{Kind: EvDurable, Token: 1}) }},
		{"restart", func(r *rig) { r.conf = 0.9; r.restart(2, pose.Vec{X: 3, Y: -1}); r.pose() }},
		{"align", func(r *rig) { r.sent = r.alignment(nil); r.step(r.sent) }},
		{"align-foreign", func(r *rig) { r.step(r.alignment(func(f *pose.AlignmentFile) { f.Alignment.Tracker = "other" })) }},
		{"align-again", func(r *rig) { r.step(r.sent) }},
		{"close", func(r *rig) { r.step(Event{Kind: EvClose}) }},
	}
}

// digest is what two states must share to count as one: what permits, requests
// and levels are decided by, each answer as yes or no. Left out are which of
// several causes of one kind it is, counters, names and ages (of a nonce, a
// request that waits for the disk, a pose): two states that differ by those
// alone are followed once.
func (r *rig) digest() string {
	g := r.g
	var stops, places, outside, tolerated, near, told bool
	for _, i := range g.active {
		s := &g.subjects[i]
		stops = stops || s.holding && s.answer >= ActStop && !s.tolerated
		places = places || s.run > 0 && s.answer >= ActStop && s.kind.ofState()
		outside, tolerated, near = outside || s.outside, tolerated || s.tolerated, near || s.near || s.holding
		told = told || s.holding && s.answer >= ActStop && !s.commanded
	}
	since, ok := g.track.TrustedSince(g.now)
	return fmt.Sprint(g.started, g.latch, g.level, g.pending.ask, g.pending.back, g.linkUp, g.trip > g.cfg.Timing.TripMost, g.trailUp, g.closed, g.judged,
		g.trust != 0, ok && g.now-since >= g.cfg.Timing.TrustedFor, g.permitGo, g.atRest(g.now), g.retrieve.on,
		g.cmd.active, g.cmd.acked, stops, places, outside, tolerated, near, told,
		g.pending.tie != nil, g.trust.Has(pose.Restarted), r.laws.tied == r.tracker, len(r.laws.ties) > 0, len(r.sent.Payload) > 0,
		r.p.X > 7, r.v.X > 0, r.laws.mayGo, len(r.laws.waiting) > 0)
}

// explorer plays orders of events.
type explorer struct {
	t     testing.TB
	cfg   Config
	all   []move
	steps int
	order []byte
	reset int // orders in which a reset took effect
	grant int // orders that ended with a permit
	back  int // orders with a retrieval
	tied  int // orders in which an alignment took effect
	void  int // orders that ended with the tracker restarted and not aligned
}

func (e *explorer) play(order []byte) *rig {
	e.order = order
	r := newRig(e.t, e.cfg)
	r.first = r.nonce()
	for _, m := range order {
		r.now += beat
		if r.now > r.g.Deadline() {
			r.step(Event{Kind: EvTick})
		}
		e.all[m].do(r)
		e.steps++
	}
	e.reset += min(1, r.laws.reset)
	e.back += min(1, r.laws.retrieved)
	e.tied += min(1, r.laws.aligned)
	if r.laws.tied != r.tracker {
		e.void++
	}
	if r.granted() {
		e.grant++
	}
	return r
}

func (e *explorer) names(order []byte) (out []string) {
	for _, m := range order {
		out = append(out, e.all[m].name)
	}
	return out
}

// told says which order it was that broke a law.
func (e *explorer) told() {
	if e.t.Failed() {
		e.t.Logf("order: %v", e.names(e.order))
	}
}

// find is the events of that name.
func (e *explorer) find(names ...string) (order []byte) {
	for _, n := range names {
		for i := range e.all {
			if e.all[i].name == n {
				order = append(order, byte(i))
			}
		}
	}
	if len(order) != len(names) {
		e.t.Fatalf("no such event in %v", names)
	}
	return order
}

// every plays every order of n events after the prefix.
func (e *explorer) every(prefix []byte, n int) (orders int) {
	order := append([]byte(nil), prefix...)
	order = append(order, make([]byte, n)...)
	for {
		e.play(order)
		orders++
		i := len(order) - 1
		for i >= len(prefix) && int(order[i]) == len(e.all)-1 {
			order[i] = 0
			i--
		}
		if i < len(prefix) {
			return orders
		}
		order[i]++
	}
}

// close goes on from every new state until there is none, or the time is over.
func (e *explorer) close(most time.Duration) (states, edges, depth int, closed bool) {
	begin := time.Now()
	seen := map[string]bool{e.play(nil).digest(): true}
	front := [][]byte{nil}
	for len(front) > 0 {
		var next [][]byte
		for _, order := range front {
			if time.Since(begin) > most {
				return len(seen), edges, depth, false
			}
			for m := range e.all {
				longer := append(append([]byte(nil), order...), byte(m))
				d := e.play(longer).digest()
				edges++
				if !seen[d] {
					seen[d] = true
					next = append(next, longer)
				}
			}
		}
		front = next
		depth++
	}
	return len(seen), edges, depth, true
}

// exploreFor is how long the state space is explored where it is asked for.
func exploreFor(t *testing.T) time.Duration {
	d, err := time.ParseDuration(os.Getenv("PINFOLD_EXPLORE"))
	if err != nil {
		return 0
	}
	return d
}

// TestExploreEveryOrder plays every order of events to a small depth, from the
// beginning, from a vehicle that may go, that was stopped, and that stands
// outside.
func TestExploreEveryOrder(t *testing.T) {
	depth := 2
	if exploreFor(t) > 0 {
		depth = 3
	}
	e := &explorer{t: t, cfg: exploreConfig(t), all: alphabet()}
	t.Cleanup(e.told)
	started := e.find("pose", "pose", "pose", "start", "durable")
	from := map[string][]byte{
		"the beginning": nil,
		"a start":       started,
		"a stop":        append(started[:len(started):len(started)], e.find("pose", "stop", "pose", "pose", "pose")...),
		"a restart":     append(started[:len(started):len(started)], e.find("restart", "align", "durable", "pose", "pose", "pose", "reset", "durable")...),
		"outside":       e.find("outside", "outside", "outside", "retrieve", "durable"),
	}
	orders := 0
	for what, prefix := range from {
		if what == "a start" || what == "outside" {
			if !e.play(prefix).granted() {
				t.Fatalf("from %s: %v leads to no permit", what, e.names(prefix))
			}
		}
		orders += e.every(prefix, depth)
	}
	t.Logf("%d orders of %d out of %d events, %d events judged; %d end with a permit, %d with a void alignment, %d hold a reset, %d a retrieval, %d an alignment",
		orders, depth, len(e.all), e.steps, e.grant, e.void, e.reset, e.back, e.tied)
	if e.grant == 0 || e.reset == 0 || e.back == 0 || e.tied == 0 || e.void == 0 {
		t.Error("no permit, reset, retrieval, alignment or void one: nothing was shown")
	}
}

// TestExploreStates goes on from every state that is new, with two alphabets,
// since all events together lead to more states than a minute allows: all but
// those that are about the alignment, and those with what they have to do with.
// In an ordinary run it goes as far as a few hundred milliseconds allow;
// PINFOLD_EXPLORE=60s gives each more.
func TestExploreStates(t *testing.T) {
	aligning := []string{"restart", "align", "align-foreign", "align-again"}
	for what, names := range map[string][]string{
		"alignments": append([]string{"pose", "unsure", "silence", "ack", "start", "reset", "old-start", "stop",
			"trail-down", "trail-up", "durable", "not-durable", "late-durable", "close"}, aligning...),
		"the rest": nil,
	} {
		t.Run(what, func(t *testing.T) {
			e := &explorer{t: t, cfg: exploreConfig(t)}
			for _, m := range alphabet() {
				if slices.Contains(names, m.name) || names == nil && !slices.Contains(aligning, m.name) {
					e.all = append(e.all, m)
				}
			}
			t.Cleanup(e.told)
			states, edges, depth, closed := e.close(max(exploreFor(t), 500*ms))
			t.Logf("%d events: %d states by %d orders, %d events judged, to depth %d, closed: %v; %d end with a permit",
				len(e.all), states, edges, e.steps, depth, closed, e.grant)
			if states < 60 {
				t.Errorf("only %d states: nothing was shown", states)
			}
		})
	}
}
