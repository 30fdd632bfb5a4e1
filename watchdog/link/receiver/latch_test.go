package receiver

import (
	"testing"

	"pinfold/watchdog/link/wire"
)

// A late copy of a lesser command takes nothing back, and every command that was
// let go of is known again, not the newest alone.
func TestLateCopiesOfSeveralCommands(t *testing.T) {
	b := underWay(t, Options{})
	b.command("c1", "stop")
	b.command("c2", "land")
	b.command("c1", "stop")
	b.want("land", "land command is latched")
	b.say("a", false)
	b.say("a", true)
	b.want("go", "")
	for _, id := range []string{"c1", "c2", "c1"} {
		b.command(id, "stop")
		b.want("go", "")
	}
}

// The last no of a displaced session, said again while it is fresh, takes nothing
// over.
func TestLastNoOfADisplacedSessionTakesNothingOver(t *testing.T) {
	b := newBench(t, Options{})
	no := b.say("a", false)
	for _, yes := range []bool{false, true} {
		b.say("b", yes)
	}
	b.want("go", "")
	b.r.Permit(no, false, b.now)
	b.want("go", "")
}

// A land holds until every guard has said no and then yes, freshly: until then
// the vehicle lands, and does not merely stop.
func TestLandHoldsUntilEveryGuardSaysYes(t *testing.T) {
	b := newBench(t, Options{Guards: []string{"hall", "yard"}})
	say := func(guard string, all ...bool) {
		for _, yes := range all {
			b.sayAs(guard, "s", yes)
		}
	}
	say("hall", false, true)
	say("yard", false, true)
	b.now += 100 * ms
	say("yard", true)
	if v := b.r.MayMove(b.now); !v.Go || v.Age != 100e6 {
		t.Errorf("%+v, want a go as old as the older permit", v)
	}
	b.command("c1", "land")
	say("yard", false)
	say("hall", false, true)
	b.want("land", "land command is latched")
	b.seq["yards"]++ // from the future: no yes, by which hall's would open the latch
	ahead := wire.Permit{Guard: "yard", Session: "s", Seq: b.seq["yards"], Go: true, Stamp: b.now + 10*ms, Valid: 0.25}
	b.r.Permit(ahead.Append(nil), false, b.now)
	say("hall", true)
	b.want("land", "land command is latched")
	b.now += 20 * ms
	say("yard", true)
	b.want("go", "")
}
