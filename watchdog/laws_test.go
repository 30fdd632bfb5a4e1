package watchdog

import (
	"flag"
	"os"
	"testing"
	"time"

	"pgregory.net/rapid"

	"pinfold/watchdog/pose"
)

// TestMain fixes the seed of the random sequences, so that a run can be had
// again; -rapid.seed gives others.
func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("rapid.seed"); f != nil && f.Value.String() == "0" {
		if err := f.Value.Set("13850"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// TestLaws runs random sequences of everything that can happen. The laws are
// checked after every step, by an account that does not share the core's code.
func TestLaws(t *testing.T) {
	granted, stopped, restarted, retrieved, aligned, voided := 0, 0, 0, 0, 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		c := testConfig(t)
		if rapid.Bool().Draw(rt, "rover") {
			c.Kind = Rover
		}
		c.Timing.TripMost = 100 * ms
		r := newRig(t, c)
		old := r.nonce()
		if rapid.IntRange(0, 4).Draw(rt, "begin") > 0 {
			r.started()
		}
		for range rapid.IntRange(1, 40).Draw(rt, "events") {
			if n := r.nonce(); rapid.Bool().Draw(rt, "keep nonce") {
				old = n
			}
			act(rt, r, old)
		}
		granted += r.laws.granted
		stopped += r.laws.stopped
		restarted += r.laws.reset
		retrieved += r.laws.retrieved
		aligned += r.laws.aligned
		voided += r.laws.voided
	})
	t.Logf("permits to go: %d; stops: %d; resets: %d; retrievals: %d; alignments taken: %d; steps while void: %d",
		granted, stopped, restarted, retrieved, aligned, voided)
	if granted == 0 || stopped == 0 || restarted == 0 || retrieved == 0 || aligned == 0 || voided == 0 {
		t.Error("the sequences never reached a permit, a stop, a reset, a retrieval, an alignment or a void one: nothing was shown")
	}
}

// act does one random thing.
func act(rt *rapid.T, r *rig, old string) {
	some := func(most int) time.Duration {
		return time.Duration(rapid.IntRange(1, most).Draw(rt, "ms")) * ms
	}
	r.now += time.Duration(rapid.IntRange(0, 3).Draw(rt, "µs")) * time.Microsecond
	switch rapid.IntRange(0, 18).Draw(rt, "act") {
	case 0:
		a := rapid.Float64Range(-3, 3)
		r.move(some(600), pose.Vec{X: a.Draw(rt, "ax"), Y: a.Draw(rt, "ay"), Z: a.Draw(rt, "az") / 3})
	case 1:
		r.brake(3)
	case 2, 3:
		r.still(some(3000))
	case 4:
		r.silence(some(400))
	case 5:
		r.now += some(700) // nobody called
		r.step(Event{Kind: EvTick})
	case 6, 7:
		request(rt, r, old)
	case 8, 9:
		token := r.token + uint64(rapid.SampledFrom([]int{0, 0, 0, 1}).Draw(rt, "token"))
		r.step(Event{Kind: EvDurable, Token: token, Failed: rapid.IntRange(0, 9).Draw(rt, "failed") == 0})
	case 10:
		id := rapid.SampledFrom([]string{r.command.ID, r.command.ID, "other", ""}).Draw(rt, "ack")
		r.step(Event{Kind: EvAck, Text: id})
	case 11:
		kind := rapid.SampledFrom([]EventKind{EvLink, EvTrail, EvTrip, EvBad, 0, 99}).Draw(rt, "kind")
		r.step(Event{Kind: kind, Up: rapid.IntRange(0, 2).Draw(rt, "up") > 0, Text: "x", Trip: some(150)})
	case 12:
		broken(rt, r)
	case 13:
		rescue(r)
	case 14:
		disturb(rt, r)
	case 16:
		fetch(rt, r)
	case 17:
		renew(rt, r, old)
	case 18:
		r.restart(rapid.Float64Range(-4, 4).Draw(rt, "yaw"), pose.Vec{X: rapid.Float64Range(-9, 9).Draw(rt, "origin")})
	case 15:
		if rapid.IntRange(0, 9).Draw(rt, "close") == 0 {
			r.step(Event{Kind: EvClose, Text: "done"})
		}
	}
}

func request(rt *rapid.T, r *rig, old string) {
	nonce := rapid.SampledFrom([]string{r.nonce(), r.nonce(), r.nonce(), old, "", "guess"}).Draw(rt, "nonce")
	ask := rapid.SampledFrom([]Ask{AskStart, AskStart, AskReset, AskReset, AskStop, AskLand, 0, 9}).Draw(rt, "ask")
	r.step(Event{Kind: EvRequest, Ask: ask, By: "somebody", Nonce: nonce, Retrieve: rapid.IntRange(0, 3).Draw(rt, "retrieve") == 0, Retained: rapid.IntRange(0, 9).Draw(rt, "retained") == 0})
}

// broken sends a pose that must not be taken.
func broken(rt *rapid.T, r *rig) {
	good := string(r.payload())
	bad := rapid.SampledFrom([]string{"", "{", "null", good[:len(good)-2], `{"stamp":1}`,
		`{"stamp":1e9,"position":{"x":NaN,"y":0,"z":0},"orientation":{"w":1,"x":0,"y":0,"z":0}}`,
		`{"stamp":1e9,"position":{"x":1e309,"y":0,"z":0},"orientation":{"w":1,"x":0,"y":0,"z":0}}`,
		`{"stamp":1e9,"position":{"x":1,"y":1,"z":1},"orientation":{"w":2,"x":0,"y":0,"z":0}}`,
		`{"stamp":1,"position":{"x":1,"y":1,"z":1},"orientation":{"w":1,"x":0,"y":0,"z":0},"confidence":1,"tracker":"a"}`,
	}).Draw(rt, "bad")
	r.step(Event{Kind: EvPose, Payload: []byte(bad)})
	r.step(Event{Kind: EvPose, Payload: []byte(good), Retained: true})
	r.step(Event{Kind: EvPose, Payload: []byte(good), TooLarge: true})
}

// rescue puts the vehicle back into the middle and tries to make it go again.
func rescue(r *rig) {
	r.p, r.tilt, r.conf, r.quiet = pose.Vec{X: 2, Y: 3, Z: 1}, 0, 0.9, false
	r.step(Event{Kind: EvLink, Up: true})
	r.step(Event{Kind: EvTrail, Up: true})
	r.step(Event{Kind: EvTrip, Trip: ms})
	if r.laws.tied != r.tracker {
		r.pose()
		r.ask(AskStop)
		r.realign(nil)
	}
	r.still(2600 * ms)
	r.ask(AskReset)
	r.durable()
	r.ask(AskStart)
	r.durable()
}

// renew sends an alignment that is right, or is not.
func renew(rt *rapid.T, r *rig, old string) {
	ev := Event{Kind: EvAlign, By: "somebody", Nonce: rapid.SampledFrom([]string{r.nonce(), r.nonce(), old, ""}).Draw(rt, "nonce"),
		Local: rapid.IntRange(0, 5).Draw(rt, "local") == 0, Retained: rapid.IntRange(0, 9).Draw(rt, "retained") == 0}
	wrong := rapid.SampledFrom(wrongFiles()).Draw(rt, "wrong")
	if rapid.Bool().Draw(rt, "right") {
		wrong = nil
	}
	ev.Payload = r.alignFile(wrong)
	if rapid.IntRange(0, 9).Draw(rt, "broken") == 0 {
		ev.Payload = ev.Payload[:len(ev.Payload)/2]
	}
	r.step(ev)
	if rapid.Bool().Draw(rt, "durable") {
		r.durable()
	}
	if rapid.Bool().Draw(rt, "again") { // the very same message
		r.step(ev)
		r.durable()
	}
}

// fetch lets the vehicle stand outside, and asks to bring it back.
func fetch(rt *rapid.T, r *rig) {
	r.p, r.tilt, r.conf, r.quiet = pose.Vec{X: 7.3, Y: 3, Z: 1}, 0, 0.9, false
	r.step(Event{Kind: EvLink, Up: true})
	r.step(Event{Kind: EvTrail, Up: true})
	r.still(2600 * ms)
	r.step(Event{Kind: EvRequest, Ask: AskStart, Retrieve: true, By: "tester", Nonce: r.nonce()})
	r.durable()
	r.v = pose.Vec{X: rapid.SampledFrom([]float64{-0.5, -1.3, -1.5, 0.5}).Draw(rt, "back")}
	r.move(time.Duration(rapid.IntRange(1, 1500).Draw(rt, "ms"))*ms, pose.Vec{})
}

// disturb changes what the tracker says from now on.
func disturb(rt *rapid.T, r *rig) {
	switch rapid.IntRange(0, 5).Draw(rt, "what") {
	case 0:
		r.tilt = rapid.Float64Range(0, 180).Draw(rt, "tilt")
	case 1:
		r.conf = rapid.SampledFrom([]float64{0, 0.1, 0.3, 1}).Draw(rt, "confidence")
	case 2:
		r.p.X += rapid.Float64Range(-9, 9).Draw(rt, "jump")
	case 3:
		r.quiet = !r.quiet
	case 4:
		r.p.Z = rapid.Float64Range(-2, 4).Draw(rt, "z")
	case 5:
		if rapid.IntRange(0, 9).Draw(rt, "restart") == 0 {
			r.restart(0, pose.Vec{})
		}
	}
	r.now += 5 * ms
	r.pose()
}
