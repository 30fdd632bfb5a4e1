package receiver

import (
	"strings"
	"testing"

	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

func topicsOf(t testing.TB, vehicle string) wire.TopicSet {
	t.Helper()
	topics, err := wire.Topics(wire.DefaultPrefix, vehicle)
	if err != nil {
		t.Fatal(err)
	}
	return topics
}

// keyed is wren's receiver with a key, and what its guard signs with.
type keyed struct {
	*bench
	key    *sign.Key
	topics wire.TopicSet
}

func newKeyed(t *testing.T, key *sign.Key) *keyed {
	t.Helper()
	topics := topicsOf(t, "wren")
	return &keyed{newBench(t, Options{Key: key, Topics: topics, Lost: Land}), key, topics}
}

// permit is the next permit of session a, signed for a topic.
func (k *keyed) permit(key *sign.Key, topic string, yes bool) []byte {
	k.seq["halla"]++
	p := wire.Permit{Guard: "hall", Session: "a", Seq: k.seq["halla"], Go: yes, Stamp: k.now, Valid: 0.25}
	return sign.New(key, topic).Sign(p.Append(nil))
}

// underWay has the vehicle move, and gives the two permits by which it does.
func (k *keyed) underWay() (no, yes []byte) {
	k.t.Helper()
	no, yes = k.permit(k.key, k.topics.Permit, false), k.permit(k.key, k.topics.Permit, true)
	k.r.Permit(no, false, k.now)
	k.r.Permit(yes, false, k.now)
	k.want("go", "")
	return no, yes
}

func TestOnlySignedPermitsCount(t *testing.T) {
	k := newKeyed(t, sign.NewKey())
	mole := topicsOf(t, "mole")
	for what, by := range map[string]struct {
		key   *sign.Key
		topic string
	}{
		"unsigned":           {nil, ""},
		"another key":        {sign.NewKey(), k.topics.Permit},
		"another vehicle's":  {k.key, mole.Permit},
		"a command's":        {k.key, k.topics.Command},
		"another site's":     {k.key, "yard/wren/permit"},
		"everybody's":        {k.key, k.topics.AllCommand},
		"the topic's prefix": {k.key, "pinfold/wren/permi"},
	} {
		before := k.r.Counts().Unsigned
		k.r.Permit(k.permit(by.key, by.topic, false), false, k.now)
		k.r.Permit(k.permit(by.key, by.topic, true), false, k.now)
		if v := k.r.MayMove(k.now); v.Go || v.Why != "no permit yet" {
			t.Errorf("%s: %+v", what, v)
		}
		if n := k.r.Counts().Unsigned - before; n != 2 {
			t.Errorf("%s: %d counted as unsigned, want 2", what, n)
		}
	}
	k.underWay()
	k.r.Permit(k.permit(nil, "", false), false, k.now) // nor does an unsigned one withdraw anything
	k.want("go", "")
	k.now += 251 * ms
	k.want("land", "too old")
}

// What was signed once is not good again: late, repeated, of a session that was
// displaced, or retained.
func TestSignedPermitsAreNotReplayed(t *testing.T) {
	k := newKeyed(t, sign.NewKey())
	no, yes := k.underWay()
	k.r.Permit(k.permit(k.key, k.topics.Permit, false), false, k.now)
	k.want("land", "withheld")
	for range 2 {
		k.r.Permit(no, false, k.now)
		k.r.Permit(yes, false, k.now)
		k.want("land", "withheld")
	}
	k.r.Permit(k.permit(k.key, k.topics.Permit, true), true, k.now)
	k.want("land", "withheld")
	again := newKeyed(t, k.key) // the vehicle's board starts again, and its clock goes on
	again.now = k.now + 251*ms
	again.r.Permit(no, false, again.now)
	again.r.Permit(yes, false, again.now)
	again.want("land", "session has to withhold its permit once, freshly")
}

// What signatures cannot do: a clock that begins at nought with the board comes to
// the same instant again, and a receiver that begins with it remembers nothing.
// Against this, a clock that does not repeat, as docs/link.md says.
func TestClockThatStartsAnewTakesWhatItTookThen(t *testing.T) {
	key := sign.NewKey()
	before := newKeyed(t, key)
	no, yes := before.underWay()
	repeats := newKeyed(t, key)
	repeats.r.Permit(no, false, repeats.now)
	repeats.r.Permit(yes, false, repeats.now)
	repeats.want("go", "")
	drawn := newKeyed(t, key) // counts from a number drawn at its start
	drawn.now += 86_400_000 * ms
	drawn.r.Permit(no, false, drawn.now)
	drawn.r.Permit(yes, false, drawn.now)
	drawn.want("land", "")
}

// An unsigned command stops, whatever it says, and is not acknowledged.
func TestUnsignedCommandStops(t *testing.T) {
	land := wire.Command{ID: "c1", Seq: 1, Action: wire.Land, Cause: "zone"}
	for what, by := range map[string]struct {
		other bool // key
		topic string
		hear  func(k *keyed, b []byte) []byte
	}{
		"unsigned":                {false, "", (*keyed).hearCommand},
		"another key":             {true, "pinfold/wren/command", (*keyed).hearCommand},
		"another vehicle's":       {false, "pinfold/mole/command", (*keyed).hearCommand},
		"a permit's":              {false, "pinfold/wren/permit", (*keyed).hearCommand},
		"to all, unsigned":        {false, "", (*keyed).hearAll},
		"to all, as wren's alone": {false, "pinfold/wren/command", (*keyed).hearAll},
	} {
		k := newKeyed(t, sign.NewKey())
		k.underWay()
		key := k.key
		if by.other {
			key = sign.NewKey()
		}
		b := land.Append(nil)
		if by.topic != "" {
			b = sign.New(key, by.topic).Sign(b)
		}
		if ack := by.hear(k, b); ack != nil {
			t.Errorf("%s: acknowledged %s", what, ack)
		}
		k.want("stop", "a stop command is latched")
		if c := k.r.Counts(); c.Unsigned != 1 || c.Commands != 0 {
			t.Errorf("%s: counted %+v", what, c)
		}
		k.underWay() // and opens like any latch
	}
}

func (k *keyed) hearCommand(b []byte) []byte { return k.r.Command(b, false, k.now) }

func (k *keyed) hearAll(b []byte) []byte {
	k.r.AllCommand(b, false, k.now)
	return nil
}

func TestSignedCommandIsObeyedAndAcknowledged(t *testing.T) {
	k := newKeyed(t, sign.NewKey())
	k.underWay()
	land := wire.Command{ID: "c1", Seq: 1, Action: wire.Land, Cause: "zone"}
	signed := sign.New(k.key, k.topics.Command).Sign(land.Append(nil))
	ack := k.hearCommand(signed)
	if !sign.New(k.key, k.topics.Ack).Check(ack) || !strings.Contains(string(ack), `"action":"land"`) {
		t.Errorf("acknowledged %s", ack)
	}
	if a, err := wire.DecodeAck(ack); err != nil || a.ID != "c1" {
		t.Errorf("a reader without a key: %+v, %v", a, err)
	}
	k.want("land", "a land command is latched")
	k.underWay()
	k.hearCommand(signed) // said again by somebody: a late copy
	k.want("go", "")
	will := wire.Command{ID: "a-will", Seq: 1, Action: wire.Stop, Cause: "guard-lost"}
	k.hearAll(sign.New(k.key, k.topics.AllCommand).Sign(will.Append(nil)))
	k.want("stop", "latched")
	if c := k.r.Counts(); c.Unsigned != 0 || c.Commands != 3 {
		t.Errorf("counted %+v", c)
	}
}

// A receiver without a key reads what is signed as it reads the rest.
func TestWithoutAKeySignaturesArePassedOver(t *testing.T) {
	b := newBench(t, Options{})
	k := &keyed{b, sign.NewKey(), topicsOf(t, "wren")}
	k.underWay()
}

func TestKeyNeedsTopics(t *testing.T) {
	if r, err := New(Options{Key: sign.NewKey()}); err == nil || r != nil || !strings.Contains(err.Error(), "give Options.Topics") {
		t.Errorf("%v", err)
	}
}

func TestNoAllocationASignedPermit(t *testing.T) {
	k := newKeyed(t, sign.NewKey())
	k.underWay()
	var permits [300][]byte
	for i := range permits {
		permits[i] = k.permit(k.key, k.topics.Permit, true)
	}
	i := 0
	if n := testing.AllocsPerRun(200, func() {
		k.r.Permit(permits[i], false, k.now)
		i++
		if !k.r.MayMove(k.now).Go {
			t.Fatal("no go")
		}
	}); n != 0 {
		t.Errorf("%v allocations, want none", n)
	}
}

// FuzzKeyedReceiver: whatever is said without the key, at whatever instant, a
// vehicle that stands is not set going, and one that goes is not kept going.
func FuzzKeyedReceiver(f *testing.F) {
	key, topics := sign.NewKey(), topicsOf(f, "wren")
	permit, command := sign.New(key, topics.Permit), sign.New(key, topics.Command)
	p := wire.Permit{Guard: "hall", Session: "a", Seq: 1, Stamp: 5, Valid: 1}
	f.Add(p.Append(nil), uint8(0), int64(5))
	p.Go, p.Seq = true, 2
	f.Add(p.Append(nil), uint8(0), int64(5))
	f.Add(sign.New(sign.NewKey(), topics.Permit).Sign(p.Append(nil)), uint8(0), int64(5))
	f.Add([]byte(`{"id":"c","seq":1,"action":"land","cause":"","zone":"","value":0,"limit":0,"stamp":0,"valid":0}`), uint8(1), int64(7))
	f.Fuzz(func(t *testing.T, payload []byte, topic uint8, now int64) {
		if permit.Check(payload) || command.Check(payload) {
			t.Skip("drawn with the key")
		}
		r, err := New(Options{Key: key, Topics: topics})
		if err != nil {
			t.Fatal(err)
		}
		say := func(at int64) {
			switch topic % 3 {
			case 0:
				r.Permit(payload, false, at)
			case 1:
				r.Command(payload, false, at)
			case 2:
				r.AllCommand(payload, false, at)
			}
		}
		say(now)
		if r.MayMove(now).Go {
			t.Fatalf("%q sets the vehicle going", payload)
		}
		for seq := range uint64(2) {
			p := wire.Permit{Guard: "hall", Session: "b", Seq: seq + 1, Go: seq > 0, Stamp: 1000, Valid: 1}
			r.Permit(permit.Sign(p.Append(nil)), false, 1000)
		}
		say(1000)
		if halts := topic%3 != 0; r.MayMove(1000).Go == halts {
			t.Fatalf("%q, topic %d: may move %v", payload, topic%3, !halts)
		}
		if r.MayMove(1000 + int64(MaxValid) + 1).Go {
			t.Fatalf("%q keeps the vehicle going", payload)
		}
	})
}

// BenchmarkPermit is what a permit costs the vehicle, signed and not.
func BenchmarkPermit(b *testing.B) {
	topics := topicsOf(b, "wren")
	for name, key := range map[string]*sign.Key{"signed": sign.NewKey(), "unsigned": nil} {
		b.Run(name, func(b *testing.B) {
			r, err := New(Options{Key: key, Topics: topics})
			if err != nil {
				b.Fatal(err)
			}
			p := wire.Permit{Guard: "hall", Session: "4f1d20a7", Seq: 1, Stamp: 1_512_318_402_000, Valid: 0.25}
			payload := sign.New(key, topics.Permit).Sign(p.Append(nil))
			b.ReportAllocs()
			for b.Loop() { // the first is taken up, the rest are old: both are read and checked
				r.Permit(payload, false, p.Stamp)
			}
		})
	}
}
