package app

import (
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/intake"
)

func TestMailTellsOfALossThatWasHealedMeanwhile(t *testing.T) {
	m := newMail()
	m.setLink(false)
	m.setLink(true)
	m.setDurable(7, true)
	m.setTrail(true)
	got := m.take(nil)
	if len(got) != 4 {
		t.Fatalf("%d entries, want link lost, link up, trail up, durable: %+v", len(got), got)
	}
	want := []struct {
		kind  watchdog.EventKind
		flags uint8
	}{{watchdog.EvLink, 0}, {watchdog.EvLink, intake.Up}, {watchdog.EvTrail, intake.Up}, {watchdog.EvDurable, intake.Failed}}
	for i, w := range want {
		if got[i].Kind != uint8(w.kind) || got[i].Flags != w.flags {
			t.Errorf("entry %d is kind %d flags %d, want %d and %d", i, got[i].Kind, got[i].Flags, w.kind, w.flags)
		}
	}
	if ev, err := got[3].Event(); err != nil || ev.Token != 7 || !ev.Failed {
		t.Errorf("the durable entry reads as %+v, %v", ev, err)
	}
	if again := m.take(nil); len(again) != 0 {
		t.Errorf("taken twice: %+v", again)
	}
	m.setLink(true) // the same again is still told: the core ignores it
	if again := m.take(nil); len(again) != 1 || again[0].Flags != intake.Up {
		t.Errorf("link up again gave %+v", again)
	}
}

func TestFlowWatchWaitsTwiceAsLongEachTime(t *testing.T) {
	f := flowWatch{}
	if f.due(time.Hour) {
		t.Error("due although the link is down")
	}
	f.link(true, 0)
	var tries []time.Duration
	for now := time.Duration(0); now < 2*time.Minute; now += 100 * time.Millisecond {
		if f.due(now) {
			tries = append(tries, now)
		}
	}
	want := []time.Duration{1500 * time.Millisecond, 4500 * time.Millisecond, 10500 * time.Millisecond, 22500 * time.Millisecond, 46500 * time.Millisecond, 94500 * time.Millisecond}
	if len(tries) != len(want) {
		t.Fatalf("tries at %v, want %v", tries, want)
	}
	for i := range want {
		if tries[i] != want[i] {
			t.Errorf("try %d at %v, want %v", i, tries[i], want[i])
		}
	}
	f.pose(2 * time.Minute)
	if f.due(2*time.Minute + flowAfter - time.Millisecond) {
		t.Error("due soon after a pose")
	}
	if !f.due(2*time.Minute + flowAfter) {
		t.Error("not due in time after the last pose: the patience should be short again")
	}
}

// counted is a service manager that counts.
type counted struct {
	alive atomic.Int64
	fail  error
}

func (c *counted) Ready() error     { return nil }
func (c *counted) Stopping() error  { return nil }
func (c *counted) Reloading() error { return nil }
func (c *counted) Alive() error {
	c.alive.Add(1)
	return c.fail
}
func (c *counted) Every() time.Duration { return 300 * time.Millisecond }

func TestHeartBeatsOnlyWhileEveryLoopJudges(t *testing.T) {
	c := &counted{}
	h := newHeart(c, 2, func(error) {})
	for now := time.Duration(0); now < time.Second; now += 10 * time.Millisecond {
		h.beat(0, now)
	}
	if n := c.alive.Load(); n != 0 {
		t.Errorf("%d pings although loop 1 never judged", n)
	}
	for now := time.Second; now < 2*time.Second; now += 10 * time.Millisecond {
		h.beat(0, now)
		h.beat(1, now)
		time.Sleep(100 * time.Microsecond)
	}
	h.stop()
	// Once every 100 ms at most: Every is 300 ms, and a third of it is kept.
	if n := c.alive.Load(); n < 2 || n > 11 {
		t.Errorf("%d pings in a second, want about 10", n)
	}
}

func TestHeartSaysThatItIsNotHeard(t *testing.T) {
	c := &counted{fail: errors.New("no socket")}
	said := make(chan error, 100)
	h := newHeart(c, 1, func(err error) { said <- err })
	for now := time.Duration(0); now < time.Second; now += 10 * time.Millisecond {
		h.beat(0, now)
		time.Sleep(100 * time.Microsecond)
	}
	h.stop()
	if len(said) != 1 {
		t.Errorf("said %d times, want once", len(said))
	}
}
