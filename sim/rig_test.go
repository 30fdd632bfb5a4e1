package sim

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/link/wire"
)

// bench drives a rig in virtual time, and speaks for a guard that is called
// "g".
type bench struct {
	*rig
	seq uint64
	out []byte // every pose so far
}

func newBench(t *testing.T, vehicle string, seed uint64) *bench {
	t.Helper()
	r, err := newRig(DemoNode(vehicle, "", "", seed))
	if err != nil {
		t.Fatal(err)
	}
	return &bench{rig: r}
}

// run advances by d in slices, with a permit on every slice where goes.
func (b *bench) run(d, slice time.Duration, goes bool) {
	for end := b.now + d; b.now < end; {
		b.advance(min(b.now+slice, end))
		poses, _ := b.collect()
		b.out = append(b.out, bytes.Join(poses, nil)...)
		if goes {
			b.say(true)
		}
	}
}

// say gives a permit for the pose of this instant.
func (b *bench) say(goes bool) {
	b.seq++
	p := wire.Permit{Guard: "g", Session: "s", Seq: b.seq, Go: goes, Stamp: int64(b.clock()), Valid: 0.25}
	b.hear(heardPermit, p.Append(nil), false)
}

// command gives a command and returns its acknowledgement.
func (b *bench) command(t *testing.T, id, action string) wire.Ack {
	t.Helper()
	c := wire.Command{ID: id, Seq: 1, Action: action, Cause: "zone", Zone: "cage", Stamp: int64(b.clock()), Valid: 0.25}
	b.hear(heardCommand, c.Append(nil), false)
	_, acks := b.collect()
	if len(acks) != 1 {
		t.Fatalf("%d acknowledgements of %s", len(acks), id)
	}
	a, err := wire.DecodeAck(acks[0])
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Without a permit nothing moves, whatever the pilot wants.
func TestRigNeedsPermit(t *testing.T) {
	for _, v := range []string{Wren, Mole} {
		b := newBench(t, v, 1)
		b.pilot = NewScript(Phrase{time.Hour, Control{Mode: Drive, Speed: 1, Velocity: Vec{Z: 1}}})
		b.run(time.Second, 5*ms, false)
		if s := b.plant.State(); s.Travelled != 0 || b.may {
			t.Errorf("%s moved %.3f m without a permit", v, s.Travelled)
		}
		b.say(true) // a session that begins with a yes is not taken up
		b.run(100*ms, 5*ms, false)
		if b.plant.State().Travelled != 0 {
			t.Errorf("%s moved on a session's first word", v)
		}
		if len(b.log.halts) != 0 {
			t.Errorf("%s: %d halts before it ever moved", v, len(b.log.halts))
		}
	}
}

// The permit of the instant t with a validity of 250 ms ends after t + 250 ms
// by the vehicle's clock, to the physics step; the rover then takes its dead
// time of 40 ms and v/a, here 0.7 m/s over 1.6 m/s², to RestSpeed.
func TestRigHaltsWhenPermitEnds(t *testing.T) {
	b := newBench(t, Mole, 1)
	b.say(false)
	b.pilot = NewScript(Phrase{time.Hour, Control{Mode: Drive, Speed: 0.8}})
	b.run(2*time.Second, 5*ms, true)
	last := b.clock()
	b.run(2*time.Second, 5*ms, false)
	h, ok := b.log.last()
	if !ok || !h.Rested() {
		t.Fatalf("no halt, or no rest: %+v", h)
	}
	near(t, "permit's end after its stamp, s", (h.PermitAt - last).Seconds(), 0.250, 0.0011)
	near(t, "brake after that, s", (h.BrakeAt - h.PermitAt).Seconds(), 0.001, 1e-9)
	near(t, "speed, m/s", h.Speed, 0.8, 1e-9)
	near(t, "braking, s", h.Braking().Seconds(), 0.040+0.7/1.6, 0.0021)
	near(t, "distance, m", h.Distance, 0.8*0.040+(0.8*0.8-0.1*0.1)/(2*1.6), 0.002)
	if h.Action != "stop" || !strings.Contains(h.Why, "permit") {
		t.Errorf("did %q because %q", h.Action, h.Why)
	}
	if v := b.judge.Verdict(true); !v.Stayed() || v.Looks != 4001 {
		t.Errorf("judge: %+v; wanted every one of 4001 positions looked at", v)
	}
	if h.DownAt != h.BrakeAt {
		t.Errorf("a rover is on the ground at once, not at %v", h.DownAt)
	}
}

// airborne is wren hovering at about 1.2 m with a permit.
func airborne(t *testing.T) *bench {
	b := newBench(t, Wren, 4)
	b.say(false)
	b.pilot = NewFlight(Course{Points: []Vec{{2, 2, 1.2}}, Speed: 1})
	b.run(5*time.Second, 5*ms, true)
	if s := b.plant.State(); s.Position.Z < 1.1 || !b.may {
		t.Fatalf("not in the air: %+v", s)
	}
	return b
}

// A command is acknowledged and obeyed: land means down, motors off.
func TestRigObeysCommands(t *testing.T) {
	b := airborne(t)
	if a := b.command(t, "c1", "stop"); a.ID != "c1" || a.Action != "stop" {
		t.Errorf("ack %+v", a)
	}
	b.run(2*time.Second, 5*ms, true)
	if s := b.plant.State(); b.may || s.Grounded || s.Velocity.Len() > RestSpeed || b.doing != Halt {
		t.Errorf("after a stop: may %v, doing %v, %+v", b.may, b.doing, s)
	}
	b.command(t, "c2", "land")
	b.run(4*time.Second, 5*ms, true)
	s := b.plant.State()
	h, _ := b.log.last()
	if !s.Grounded || h.DownAt == 0 || h.Action != "stop" {
		t.Errorf("after a land: %+v, %+v", s, h)
	}
	b.pilot = NewFlight(Course{Points: []Vec{{2, 2, 1}}, Speed: 1})
	b.run(time.Second, 5*ms, true)
	if s := b.plant.State(); !s.Grounded || b.may {
		t.Error("moved again without a no before the yes")
	}
	b.say(false)
	b.run(2*time.Second, 5*ms, true)
	if s := b.plant.State(); s.Grounded {
		t.Error("did not fly again after a no and a yes")
	}
}

// What cannot be read on a command topic stops the vehicle, and so does the
// broker's word for a guard that is gone; neither is acknowledged.
func TestRigStopsOnBadCommandAndWill(t *testing.T) {
	will := (&wire.Command{ID: "w", Seq: 1, Action: "stop", Cause: "guard-lost"}).Append(nil)
	for name, m := range map[string]struct {
		kind    heard
		payload []byte
	}{"bad": {heardCommand, []byte("{")}, "will": {heardAllCommand, will}} {
		b := airborne(t)
		b.hear(m.kind, m.payload, false)
		b.run(time.Second, 5*ms, true)
		if _, acks := b.collect(); b.may || len(acks) != 0 {
			t.Errorf("%s: may move %v, %d acks", name, b.may, len(acks))
		}
	}
}

// A hover without a permit ends in a landing; a blind one at once.
func TestRigLandsByItself(t *testing.T) {
	b := airborne(t)
	b.hold = 3 * time.Second
	b.run(2900*ms, 5*ms, false) // the first 250 ms are still permitted
	if b.doing != Halt {
		t.Errorf("doing %v before the hold is over", b.doing)
	}
	b.run(4*time.Second, 5*ms, false)
	if s := b.plant.State(); !s.Grounded || b.doing != Land {
		t.Errorf("still in the air: %+v", s)
	}
	b = airborne(t)
	b.tracker.Lose(true)
	b.run(300*ms, 5*ms, false)
	if b.doing != Land {
		t.Errorf("blind and doing %v", b.doing)
	}
	b.tracker.Lose(false) // seeing again does not break off a landing
	b.run(4*time.Second, 5*ms, false)
	if !b.plant.State().Grounded {
		t.Error("a landing was broken off")
	}
}

// Same seed, same bytes, however real time is sliced; another seed, others.
func TestRigIsDeterministic(t *testing.T) {
	fly := func(seed uint64, slice time.Duration) []byte {
		b := newBench(t, Wren, seed)
		b.say(false)
		b.pilot = NewFlight(Course{Points: []Vec{{2, 2, 1}, {3, 3, 1}}, Speed: 1, Loop: true})
		for range 10 { // permits at fixed instants, so that only the slices differ
			b.say(true)
			b.run(210*ms, slice, false)
		}
		if b.plant.State().Travelled < 0.5 {
			t.Fatalf("moved only %.2f m", b.plant.State().Travelled)
		}
		return b.out
	}
	want := fly(9, ms)
	for _, slice := range []time.Duration{2500 * time.Microsecond, 7 * ms, 210 * ms} {
		if !bytes.Equal(fly(9, slice), want) {
			t.Errorf("slices of %v change what is published", slice)
		}
	}
	if bytes.Equal(fly(10, ms), want) {
		t.Error("the seed changes nothing")
	}
}

// A silent node sends nothing and still sees; a lost tracker does neither.
func TestRigSilence(t *testing.T) {
	b := newBench(t, Mole, 1)
	b.silent = true
	b.run(100*ms, 5*ms, false)
	if len(b.out) != 0 || !b.tracker.Good() {
		t.Errorf("%d bytes sent, tracker good %v", len(b.out), b.tracker.Good())
	}
	b.silent = false
	b.run(100*ms, 5*ms, false)
	if n := bytes.Count(b.out, []byte(`"stamp"`)); n != 20 {
		t.Errorf("%d poses in 100 ms at 200 Hz", n)
	}
	b.out, b.thin = nil, 4
	b.run(100*ms, 5*ms, false)
	if n := bytes.Count(b.out, []byte(`"stamp"`)); n != 5 {
		t.Errorf("%d poses in 100 ms of which one in four is sent", n)
	}
}

// The log keeps the newest halts and no more.
func TestHaltLogIsBounded(t *testing.T) {
	var l haltLog
	for i := range 3 * maxHalts {
		at := time.Duration(i) * time.Second
		l.step(at, State{Velocity: Vec{X: 1}}, true, 1, "", "")
		l.step(at+ms, State{}, false, 1, "stop", "why")
	}
	last, _ := l.last()
	if len(l.halts) != maxHalts || last.PermitAt != (3*maxHalts-1)*time.Second || last.RestAt != last.BrakeAt {
		t.Errorf("%d halts, last %+v", len(l.halts), last)
	}
	if _, ok := new(haltLog).last(); ok {
		t.Error("a halt before the first")
	}
}

func TestNewRigRefuses(t *testing.T) {
	o := DemoNode(Wren, "", "", 1)
	o.Pen.Inside = nil
	if _, err := newRig(o); err == nil {
		t.Error("a vehicle without a pen")
	}
}
