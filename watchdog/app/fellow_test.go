package app

import (
	"context"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// What a fellow says, in order, and what it withdraws by it.
func TestFellowWithdraws(t *testing.T) {
	f := newFellows([]string{"hall-2"}).of("hall-2")
	for i, c := range []struct {
		session string
		seq     uint64
		yes     bool
		want    string
	}{
		{"a", 1, false, ""},
		{"a", 2, false, ""},
		{"a", 3, true, ""},
		{"a", 4, true, ""},
		{"a", 2, false, ""}, // late, or said again by somebody
		{"a", 5, false, "withdrew its permit"},
		{"a", 6, false, ""}, // once
		{"a", 7, true, ""},
		{"b", 1, false, "began a new session"},
		{"b", 2, true, ""},
		{"b", wire.MaxSeq, false, "ended"},
	} {
		p := wire.Permit{Guard: "hall-2", Session: c.session, Seq: c.seq, Go: c.yes}
		if got := f.hear(&p, time.Duration(i)); got != c.want {
			t.Errorf("permit %d: %q, want %q", i, got, c.want)
		}
	}
}

func TestFellowFallsSilentOnce(t *testing.T) {
	f := newFellows([]string{"hall-2"}).of("hall-2")
	if f.lost(time.Hour) {
		t.Error("one that was never heard permitted nothing that could be lost")
	}
	f.hear(&wire.Permit{Session: "a", Seq: 1, Go: true}, time.Minute)
	if f.lost(time.Minute + fellowSilent) {
		t.Error("lost at the bound")
	}
	if !f.lost(time.Minute+fellowSilent+1) || f.lost(2*time.Minute) {
		t.Error("not lost once after the bound")
	}
}

// A start that names another guard is not this one's; a halt is everybody's.
func TestRequestsForAnother(t *testing.T) {
	k := listening("hall-2")
	k.cfg.Guard = "hall-1"
	for _, c := range []struct {
		ask, guard string
		another    bool
	}{{"start", "hall-2", true}, {"reset", "hall-2", true}, {"start", "hall-1", false}, {"start", "", false}, {"stop", "hall-2", false}, {"land", "hall-2", false}} {
		r := wire.Request{Ask: c.ask, Guard: c.guard, Nonce: "n"}
		if got := k.forAnother(&link.Message{Payload: r.Append(nil)}); got != c.another {
			t.Errorf("%s for %q: %v", c.ask, c.guard, got)
		}
	}
	r := wire.Request{Ask: "start", Guard: "hall-2", Nonce: "n"}
	k.message(&link.Message{Sub: subRequest, Payload: r.Append(nil)}) // nothing of it comes to the core, of which there is none here
	if k.forAnother(&link.Message{Payload: []byte("{")}) {
		t.Error("what cannot be read is the core's to refuse")
	}
}

// With several nodes the state has a connection of its own, and the guard runs and
// ends as ever, leaving its last state behind; the second node may be dead.
func TestGuardOnABrokerOfSeveralNodes(t *testing.T) {
	b := start(t)
	site := parse(t, b.URL())
	site.Broker.More = []string{"mqtt://127.0.0.1:9"}
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	states := make(chan struct{}, 1000)
	go func() {
		for range 3 {
			select {
			case <-states:
			case <-time.After(20 * time.Second):
			}
		}
		cancel()
	}()
	res, err := Run(ctx, Options{Site: site, TrailDir: t.TempDir(), Watch: func(_ int, s *watchdog.Snapshot) {
		if s.Link {
			select {
			case states <- struct{}{}:
			default:
			}
		}
	}})
	if err != nil {
		t.Fatal(err)
	}
	kept, err := link.NewInbox(link.Queue{Max: wire.StateMax})
	if err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: b.URL(), ClientID: "late", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: "pinfold/mole/state", QoS: 1, Inbox: kept}}})
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(time.Second) //nolint:errcheck // nothing is to arrive any more
	var m link.Message
	eventually(t, "the kept state", func() bool { return kept.Take(&m) && m.Retained })
	if st, err := wire.DecodeState(m.Payload); err != nil || st.Session != res.Session.ID || st.Go {
		t.Errorf("%+v, %v", st, err)
	}
}
