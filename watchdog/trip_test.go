package watchdog

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"pinfold/watchdog/pose"
)

// TestUntil: what a slow link adds, and where that ends. The permit that is on
// its way is good for PermitValid after the pose's stamp, whatever the link does.
func TestUntil(t *testing.T) {
	c := testConfig(t)
	c.Stopping.Trip = 50 * ms
	for _, row := range []struct {
		d    delays
		want time.Duration
	}{
		{delays{age: 20 * ms}, 30 * ms},
		{delays{age: 20 * ms, trip: 50 * ms}, 30 * ms},
		{delays{age: 20 * ms, trip: 51 * ms}, 31 * ms},
		{delays{age: 20 * ms, trip: 150 * ms}, 130 * ms},
		{delays{age: 20 * ms, trip: MaxTrip}, 250 * ms},
		{delays{age: 245 * ms, trip: MaxTrip}, 255 * ms}, // never less than without a link
		{delays{age: 20 * ms, late: 30 * ms, trip: 150 * ms}, 160 * ms},
		{delays{age: 20 * ms, late: 30 * ms, trip: MaxTrip}, 300 * ms}, // newer poses may have been permitted
	} {
		if got := row.d.until(&c); got != row.want {
			t.Errorf("%+v: %v, want %v", row.d, got, row.want)
		}
	}
	c.Stopping.CoverLoss = true
	if got := (delays{age: 20 * ms, trip: MaxTrip}).until(&c); got != c.Timing.PermitValid {
		t.Errorf("with the permit's validity covered a slow link adds something: %v", got)
	}
	if got := (delays{age: 20 * ms, late: 30 * ms}).until(&c); got != 300*ms {
		t.Errorf("where newer poses may have been permitted, their permits' validity is not covered: %v", got)
	}
}

// TestUntilGrows: a slower link never makes the reach smaller.
func TestUntilGrows(t *testing.T) {
	c := testConfig(t)
	some := rapid.Custom(func(t *rapid.T) time.Duration {
		return time.Duration(rapid.IntRange(0, 400).Draw(t, "ms")) * ms
	})
	rapid.Check(t, func(t *rapid.T) {
		c.Stopping.Trip, c.Stopping.CoverLoss = some.Draw(t, "declared"), rapid.Bool().Draw(t, "cover")
		d := delays{age: some.Draw(t, "age"), late: some.Draw(t, "late"), trip: some.Draw(t, "trip")}
		slower := d
		slower.trip += some.Draw(t, "more")
		if a, b := d.until(&c), slower.until(&c); b < a || a < d.age+d.late+JudgeEvery {
			t.Fatalf("%+v: %v, and slower %v", d, a, b)
		}
	})
}

// TestAckAllowsForTheLink: a command and its answer each take a way through the
// broker. What that takes more than declared puts off the escalation for want of
// an answer, by twice a permit's validity at most, and puts off no repeat.
func TestAckAllowsForTheLink(t *testing.T) {
	for _, row := range []struct{ declared, trip, late, want time.Duration }{
		{0, 0, 0, 500 * ms}, // not measured yet
		{50 * ms, 50 * ms, 0, 500 * ms},
		{50 * ms, 20 * ms, 0, 500 * ms}, // a faster one takes nothing away
		{50 * ms, 110 * ms, 0, 620 * ms},
		{0, 240 * ms, 0, 980 * ms},
		{0, 260 * ms, 0, 1000 * ms}, // no permit is good for longer than 250 ms
		{0, MaxTrip, 0, 1000 * ms},
		{0, -1, 0, 1000 * ms},
		{0, 20 * ms, MaxTrip, 540 * ms}, // what is measured after the call puts nothing off
	} {
		c := testConfig(t)
		c.Stopping.Trip = row.declared
		r := newRig(t, c)
		r.started()
		r.step(Event{Kind: EvTrip, Trip: row.trip})
		r.ask(AskStop)
		called := r.now
		if row.late > 0 {
			r.step(Event{Kind: EvTrip, Trip: row.late})
		}
		r.still(row.want)
		if r.g.latch != ActStop || r.now != called+row.want {
			t.Errorf("%+v: %v after %v", row, r.g.latch, r.now-called)
		}
		if most := uint64(row.want/c.Timing.CommandEvery) + 1; r.command.Seq != most {
			t.Errorf("%+v: sent %d times, want %d", row, r.command.Seq, most)
		}
		if r.still(5 * ms); r.g.latch != ActLand || r.command.Cause != CauseNotAcknowledged {
			t.Errorf("%+v: %v for %v, 5 ms later", row, r.g.latch, r.command.Cause)
		}
	}
}

// TestAckTightened: a tighter ack_within holds for a command that is out, and a
// second command gives the vehicle no more time than the first.
func TestAckTightened(t *testing.T) {
	c := testConfig(t)
	r := newRig(t, c)
	r.started()
	r.step(Event{Kind: EvTrip, Trip: 100 * ms})
	r.ask(AskStop)
	r.still(100 * ms)
	r.step(Event{Kind: EvTrip, Trip: 200 * ms})
	r.ask(AskLand)
	if got := r.g.ackWithin(); got != 700*ms || r.command.Action != ActLand {
		t.Errorf("%v for the answer to %v", got, r.command.Action)
	}
	next := c
	next.Timing.AckWithin = 300 * ms
	if _, err := r.g.Tighten(next, r.now); err != nil {
		t.Fatal(err)
	}
	r.cfg = next
	i := r.g.other(CauseNotAcknowledged)
	if r.still(395 * ms); r.g.subjects[i].holding {
		t.Error("escalates before 500 ms")
	}
	if r.still(10 * ms); !r.g.subjects[i].holding {
		t.Error("does not escalate after 500 ms")
	}
}

// TestObeyedWhateverTheAck: a vehicle that is heard of over a slow link and does
// not brake is not-obeyed long before its answer is due.
func TestObeyedWhateverTheAck(t *testing.T) {
	r := newRig(t, testConfig(t))
	r.started()
	r.step(Event{Kind: EvTrip, Trip: 260 * ms})
	r.v = pose.Vec{X: 0.8}
	r.move(100*ms, pose.Vec{})
	r.ask(AskStop)
	called := r.now
	for r.command.Cause != CauseNotObeyed && r.now < called+time.Second {
		r.move(5*ms, pose.Vec{})
	}
	if took := r.now - called; took > 700*ms || r.g.latch != ActLand {
		t.Errorf("%v for %v after %v", r.g.latch, r.command.Cause, took)
	}
}

// TestTripNeverMeasured: what nobody can have measured is as slow as can be.
func TestTripNeverMeasured(t *testing.T) {
	c := testConfig(t)
	c.Timing.TripMost = time.Second
	for _, trip := range []time.Duration{-1, 1<<63 - 1, 2 * time.Second} {
		r := newRig(t, c)
		r.started()
		r.step(Event{Kind: EvTrip, Trip: trip})
		if s := r.g.Snapshot(); s.Go || s.Level != Stop {
			t.Errorf("%v: level %v, permit %v", trip, s.Level, s.Go)
		}
	}
}

// TestTightenBudget: a budget may come and shrink while running, and never go.
func TestTightenBudget(t *testing.T) {
	for _, row := range []struct {
		old, next time.Duration
		ok        bool
	}{{0, 100 * ms, true}, {100 * ms, 50 * ms, true}, {100 * ms, 101 * ms, false}, {100 * ms, 0, false}, {0, 0, true}} {
		c := testConfig(t)
		c.Timing.TripMost = row.old
		r := newRig(t, c)
		c.Timing.TripMost = row.next
		if _, err := r.g.Tighten(c, r.now); (err == nil) != row.ok {
			t.Errorf("%v to %v: %v", row.old, row.next, err)
		}
	}
}

// TestSlowLinkIsNoDisobedience: a vehicle that brakes as declared from the moment
// it can have heard of the stop is not told to land for it; one that goes on is.
func TestSlowLinkIsNoDisobedience(t *testing.T) {
	for name, row := range map[string]struct {
		trip, late time.Duration
		want       Level
	}{
		"quick link":            {0, 0, Stop},
		"slow link":             {200 * ms, 200 * ms, Stop},
		"slower than any":       {MaxTrip, 240 * ms, Stop},
		"quick, and late":       {0, 200 * ms, Land},
		"slow, and later still": {MaxTrip, 500 * ms, Land},
	} {
		r := newRig(t, testConfig(t)).started()
		r.step(Event{Kind: EvTrip, Trip: row.trip})
		r.p = pose.Vec{X: 1, Y: 1, Z: 1}
		r.move(500*ms, pose.Vec{X: 2.2}) // to 1.1 m/s
		r.wantLevel(Clear)
		r.ask(AskStop)
		r.step(Event{Kind: EvAck, Text: r.command.ID})
		r.move(r.cfg.Stopping.Reaction+row.late, pose.Vec{})
		r.brake(3)
		if got := r.g.Level(); got != row.want {
			t.Errorf("%s: %v, want %v; latched %v", name, got, row.want, words(r.g.Snapshot().Latched))
		}
	}
}
