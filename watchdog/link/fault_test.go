package link

import (
	"cmp"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/wire"
)

// TestManyReconnectsLeaveNothingBehind: 200 connections, half of them lost to a
// dead broker's closed socket, half renewed; PINFOLD_RECONNECTS says how many.
func TestManyReconnectsLeaveNothingBehind(t *testing.T) {
	b := embedded(t)
	p := joined(t, b.url, nil, "x")
	s := p.slot(t, "x", 1, true)
	s.Put([]byte("state"), 0)
	const warm = 10
	rounds, err := strconv.Atoi(cmp.Or(os.Getenv("PINFOLD_RECONNECTS"), "200"))
	if err != nil || rounds < 1 {
		t.Fatalf("PINFOLD_RECONNECTS=%q; give a number of connections", os.Getenv("PINFOLD_RECONNECTS"))
	}
	base, before := 0, uint64(0)
	for i := range warm + rounds {
		if i == warm {
			base, before = settled(), heap()
		}
		n := len(p.tale())
		if i%2 == 0 {
			_ = p.session.conn.Load().Close() // no other goroutine writes session while it is up
		} else {
			p.Renew("test")
		}
		eventually(t, "the next connection", func() bool { return len(p.tale()) == n+2 && p.Up() })
	}
	if n := settled(); n > base+2 {
		buf := make([]byte, 1<<20)
		t.Errorf("%d goroutines before, %d after %d reconnections:\n%s", base, n, rounds, buf[:runtime.Stack(buf, true)])
	}
	// The test's own list of what the link told takes some of it.
	after := heap()
	t.Logf("%d goroutines and %d KiB before, %d and %d KiB after %d reconnections", base, before>>10, settled(), after>>10, rounds)
	if most := before + 1<<20 + uint64(rounds)*200; after > most {
		t.Errorf("%d bytes in use before, %d after %d reconnections", before, after, rounds)
	}
}

// heap is what is in use, bytes, once nothing more can be freed.
func heap() uint64 {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// settled is the number of goroutines once it no longer falls.
func settled() int {
	n := runtime.NumGoroutine()
	for quiet := 0; quiet < 20; time.Sleep(10 * time.Millisecond) {
		if m := runtime.NumGoroutine(); m < n {
			n, quiet = m, 0
		} else {
			quiet++
		}
	}
	return n
}

func TestClosedClientLeavesNoGoroutine(t *testing.T) {
	b := embedded(t)
	keep := joined(t, b.url, nil, "x") // the broker's own goroutines settle with it
	base := settled()
	for range 20 {
		p := joined(t, b.url, nil, "x")
		if err := p.Close(5 * time.Second); err != nil {
			t.Fatal(err)
		}
	}
	if n := settled(); n > base+2 {
		t.Errorf("%d goroutines before, %d after 20 clients", base, n)
	}
	if !keep.Up() {
		t.Error("the bystander lost its link")
	}
}

// TestFrozenBroker: nothing blocks while the broker is frozen, and the loss is
// noticed. What had left this side before that may still come out of the
// broker's own socket when it goes on; the receiver refuses it by its stamp.
// Nothing else that is old comes.
func TestFrozenBroker(t *testing.T) {
	t.Parallel()
	b := mosquittotest.Start(t)
	hears, says := joined(t, b.URL, nil, "permit"), joined(t, b.URL, nil)
	s := says.slot(t, "permit", 0, false)
	seq := uint64(0)
	grant := func(yes bool) {
		seq++
		p := wire.Permit{Guard: "g", Session: "s", Seq: seq, Go: yes, Stamp: int64(sinceStart()), Valid: 0.1}
		s.Put(p.Append(nil), sinceStart()+50*time.Millisecond)
	}
	vehicle, err := receiver.New(receiver.Options{})
	if err != nil {
		t.Fatal(err)
	}
	grant(false)
	m := hears.next(t)
	vehicle.Permit(m.Payload, m.Retained, int64(sinceStart()))

	b.Stop()
	frozen := sinceStart()
	slowest := time.Duration(0)
	for says.Up() && sinceStart() < frozen+10*time.Second {
		before := sinceStart()
		grant(true)
		slowest = max(slowest, sinceStart()-before)
		time.Sleep(5 * time.Millisecond)
	}
	if says.Up() {
		t.Fatal("the loss was not noticed within 10 s")
	}
	noticed := sinceStart()
	if slowest > 50*time.Millisecond {
		t.Errorf("a Put took %v", slowest)
	}
	for range 20 {
		grant(true) // while down: never delivered
		time.Sleep(10 * time.Millisecond)
	}
	eventually(t, "the subscriber to notice", func() bool { return !hears.Up() })
	b.Cont()
	thawed := sinceStart()
	says.waitUp(t)
	hears.waitUp(t)
	for range 50 {
		grant(true)
		time.Sleep(5 * time.Millisecond)
	}
	old, fresh, newest := 0, 0, time.Duration(0) // an old one may come between fresh ones
	for hears.in.Take(&m) {
		p, err := wire.DecodePermit(m.Payload)
		if err != nil {
			t.Fatal(err)
		}
		stamp := time.Duration(p.Stamp)
		if stamp > noticed && stamp < thawed {
			t.Errorf("a permit of %v after the loss was noticed was delivered", stamp-noticed)
		}
		vehicle.Permit(m.Payload, m.Retained, int64(m.Arrived))
		v := vehicle.MayMove(int64(m.Arrived))
		if stamp < thawed {
			if old++; v.Go && v.Age != m.Arrived-newest {
				t.Errorf("a permit %v old let the vehicle go", v.Age)
			}
			continue
		}
		newest = max(newest, stamp)
		if fresh++; m.Arrived-stamp < 100*time.Millisecond && !v.Go {
			t.Errorf("a fresh permit did not let the vehicle go: %s", v.Why)
		}
	}
	if fresh == 0 {
		t.Error("nothing came after the outage")
	}
	t.Logf("noticed after %v, slowest Put %v, %d old permits out of the broker's socket, all refused", noticed-frozen, slowest, old)
}

// A loop that was held up finds the newest poses, not the backlog.
func TestHeldUpLoopFindsTheNewest(t *testing.T) {
	t.Parallel()
	brokers(t, func(t *testing.T, b faulty) {
		hears, says := joined(t, b.url, nil, "pose"), joined(t, b.url, nil)
		s := says.slot(t, "pose", 0, false)
		const poses = 200
		for i := range poses {
			n := says.Stats().Sent
			s.Put(fmt.Append(nil, i), soon())
			eventually(t, "it to leave", func() bool { return says.Stats().Sent > n })
		}
		eventually(t, "all to arrive", func() bool { return hears.in.Dropped() == poses-DefaultDepth })
		var m Message
		for i := poses - DefaultDepth; i < poses; i++ {
			if !hears.in.Take(&m) || string(m.Payload) != fmt.Sprint(i) {
				t.Fatalf("want pose %d, got %q", i, m.Payload)
			}
		}
	})
}
