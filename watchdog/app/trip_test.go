package app

import (
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/link/wire"
)

const ms = time.Millisecond

// answer sends a probe at now and has it back after took.
func (w *tripWatch) answer(now, took time.Duration) {
	w.out("n", now)
	p := wire.Probe{Guard: "g", Session: "s", Number: "n"}
	w.back(p.Append(nil), now+took)
}

// tripsOf is a watch that measured these, one a second.
func tripsOf(took ...time.Duration) *tripWatch {
	w := &tripWatch{}
	w.link(true, 0)
	for i, d := range took {
		w.answer(time.Duration(i)*time.Second, d)
	}
	return w
}

func TestLongestTripOfTheLastMinuteCounts(t *testing.T) {
	w := tripsOf(1500*time.Microsecond, 70*ms, 300*time.Microsecond)
	if trip, news := w.pass(3 * time.Second); trip != 70*ms || !news {
		t.Errorf("%v, news %v", trip, news)
	}
	if _, news := w.pass(4 * time.Second); news {
		t.Error("told twice")
	}
	if p50, p99, worst, ok := w.figures(); p50 != 1500*time.Microsecond || p99 != 70*ms || worst != 70*ms || !ok {
		t.Errorf("figures %v %v %v %v", p50, p99, worst, ok)
	}
	if trip, _ := w.pass(time.Second + 70*ms + tripWindow + 1); trip != ms { // rounded up
		t.Errorf("after a minute %v", trip)
	}
	if trip, _ := w.pass(2 * time.Hour); trip != 0 {
		t.Errorf("nothing measured, and yet %v", trip)
	}
	if _, _, _, ok := w.figures(); ok {
		t.Error("figures of nothing")
	}
}

// A probe that is out counts as long as it has been; one that never comes back
// counts for a minute, and another one is sent.
func TestTripThatIsOutCountsAlready(t *testing.T) {
	w := tripsOf(ms)
	w.out("n", time.Second)
	for _, row := range []struct{ at, want time.Duration }{{1009 * ms, ms}, {1010 * ms, 10 * ms}, {1379 * ms, 370 * ms}, {3000 * ms, 2 * time.Second}} {
		if trip, _ := w.pass(row.at); trip != row.want {
			t.Errorf("at %v: %v, want %v", row.at, trip, row.want)
		}
	}
	if w.due(3 * time.Second) {
		t.Error("due while one is out")
	}
	if trip, _ := w.pass(3001 * ms); trip != 2001*ms || !w.due(3001*ms) {
		t.Errorf("lost: %v, due %v", trip, w.due(3001*ms))
	}
	w.link(false, 4*time.Second)
	if w.due(time.Hour) {
		t.Error("due while the link is down")
	}
}

func TestStrangersProbesAreIgnored(t *testing.T) {
	w := tripsOf()
	w.out("n", 0)
	other := wire.Probe{Guard: "g", Session: "s", Number: "m"}
	for _, payload := range [][]byte{nil, []byte("{"), []byte(`"n"`), other.Append(nil), []byte(strings.Repeat("x", 600))} {
		w.back(payload, ms)
	}
	if len(w.trips) != 0 || w.number != "n" {
		t.Errorf("a stranger's probe was taken: %v", w.trips)
	}
	own := wire.Probe{Guard: "g", Session: "s", Number: "n"}
	w.back(own.Append(nil), 2*ms)
	w.back(own.Append(nil), 400*ms) // replayed
	if len(w.trips) != 1 || w.trips[0].took != 2*ms {
		t.Errorf("%v", w.trips)
	}
}

// A machine that was held up is not taken for a slow link, unless it is so again
// and again.
func TestHeldUpMachineIsNoSlowLink(t *testing.T) {
	w := tripsOf(ms)
	w.out("n", time.Second)
	now := 6002 * ms
	w.late(5 * time.Second) // the process was stopped
	own := wire.Probe{Guard: "g", Session: "s", Number: "n"}
	w.back(own.Append(nil), now)
	if trip, _ := w.pass(now); trip != 2*ms || !w.due(now) {
		t.Errorf("%v, due %v", trip, w.due(now))
	}
	w.out("n", now)
	w.late(tripHeld) // not late enough
	w.back(own.Append(nil), now+30*ms)
	if trip, _ := w.pass(now + 30*ms); trip != 30*ms || w.due(now+30*ms) {
		t.Errorf("an ordinary probe: %v", trip)
	}
	for range tripRow {
		now += 2 * time.Second
		w.out("n", now)
		w.late(50 * ms)
		w.back(own.Append(nil), now+60*ms)
		if trip, _ := w.pass(now + 60*ms); trip != 30*ms {
			t.Errorf("held up: %v", trip)
		}
	}
	w.out("n", now+ms)
	w.late(50 * ms)
	w.back(own.Append(nil), now+61*ms)
	if trip, _ := w.pass(now + 61*ms); trip != 60*ms {
		t.Errorf("held up again and again: %v", trip)
	}
}

// A slow link on a machine that is held up now and then is still a slow link.
func TestHeldUpMachineHidesNoSlowLink(t *testing.T) {
	w := tripsOf(ms)
	w.out("n", time.Second)
	w.late(25 * ms)
	if trip, _ := w.pass(1600 * ms); trip != 570*ms {
		t.Errorf("%v while it is out", trip)
	}
	own := wire.Probe{Guard: "g", Session: "s", Number: "n"}
	w.back(own.Append(nil), 1650*ms)
	if trip, _ := w.pass(1650 * ms); trip != 625*ms {
		t.Errorf("%v", trip)
	}
}

// TestHeldBackIsTold: probes of a guard with one vehicle at 200 Hz, once a
// second, µs, as measured on mosquitto 2.0.11 over loopback, first with
// set_tcp_nodelay false, then with true; other lists are invented.
func TestHeldBackIsTold(t *testing.T) {
	us := func(list ...int) (d []time.Duration) {
		for _, n := range list {
			d = append(d, time.Duration(n)*time.Microsecond)
		}
		return d
	}
	for name, row := range map[string]struct {
		trips []time.Duration
		want  bool
	}{
		"held back":         {us(43856, 536, 1234, 758, 40540, 505, 17191, 19555, 29026, 440, 42807, 388, 461, 838, 1049, 820, 515, 968, 474, 1005, 44369, 259, 9486, 26175), true},
		"sent at once":      {us(906, 395, 287, 542, 245, 546, 377, 424, 287, 179, 199, 301, 6767, 373, 313, 427, 368, 351, 288, 477, 270, 679, 261, 229, 217, 789), false},
		"a slow network":    {us(38000, 41000, 39500, 42000, 40100, 37000, 44000), false},
		"a busy machine":    {us(900, 38000, 70000, 41000, 900, 120000, 47000, 300, 400), false},
		"two by accident":   {us(900, 38000, 41000, 900, 900, 900), false},
		"seldom in an hour": {append(us(38000, 41000, 45000), us(make([]int, 40)...)...), false},
	} {
		if got, ok := tripsOf(row.trips...).steps(); ok != row.want {
			t.Errorf("%s: %+v, told %v", name, got, ok)
		}
	}
}

func TestWindowIsBounded(t *testing.T) {
	w := tripsOf()
	for i := range 10 * tripMost {
		w.answer(time.Duration(i)*ms, ms)
	}
	if len(w.trips) > tripMost || cap(w.trips) > 2*tripMost {
		t.Errorf("%d kept, room for %d", len(w.trips), cap(w.trips))
	}
}
