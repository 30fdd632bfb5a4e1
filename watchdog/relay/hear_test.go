package relay

import (
	"context"
	"testing"
	"time"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/sign"
	"pinfold/watchdog/link/wire"
)

// counting is an output that counts, and calls then at every turn.
type counting struct {
	sets int
	then func()
}

func (c *counting) Set(receiver.Verdict) error {
	c.sets++
	c.then()
	return nil
}

func (c *counting) Close() error { return nil }

// opened is a relay that is not connected to anything.
func opened(t *testing.T, key *sign.Key, clock func() int64) *relay {
	t.Helper()
	r := &relay{opt: Options{Prefix: "pinfold", Vehicle: "wren", Key: key, Clock: clock, Link: link.Options{URL: "mqtt://127.0.0.1:1"}}}
	if err := r.open(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = r.client.Close(0) }) // it never was connected
	return r
}

// However many messages come, the output is set between them.
func TestFloodDoesNotHoldTheOutput(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var r *relay
	heard := 0
	out := &counting{}
	r = opened(t, nil, func() int64 {
		if heard++; heard < 2000 { // for each that is heard, one more
			r.inbox.Put(hearPermit, "pinfold/wren/permit", []byte("{"), 0)
		}
		return 0
	})
	most, since := 0, 0
	out.then = func() {
		most, since = max(most, heard-since), heard
		if heard >= 2000 {
			cancel()
		}
	}
	r.opt.Output = out
	if err := r.loop(ctx); err != nil {
		t.Fatal(err)
	}
	if out.sets < 2000/(burst+1) || most > burst+1 {
		t.Errorf("%d messages heard and the output set %d times, at most %d between two", heard, out.sets, most)
	}
}

// What the relay hears comes to the receiver as it is: with its mark as retained, at
// the instant it is looked at, held to the key.
func TestRelayPassesOnWhatItHears(t *testing.T) {
	now := int64(5 * time.Second)
	no := wire.Permit{Guard: "hall", Session: "a", Seq: 1, Stamp: now, Valid: 0.25}
	late := no
	late.Stamp -= int64(300 * time.Millisecond)
	for name, c := range map[string]struct {
		key  *sign.Key
		m    link.Message
		want receiver.Counts
	}{
		"a permit":         {nil, link.Message{Payload: no.Append(nil)}, receiver.Counts{Permits: 1}},
		"one retained":     {nil, link.Message{Payload: no.Append(nil), Retained: true}, receiver.Counts{Retained: 1}},
		"one that waited":  {nil, link.Message{Payload: late.Append(nil)}, receiver.Counts{Foreign: 1}},
		"one cut":          {nil, link.Message{Payload: no.Append(nil), TooLarge: true}, receiver.Counts{Malformed: 1}},
		"one unsigned":     {sign.NewKey(), link.Message{Payload: no.Append(nil)}, receiver.Counts{Unsigned: 1}},
		"an odd command":   {nil, link.Message{Sub: hearCommand, Payload: []byte("{")}, receiver.Counts{Malformed: 1}},
		"an odd word":      {nil, link.Message{Sub: hearAll, Payload: []byte("{")}, receiver.Counts{Malformed: 1}},
		"unsigned command": {sign.NewKey(), link.Message{Sub: hearAll, Payload: []byte("{}")}, receiver.Counts{Unsigned: 1}},
	} {
		r := opened(t, c.key, func() int64 { return now })
		r.hear(&c.m)
		if got := r.rec.Counts(); got != c.want {
			t.Errorf("%s: counted %+v, want %+v", name, got, c.want)
		}
	}
}
