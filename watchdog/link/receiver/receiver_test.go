package receiver

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"pinfold/watchdog/link/wire"
)

const ms = int64(time.Millisecond)

// bench is a receiver with a hand on its clock.
type bench struct {
	t   *testing.T
	r   *Receiver
	now int64
	seq map[string]uint64
}

func newBench(t *testing.T, o Options) *bench {
	t.Helper()
	r, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	return &bench{t: t, r: r, now: 5_000 * ms, seq: map[string]uint64{}}
}

// say gives the receiver the next permit of a session, stamped now.
func (b *bench) say(session string, yes bool) []byte { return b.sayAs("hall", session, yes) }

func (b *bench) sayAs(guard, session string, yes bool) []byte {
	b.seq[guard+session]++
	p := wire.Permit{Guard: guard, Session: session, Seq: b.seq[guard+session], Go: yes, Stamp: b.now, Valid: 0.25}
	bytes := p.Append(nil)
	b.r.Permit(bytes, false, b.now)
	return bytes
}

func (b *bench) command(id, action string) string {
	c := wire.Command{ID: id, Seq: 1, Action: action, Cause: "zone", Value: math.NaN(), Limit: math.NaN()}
	return string(b.r.Command(c.Append(nil), false, b.now))
}

// want checks the verdict: "go", or "stop" or "land" and a part of the reason.
func (b *bench) want(action, why string) {
	b.t.Helper()
	v := b.r.MayMove(b.now)
	if v.Go != (action == "go") || !v.Go && v.Action.String() != action || v.Go && (v.Action != None || v.Why != "") || !strings.Contains(v.Why, why) {
		b.t.Fatalf("at %d ms: %+v (%v), want %s: %s", b.now/ms, v, v.Action, action, why)
	}
}

// underWay is a vehicle that may move, by session "a".
func underWay(t *testing.T, o Options) *bench {
	t.Helper()
	b := newBench(t, o)
	b.say("a", false)
	b.say("a", true)
	b.want("go", "")
	return b
}

func TestNothingHeardIsNo(t *testing.T) {
	if (Verdict{}).Go {
		t.Error("the zero verdict lets go")
	}
	var zero Receiver
	zero.Permit([]byte(`{"guard":"","session":"s","seq":1,"go":false,"stamp":0,"valid":1}`), false, 0)
	zero.Permit([]byte(`{"guard":"g","session":"s","seq":1,"go":true,"stamp":0,"valid":1}`), false, 0)
	if v := zero.MayMove(0); v.Go || v.Action != Stop || zero.Session() != "" {
		t.Errorf("the zero receiver: %+v", v)
	}
	if zero.Command([]byte(`{}`), false, 0) != nil {
		t.Error("the zero receiver acknowledged nonsense")
	}
	newBench(t, Options{}).want("stop", "no permit yet")
	newBench(t, Options{Lost: Land}).want("land", "no permit yet")
}

func TestPermitRunsOutByTheVehiclesClock(t *testing.T) {
	b := underWay(t, Options{})
	b.now += 250 * ms
	b.want("go", "")
	b.now++
	b.want("stop", "too old")
	if v := b.r.MayMove(b.now); v.Age != time.Duration(250*ms+1) {
		t.Errorf("age %v", v.Age)
	}
	b.say("a", true)
	b.want("go", "")
	b.now -= 1 * ms // the vehicle's clock stepped back
	b.want("stop", "ahead of the vehicle's clock")
	b.now = math.MinInt64
	b.want("stop", "out of range")
	b.now = math.MaxInt64
	b.want("stop", "out of range")
}

func TestValidityIsCapped(t *testing.T) {
	b := underWay(t, Options{Valid: 100 * time.Millisecond})
	b.now += 100 * ms
	b.want("go", "")
	b.now++
	b.want("stop", "too old")

	b = newBench(t, Options{})
	b.say("a", false)
	for i, valid := range []string{"1.5", "-1", "1e308", "null"} { // refused as a whole
		b.r.Permit(fmt.Appendf(nil, `{"guard":"hall","session":"a","seq":%d,"go":true,"stamp":5,"valid":%s}`, 10+i, valid), false, b.now)
		b.want("stop", "withheld")
	}
	b.r.Permit([]byte(`{"guard":"hall","session":"a","seq":20,"go":true,"stamp":5,"valid":0}`), false, b.now)
	b.want("stop", "no time at all")
	if c := b.r.Counts(); c.Malformed != 4 {
		t.Errorf("counted %+v, want 4 malformed", c)
	}
}

func TestFutureStampWithdraws(t *testing.T) {
	b := underWay(t, Options{})
	b.now += ms
	p := wire.Permit{Guard: "hall", Session: "a", Seq: 10, Go: true, Stamp: b.now + 1, Valid: 1}
	b.r.Permit(p.Append(nil), false, b.now)
	b.want("stop", "ahead of the vehicle's clock")
	b.now += 10 * ms // its stamp is past now; it stays refused
	b.want("stop", "ahead of the vehicle's clock")
	if b.r.Counts().Future != 1 {
		t.Errorf("counted %+v", b.r.Counts())
	}
	// Nor does one open a session.
	p = wire.Permit{Guard: "hall", Session: "z", Seq: 1, Stamp: b.now + 1, Valid: 1}
	b.r.Permit(p.Append(nil), false, b.now)
	if s := b.r.Session(); s != "a" {
		t.Errorf("session %q taken up from the future", s)
	}
}

func TestRetainedIsRefused(t *testing.T) {
	b := newBench(t, Options{})
	no, yes := wire.Permit{Guard: "g", Session: "a", Seq: 1, Stamp: b.now, Valid: 1}, wire.Permit{Guard: "g", Session: "a", Seq: 2, Go: true, Stamp: b.now, Valid: 1}
	b.r.Permit(no.Append(nil), true, b.now)
	b.r.Permit(yes.Append(nil), true, b.now)
	b.want("stop", "no permit yet")
	b.r.Permit(no.Append(nil), false, b.now)
	b.r.Permit(yes.Append(nil), true, b.now)
	b.want("stop", "withheld")
	if b.r.Counts().Retained != 3 {
		t.Errorf("counted %+v", b.r.Counts())
	}
}

func TestReplayAndDisorderChangeNothing(t *testing.T) {
	b := newBench(t, Options{})
	first := b.say("a", false)
	second := b.say("a", true)
	b.now += 10 * ms
	third := b.say("a", false)
	for _, old := range [][]byte{second, first, second, third, second} {
		b.r.Permit(old, false, b.now)
		b.want("stop", "withheld")
	}
	b.say("a", true)
	for _, old := range [][]byte{first, third} {
		b.r.Permit(old, false, b.now)
		b.want("go", "")
	}
	if c := b.r.Counts(); c.Old != 7 || c.Permits != 4 {
		t.Errorf("counted %+v, want 7 old, 4 accepted", c)
	}
}

// A session is taken up by a fresh permit that says no, and by nothing else.
func TestSessions(t *testing.T) {
	b := newBench(t, Options{})
	b.say("a", true)
	b.want("stop", "withhold its permit once")
	b.say("a", false)
	b.want("stop", "withheld")
	b.say("a", true)
	b.want("go", "")
	b.say("b", true) // another watchdog; it has not said no
	b.want("go", "")
	stale := wire.Permit{Guard: "hall", Session: "b", Seq: 2, Stamp: b.now - 251*ms, Valid: 0.25}
	b.seq["hallb"] = 2
	b.r.Permit(stale.Append(nil), false, b.now) // a no, but an old one
	b.want("go", "")
	b.now += 251 * ms
	b.say("b", true)
	b.want("stop", "another session speaks")
	b.say("b", false) // the restarted watchdog says no first: taken up
	b.want("stop", "withheld")
	b.say("a", true) // the old one is out
	b.want("stop", "withheld")
	b.say("b", true)
	b.want("go", "")
	if b.r.Session() != "b" {
		t.Errorf("session %q", b.r.Session())
	}
}

func TestDisplacedSessionIsNotReplayed(t *testing.T) {
	b := newBench(t, Options{})
	no := b.say("a", false)
	yes := b.say("a", true)
	b.want("go", "")
	b.say("b", false)
	b.r.Permit(no, false, b.now) // all still fresh
	b.r.Permit(yes, false, b.now)
	b.want("stop", "withheld")
	if b.r.Session() != "b" {
		t.Errorf("session %q", b.r.Session())
	}
	b.say("a", false) // it lives on: back by the same door
	b.want("stop", "withheld")
	b.say("a", true)
	b.want("go", "")
}

func TestTwoDaemonsAtOddsLetNothingMove(t *testing.T) {
	b := underWay(t, Options{})
	b.say("b", false)
	for range 20 {
		b.now += 25 * ms
		b.say("a", true)
		b.want("stop", "")
		b.say("b", false)
		b.want("stop", "")
	}
}

func TestCommandLatches(t *testing.T) {
	b := underWay(t, Options{})
	want := `{"id":"c1","stamp":5,"action":"stop"}`
	if ack := b.command("c1", "stop"); ack != want {
		t.Errorf("acknowledged %s, want %s", ack, want)
	}
	b.want("stop", "stop command is latched")
	b.say("a", true) // sent before the watchdog's no, or by a watchdog gone wrong
	b.want("stop", "latched")
	b.say("a", false)
	b.want("stop", "latched")
	if ack := b.command("c1", "stop"); ack != want { // every repeat is acknowledged
		t.Errorf("repeat acknowledged %s", ack)
	}
	b.say("a", true)
	b.want("go", "")
	if ack := b.command("c1", "stop"); ack != want { // a late copy: acknowledged, not obeyed again
		t.Errorf("late copy acknowledged %s", ack)
	}
	b.want("go", "")
	b.command("c2", "stop")
	b.want("stop", "latched")
}

func TestStopGrowsIntoLandAndNotBack(t *testing.T) {
	b := underWay(t, Options{})
	b.command("c1", "stop")
	if ack := b.command("c2", "land"); !strings.Contains(ack, `"land"`) {
		t.Errorf("acknowledged %s", ack)
	}
	b.want("land", "land command is latched")
	if ack := b.command("c3", "stop"); !strings.Contains(ack, `"land"`) { // what the vehicle does now
		t.Errorf("acknowledged %s", ack)
	}
	b.want("land", "latched")
}

func TestReplayedPermitsDoNotOpenTheLatch(t *testing.T) {
	b := newBench(t, Options{})
	no := b.say("a", false)
	yes := b.say("a", true)
	b.command("c1", "stop")
	for range 3 {
		b.r.Permit(no, false, b.now)
		b.r.Permit(yes, false, b.now)
		b.want("stop", "latched")
	}
	if d := (wire.Permit{Guard: "hall", Session: "a", Seq: 9, Go: true, Stamp: b.now + 1, Valid: 1}); true {
		b.r.Permit(d.Append(nil), false, b.now) // a withdrawal for its stamp, not a no that was said
	}
	b.seq["halla"] = 9
	b.say("a", true)
	b.want("stop", "latched")
}

func TestWillStopsEveryTime(t *testing.T) {
	b := underWay(t, Options{Lost: Land})
	will := wire.Command{ID: "a-will", Seq: 1, Action: "stop", Cause: "guard-lost"}
	for range 3 {
		b.r.AllCommand(will.Append(nil), false, b.now)
		b.want("stop", "latched")
		b.say("a", false)
		b.say("a", true)
		b.want("go", "")
	}
	b.r.AllCommand(will.Append(nil), true, b.now) // retained: a halt is right at any age
	b.want("stop", "latched")
}

func TestUnreadableCommandStops(t *testing.T) {
	for _, bad := range []string{"", "stop", `{"id":"c"}`, `{"id":"c","seq":1,"action":"go","cause":"","zone":"","value":0,"limit":0,"stamp":0,"valid":0}`} {
		b := underWay(t, Options{})
		if ack := b.r.Command([]byte(bad), false, b.now); ack != nil {
			t.Errorf("%q was acknowledged: %s", bad, ack)
		}
		b.want("stop", "latched")
		b = underWay(t, Options{})
		b.r.AllCommand([]byte(bad), false, b.now)
		b.want("stop", "latched")
		b = underWay(t, Options{})
		b.r.Permit([]byte(bad), false, b.now) // the permit in force runs out by itself
		b.want("go", "")
		if b.r.Counts().Malformed != 1 {
			t.Errorf("counted %+v", b.r.Counts())
		}
	}
}

func TestSeveralGuardsAllHaveToPermit(t *testing.T) {
	b := newBench(t, Options{Guards: []string{"hall", "yard"}})
	for _, yes := range []bool{false, true} {
		b.sayAs("hall", "a", yes)
	}
	b.want("stop", "no permit yet")
	b.sayAs("third", "x", false)
	b.sayAs("third", "x", true)
	for _, yes := range []bool{false, true} {
		b.sayAs("yard", "b", yes)
	}
	b.want("go", "")
	b.now += 200 * ms
	b.sayAs("hall", "a", true)
	b.want("go", "")
	b.now += 100 * ms
	b.want("stop", "too old") // yard has fallen silent
	b.sayAs("yard", "b", true)
	b.want("go", "")
	b.command("c1", "stop")
	for _, yes := range []bool{false, true} {
		b.sayAs("hall", "a", yes)
	}
	b.want("stop", "latched") // yard has not said no yet
	for _, yes := range []bool{false, true} {
		b.sayAs("yard", "b", yes)
	}
	b.want("go", "")
	if b.r.Counts().Foreign != 2 {
		t.Errorf("counted %+v, want the third guard's two", b.r.Counts())
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for says, o := range map[string]Options{
		"at most 8":      {Guards: make([]string, MaxGuards+1)},
		"guard 1":        {Guards: []string{""}},
		"taken":          {Guards: []string{"all"}},
		"named twice":    {Guards: []string{"a", "a"}},
		"out of range":   {Valid: MaxValid + 1},
		"validity -1ns":  {Valid: -1},
		"unknown action": {Lost: Land + 1},
	} {
		if r, err := New(o); err == nil || r != nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%+v: %v, want it to say %q", o, err, says)
		}
	}
}

func TestManyCallersAtOnce(t *testing.T) {
	b := underWay(t, Options{})
	p := wire.Permit{Guard: "hall", Session: "a", Seq: 100, Go: true, Stamp: b.now, Valid: 1}
	permit := p.Append(nil)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for range 200 {
				b.r.Permit(permit, false, b.now)
				b.r.MayMove(b.now)
				b.r.Command(nil, false, b.now)
				b.r.Counts()
			}
		})
	}
	wg.Wait()
	if c := b.r.Counts(); c.Malformed != 800 || c.Permits != 3 || c.Old != 799 {
		t.Errorf("counted %+v", c)
	}
}

func TestNoAllocationAPermitOrATurn(t *testing.T) {
	b := underWay(t, Options{})
	var permits [300][]byte
	for i := range permits {
		p := wire.Permit{Guard: "hall", Session: "a", Seq: uint64(100 + i), Go: true, Stamp: b.now, Valid: 1}
		permits[i] = p.Append(nil)
	}
	i := 0
	if n := testing.AllocsPerRun(200, func() {
		b.r.Permit(permits[i], false, b.now)
		i++
		if !b.r.MayMove(b.now).Go {
			t.Fatal("no go")
		}
	}); n != 0 {
		t.Errorf("%v allocations, want none", n)
	}
}
