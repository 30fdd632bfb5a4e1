package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"pinfold/sim/broker"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// guard is the program at work, with a broker and trackers in this process.
type guard struct {
	set     *setting
	site    string
	broker  *broker.Broker // nil: another's
	metrics string         // address of the program's
	cmd     *exec.Cmd
	said    bytes.Buffer
	begun   time.Time
	client  *link.Client
	inbox   *link.Inbox
	poses   []*link.Slot
	missed  atomic.Int64 // reads of the metrics that failed
	stop    chan struct{}
	done    sync.WaitGroup
	ended   sync.Once
}

const head = `[site]
name = "Footprint"
local_rules = "None apply: nothing moves; checked by the command that wrote this"
[broker]
url = %q
[metrics]
listen = %q
[trail]
dir = "trail"
[[zone]]
name = "cage"
kind = "keep-in"
floor = 0.0
ceiling = 3.2
polygon = [[0,0],[7,0],[7,5],[0,5]]
[[zone]]
name = "post"
kind = "keep-out"
floor = 0.0
ceiling = 3.2
polygon = [[5,3],[5.3,3],[5.3,3.3],[5,3.3]]
`

const vehicle = `[[vehicle]]
name = %q
kind = "multirotor"
radius = 0.22
height = 0.12
[vehicle.pose]
axes = "z-up"
max_age = "240ms"
[vehicle.limits]
height = 2.8
speed = 1.5
climb = 1.0
descent = 0.8
tilt = 25
[vehicle.stopping]
reaction = "150ms"
deceleration = 3.0
margin = 0.10
`

// scrapeEvery is shorter than the common setting, so that what it costs is in even a
// short measurement.
const scrapeEvery = 5 * time.Second

func name(i int) string { return fmt.Sprintf("v%02d", i) }

// begin starts the broker, the trackers, and last the program.
func begin(s *setting) (g *guard, err error) {
	g = &guard{set: s, site: filepath.Join(s.dir, "site.toml"), stop: make(chan struct{})}
	if s.url == "" {
		if g.broker, err = broker.Start("127.0.0.1:0"); err != nil {
			return nil, err
		}
		s.url = g.broker.URL()
	}
	if g.metrics, err = freeAddress(); err != nil {
		return nil, err
	}
	text := fmt.Sprintf(head, s.url, g.metrics)
	for i := range s.vehicles {
		text += fmt.Sprintf(vehicle, name(i))
	}
	if err := os.WriteFile(g.site, []byte(text), 0o600); err != nil {
		return nil, err
	}
	if err := g.trackers(); err != nil {
		return nil, err
	}
	g.cmd = exec.Command(s.program, "run", "--site", g.site)
	g.cmd.Env = append(os.Environ(), "GOMEMLIMIT="+s.limit, "GODEBUG=gctrace=1", "JOURNAL_STREAM=", "STATE_DIRECTORY=")
	g.cmd.Stderr = &g.said
	g.begun = time.Now()
	return g, g.cmd.Start()
}

// trackers publish a pose that trembles, each vehicle's own.
func (g *guard) trackers() (err error) {
	permits, err := wire.Topics("pinfold", name(0))
	if err != nil {
		return err
	}
	if g.inbox, err = link.NewInbox(link.Queue{Max: wire.PermitMax}); err != nil {
		return err
	}
	zero := time.Now()
	g.client, err = link.Dial(link.Options{URL: g.set.url, ClientID: "footprint",
		Now: func() time.Duration { return time.Since(zero) }, Subs: []link.Sub{{Topic: permits.Permit, Inbox: g.inbox}}})
	if err != nil {
		return err
	}
	for i := range g.set.vehicles {
		topics, err := wire.Topics("pinfold", name(i))
		if err != nil {
			return err
		}
		slot, err := g.client.Slot(topics.Pose, 0, false)
		if err != nil {
			return err
		}
		g.poses = append(g.poses, slot)
	}
	g.done.Add(2)
	go g.publish(zero)
	go g.scrape()
	return nil
}

// freeAddress is one that was free a moment ago.
func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	return l.Addr().String(), l.Close()
}

// scrape reads the program's metrics as Prometheus does.
func (g *guard) scrape() {
	defer g.done.Done()
	tick := time.NewTicker(scrapeEvery)
	defer tick.Stop()
	client := http.Client{Timeout: time.Second}
	for {
		select {
		case <-g.stop:
			return
		case <-tick.C:
		}
		r, err := client.Get("http://" + g.metrics + "/metrics")
		if err != nil {
			g.missed.Add(1)
			continue
		}
		if n, err := io.Copy(io.Discard, r.Body); err != nil || n == 0 {
			g.missed.Add(1)
		}
		r.Body.Close()
	}
}

func (g *guard) publish(zero time.Time) {
	defer g.done.Done()
	tick := time.NewTicker(g.set.every)
	defer tick.Stop()
	for seq := uint64(1); ; seq++ {
		select {
		case <-g.stop:
			return
		case <-tick.C:
		}
		for _, slot := range g.poses {
			now := time.Now().UnixNano()
			slot.Put(fmt.Appendf(nil, `{"stamp":%d.%09d,"seq":%d,"position":{"x":%.5f,"y":2,"z":1.5},"orientation":{"w":1,"x":0,"y":0,"z":0}}`,
				now/1e9, now%1e9, seq, 3+float64(seq%7)*1e-5), time.Since(zero)+100*time.Millisecond)
		}
	}
}

// firstJudgement is how long after its start the program's first permit message
// that carries back the stamp of a pose was heard.
func (g *guard) firstJudgement() (time.Duration, error) {
	late := time.After(30 * time.Second)
	for {
		select {
		case <-late:
			return 0, errors.New("no pose was judged within 30 s; it said:\n" + g.said.String())
		case <-g.inbox.Ready():
		}
		var m link.Message
		for g.inbox.Take(&m) {
			if p, err := wire.DecodePermit(m.Payload); err == nil && p.Stamp > 0 {
				return time.Since(g.begun), nil
			}
		}
	}
}

// permit asks start for every vehicle.
func (g *guard) permit() error {
	for i := range g.set.vehicles {
		var out []byte
		var err error
		for range 20 {
			if out, err = exec.Command(g.set.program, "ask", "start", "--site", g.site, "--vehicle", name(i), "--by", "footprint").CombinedOutput(); err == nil {
				break
			}
			time.Sleep(500 * time.Millisecond)
		}
		if err != nil {
			return fmt.Errorf("start of %s: %w: %s", name(i), err, bytes.TrimSpace(out))
		}
	}
	return nil
}

// end stops the program, then what it was given.
func (g *guard) end() {
	g.ended.Do(func() {
		_ = g.cmd.Process.Signal(syscall.SIGTERM) // it may have ended by itself
		if err := g.cmd.Wait(); err != nil {
			fmt.Printf("the program ended with %v:\n%s\n", err, strings.TrimSpace(g.said.String()))
		}
		close(g.stop)
		g.done.Wait()
		_ = g.client.Close(time.Second) // nothing that matters waits
		if g.broker != nil {
			_ = g.broker.Close()
		}
	})
}
