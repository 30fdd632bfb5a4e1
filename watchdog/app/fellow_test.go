package app

import (
	"testing"
	"time"

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
	if k.forAnother(&link.Message{Payload: []byte("{")}) {
		t.Error("what cannot be read is the core's to refuse")
	}
}
