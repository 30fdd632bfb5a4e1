package app

import (
	"context"
	"encoding/json"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/link"
)

// A site file that takes for ever to read holds up no stop.
func TestTheEndDoesNotWaitForAReload(t *testing.T) {
	b := start(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	reload, reading, release := make(chan struct{}), make(chan struct{}), make(chan struct{})
	defer close(release)
	var o told
	ended := make(chan error, 1)
	go func() {
		_, err := Run(ctx, Options{Site: parse(t, b.URL()), TrailDir: t.TempDir(), Say: o.say, Reload: reload,
			Load: func() (*config.Site, error) { close(reading); <-release; return nil, errors.New("too late") }})
		ended <- err
	}()
	reload <- struct{}{}
	<-reading
	begun := time.Now()
	cancel()
	select {
	case err := <-ended:
		if err != nil {
			t.Error(err)
		}
	case <-time.After(4 * time.Second):
		t.Fatal("the guard did not end within 4 s")
	}
	if d := time.Since(begun); d > 2*time.Second { // closing a session takes as long as its seal
		t.Errorf("the end took %v", d)
	}
}

// Reloads go on, one at a time, where one failed.
func TestReloadsGoOn(t *testing.T) {
	b := start(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	reload := make(chan struct{})
	var o told
	var loads atomic.Int64
	ended := make(chan error, 1)
	go func() {
		_, err := Run(ctx, Options{Site: parse(t, b.URL()), TrailDir: t.TempDir(), Say: o.say, Reload: reload,
			Load: func() (*config.Site, error) {
				if loads.Add(1) == 1 {
					return nil, errors.New("a slip of the pen\nand another")
				}
				return parse(t, b.URL()), nil
			}})
		ended <- err
	}()
	reload <- struct{}{}
	eventually(t, "the first reload fails", func() bool { return o.has("not taken, the old one stays in force: a slip of the pen; and another") })
	reload <- struct{}{}
	eventually(t, "the second is taken", func() bool { return o.has("the new site file is in force") })
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// What the inbox had to drop stands in the trail: how much of what, since when.
func TestDroppedMessagesAreRecorded(t *testing.T) {
	b := start(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	flooded, hold := make(chan struct{}), make(chan struct{})
	var shown atomic.Int64
	var o told
	type end struct {
		res Result
		err error
	}
	ended := make(chan end, 1)
	go func() {
		res, err := Run(ctx, Options{Site: parse(t, b.URL()), TrailDir: t.TempDir(), Say: o.say, Watch: func(int, *watchdog.Snapshot) {
			if shown.Add(1) == 3 { // the loop is held up, as by a machine without breath
				close(hold)
				<-flooded
			}
		}})
		ended <- end{res, err}
	}()
	<-hold
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: b.URL(), ClientID: "flood", Now: func() time.Duration { return time.Since(begun) }})
	if err != nil {
		t.Fatal(err)
	}
	eventually(t, "the flood's link is up", c.Up)
	const extra = 60
	for range poseDepth + extra {
		if err := c.PublishNow("pinfold/mole/pose", []byte("{}"), 0, false, 5*time.Second); err != nil {
			t.Fatal(err)
		}
	}
	_ = c.Close(time.Second)
	time.Sleep(300 * time.Millisecond) // for the broker to hand them over
	close(flooded)
	eventually(t, "the drop is said", func() bool { return o.has("messages were dropped since") })
	cancel()
	e := <-ended
	if e.err != nil {
		t.Fatal(e.err)
	}
	bodies := kinds(t, e.res.Session.Folder, "dropped")
	if len(bodies) != 1 {
		t.Fatalf("%d records of drops: %q", len(bodies), bodies)
	}
	var d Dropped
	if err := json.Unmarshal([]byte(bodies[0]), &d); err != nil || d.Poses != extra || d.Total != extra || d.Acks+d.Requests != 0 || d.Since <= 0 {
		t.Errorf("recorded %s, %v; want %d poses", bodies[0], err, extra)
	}
}
