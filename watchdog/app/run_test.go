package app

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/sim/broker"
	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/trail"
)

const site = `
[site]
name = "Test hall"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = %q
[[zone]]
name = "hall"
kind = "keep-in"
floor = 0.0
ceiling = 3.0
polygon = [[0,0],[7,0],[7,5],[0,5]]
[[vehicle]]
name = "mole"
kind = "rover"
radius = 0.3
height = 0.4
[vehicle.pose]
axes = "z-up"
max_age = "100ms"
[vehicle.limits]
speed = 1.0
[vehicle.stopping]
reaction = "150ms"
deceleration = 1.2
margin = 0.10
`

func parse(t *testing.T, url string) *config.Site {
	t.Helper()
	s, err := config.Parse("site.toml", fmt.Appendf(nil, site, url), func(name string) ([]byte, error) { return nil, os.ErrNotExist })
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func start(t *testing.T) *broker.Broker {
	t.Helper()
	b, err := broker.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// commands counts the commands that a bystander hears.
func commands(t *testing.T, url, topic string) *atomic.Int64 {
	t.Helper()
	inbox, err := link.NewInbox()
	if err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: url, ClientID: "bystander", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topic, Inbox: inbox}}})
	if err != nil {
		t.Fatal(err)
	}
	n, stop := new(atomic.Int64), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		var m link.Message
		for {
			for inbox.Take(&m) {
				if cmd, err := wire.DecodeCommand(m.Payload); err == nil && cmd.Action == wire.Stop {
					n.Add(1)
				}
			}
			select {
			case <-inbox.Ready():
			case <-stop:
				return
			}
		}
	})
	t.Cleanup(func() { close(stop); wg.Wait(); _ = c.Close(time.Second) })
	for i := 0; !c.Up(); i++ {
		if i > 2000 {
			t.Fatal("the bystander has no link")
		}
		time.Sleep(5 * time.Millisecond)
	}
	return n
}

func TestPanicInTheLoopStopsTheVehicleAndHasItsOwnError(t *testing.T) {
	b := start(t)
	heard := commands(t, b.URL(), "pinfold/mole/command")
	dir := t.TempDir()
	shown := 0
	res, err := Run(context.Background(), Options{Site: parse(t, b.URL()), TrailDir: dir,
		Watch: func(int, *watchdog.Snapshot) {
			if shown++; shown == 3 {
				panic("a fault planted by the test")
			}
		}})
	if !errors.Is(err, ErrPanic) {
		t.Fatalf("Run gave %v, want ErrPanic", err)
	}
	time.Sleep(100 * time.Millisecond)
	if heard.Load() == 0 {
		t.Error("no stop was heard")
	}
	said := false
	r, err := trail.Open(res.Session.Folder)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.Events(func(l trail.Line) error {
		said = said || l.Kind == "panic" && strings.Contains(string(l.Body), "planted by the test")
		return nil
	}); err != nil || !said {
		t.Errorf("the trail does not say what failed: %v", err)
	}
	if rep, err := trail.Verify(res.Session.Folder, res.Head); err != nil || !rep.OK() || !rep.Sealed {
		t.Errorf("the trail does not hold: %v %+v", err, rep)
	}
}

func TestNoTrailNoStart(t *testing.T) {
	b := start(t)
	file := filepath.Join(t.TempDir(), "a-file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Run(context.Background(), Options{Site: parse(t, b.URL()), TrailDir: filepath.Join(file, "trail")})
	if err == nil || !strings.Contains(err.Error(), "no trail, so no start") {
		t.Fatalf("Run gave %v", err)
	}
}

func TestNoBrokerIsSaidAndEndsInGoodOrder(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var mu sync.Mutex
	var lines []string
	levels := map[string]bool{}
	said := make(chan struct{}, 100)
	go func() {
		select { // long, for a machine that takes its time to begin
		case <-said:
			time.Sleep(time.Second)
		case <-time.After(linkWait + 20*time.Second):
		}
		cancel()
	}()
	res, err := Run(ctx, Options{Site: parse(t, "mqtt://127.0.0.1:9"), TrailDir: t.TempDir(),
		Say: func(l Line) {
			mu.Lock()
			lines = append(lines, l.Text)
			mu.Unlock()
			if strings.Contains(l.Text, "no broker at") {
				said <- struct{}{}
			}
		},
		Watch: func(_ int, s *watchdog.Snapshot) {
			levels[s.Level.String()] = true
			if s.Go || s.Link {
				t.Error("permitted, or a link, without a broker")
			}
		}})
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(lines, "\n")
	if !strings.Contains(all, "no broker at mqtt://127.0.0.1:9 yet") {
		t.Errorf("not said that there is no broker:\n%s", all)
	}
	if len(levels) != 1 || !levels["waiting"] {
		t.Errorf("levels shown: %v, want waiting alone", levels)
	}
	if rep, err := trail.Verify(res.Session.Folder, res.Head); err != nil || !rep.OK() || !rep.Sealed {
		t.Errorf("the trail does not hold: %v %+v", err, rep)
	}
}
