package sim

import (
	"encoding/json"
	"fmt"
	"math"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/sim/judge"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// fakeGuard stands in for the watchdog in these tests: a few simple rules, the
// contract's messages, one vehicle. It shares no code with the watchdog.
type fakeGuard struct {
	vehicle string
	flies   bool
	eye     *judge.Judge // only asked for Room
	brake   float64      // m/s²
	speed   float64      // m/s, limit
	tilt    float64      // rad, limit
	deaf    bool         // refuses every request

	client   *link.Client
	inbox    *link.Inbox
	epoch    time.Time
	linkUp   atomic.Bool
	permit   *link.Slot
	command  *link.Slot
	state    *link.Slot
	stop     chan struct{}
	injected chan string
	done     chan struct{}

	seq, cmd  uint64
	started   bool
	latched   []wire.Cause
	level     string // stop or land, while latched
	acked     bool
	pose      fakePose
	posed     bool
	arrived   time.Duration
	trusted   time.Duration // since
	resting   time.Duration // since
	frozen    int
	room      float64
	nonce     int
	nextState time.Duration
	nextCmd   time.Duration
}

type fakePose struct {
	Stamp       json.Number
	Position    struct{ X, Y, Z float64 }
	Velocity    struct{ X, Y, Z float64 }
	Orientation struct{ W, X, Y, Z float64 }
	Tracker     string
}

// fakeValid is the validity of its permits, fakeStale the silence after which
// it distrusts the pose: long, so that a machine under load is not what is
// tested.
const (
	fakeValid = 400 * time.Millisecond
	fakeStale = 500 * time.Millisecond
	fakeTrust = 500 * time.Millisecond // how long the pose must be good before a start
)

// startFake runs a fake guard of one of the demo's vehicles until the test ends.
func startFake(t *testing.T, url, vehicle string) *fakeGuard {
	t.Helper()
	j, err := judge.New(DemoPens()[vehicle])
	if err != nil {
		t.Fatal(err)
	}
	g := &fakeGuard{vehicle: vehicle, eye: j, epoch: time.Now(), stop: make(chan struct{}), done: make(chan struct{}), injected: make(chan string, 1),
		brake: 1.2, speed: 1.0, tilt: 10 * degree}
	if vehicle == Wren {
		g.flies, g.brake, g.speed, g.tilt = true, 3.0, 1.5, 25*degree
	}
	topics, err := wire.Topics(wire.DefaultPrefix, vehicle)
	if err != nil {
		t.Fatal(err)
	}
	g.inbox, _ = link.NewInbox(link.Queue{}, link.Queue{}, link.Queue{})
	g.client, err = link.Dial(link.Options{URL: url, ClientID: "fake-" + vehicle, Now: g.now,
		OnLink: func(up bool, _ string) { g.linkUp.Store(up) },
		Subs: []link.Sub{{Topic: topics.Pose, Inbox: g.inbox, ID: 0}, {Topic: topics.Ack, Inbox: g.inbox, ID: 1},
			{Topic: topics.Request, QoS: 1, Inbox: g.inbox, ID: 2}}})
	if err != nil {
		t.Fatal(err)
	}
	g.permit, _ = g.client.Slot(topics.Permit, 0, false)
	g.command, _ = g.client.Slot(topics.Command, 0, false)
	g.state, _ = g.client.Slot(topics.State, 1, true)
	go g.loop()
	t.Cleanup(g.kill)
	return g
}

func (g *fakeGuard) now() time.Duration { return time.Since(g.epoch) }

// kill ends the guard without a word.
func (g *fakeGuard) kill() {
	select {
	case <-g.stop:
	default:
		close(g.stop)
		<-g.done
		_ = g.client.Close(100 * time.Millisecond)
	}
}

// inject has the guard stop its vehicle for a cause, as soon as it looks.
func (g *fakeGuard) inject(cause string) { g.injected <- cause }

func (g *fakeGuard) loop() {
	defer close(g.done)
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	var m link.Message
	for {
		select {
		case <-g.stop:
			return
		case cause := <-g.injected:
			g.raise("stop", cause, "", 0)
			g.emit(true)
		case <-tick.C:
			g.watch()
			g.emit(true)
		case <-g.inbox.Ready():
			for g.inbox.Take(&m) {
				g.take(&m)
			}
		}
	}
}

func (g *fakeGuard) take(m *link.Message) {
	switch m.Sub {
	case 0:
		g.judge(m)
	case 1:
		if a, err := wire.DecodeAck(m.Payload); err == nil && a.ID == fmt.Sprintf("c%d", g.cmd) {
			g.acked = true
		}
	case 2:
		if r, err := wire.DecodeRequest(m.Payload); err == nil {
			g.request(r)
		}
	}
	g.emit(false)
}

func (g *fakeGuard) judge(m *link.Message) {
	var p fakePose
	if json.Unmarshal(m.Payload, &p) != nil {
		return
	}
	now, old := g.now(), g.pose
	if moved := math.Hypot(p.Position.X-old.Position.X, p.Position.Y-old.Position.Y); g.posed && moved > 0.7 {
		g.distrust("pose-jump", moved)
	}
	if g.posed && p.Position == old.Position {
		if g.frozen++; g.frozen > 20 {
			g.distrust("pose-frozen", 0)
		}
	} else {
		g.frozen = 0
	}
	if g.posed && p.Tracker != old.Tracker {
		g.distrust("tracker-restarted", 0)
	}
	if g.arrived < now-fakeStale {
		g.trusted = now
	}
	g.pose, g.posed, g.arrived = p, true, now
	v := math.Hypot(p.Velocity.X, p.Velocity.Y)
	if math.Hypot(v, p.Velocity.Z) > 0.12 {
		g.resting = now
	}
	reach := 0.18 + v/(2*g.brake)
	g.room = math.Min(g.eye.Room(p.Position.X, p.Position.Y, p.Position.Z),
		g.eye.Room(p.Position.X+p.Velocity.X*reach, p.Position.Y+p.Velocity.Y*reach, p.Position.Z+p.Velocity.Z*0.2)) - 0.1
	if tilt := (Quat{p.Orientation.W, p.Orientation.X, p.Orientation.Y, p.Orientation.Z}).Tilt(); tilt > g.tilt {
		g.raise("stop", "tilt", "tilt", tilt)
	}
	if v > g.speed {
		g.raise("stop", "speed", "speed", v)
	}
	if g.room <= 0 {
		g.raise("stop", "zone", g.nearest(), -g.room)
	}
}

// nearest names the zone that the reach has come to.
func (g *fakeGuard) nearest() string {
	for _, r := range DemoPens()[g.vehicle].Outside {
		x, y := g.pose.Position.X, g.pose.Position.Y
		if math.Hypot(x-(r.Outer[0][0]+r.Outer[2][0])/2, y-(r.Outer[0][1]+r.Outer[2][1])/2) < 1.8 {
			return r.Name
		}
	}
	return DemoPens()[g.vehicle].Inside[0].Name
}

func (g *fakeGuard) distrust(cause string, value float64) {
	g.trusted = g.now()
	level := "stop"
	if g.flies {
		level = "land"
	}
	g.raise(level, cause, "", value)
}

// raise latches a stop or land for one cause, once.
func (g *fakeGuard) raise(level, cause, name string, value float64) {
	if !g.started && g.level == "" {
		return
	}
	for _, c := range g.latched {
		if c.Cause == cause {
			return
		}
	}
	g.latched = append(g.latched, wire.Cause{Cause: cause, Name: name, Value: value, Text: cause + " " + name})
	if g.level != "land" {
		g.level = level
	}
	g.cmd, g.acked, g.nextCmd, g.nextState = g.cmd+1, false, 0, 0
	g.nonce++
}

// watch is what time alone brings.
func (g *fakeGuard) watch() {
	now := g.now()
	if !g.linkUp.Load() {
		g.raise("stop", "link-lost", "", 0)
	}
	if g.posed && now-g.arrived > fakeStale {
		g.distrust("pose-stale", (now - g.arrived).Seconds())
	}
}

func (g *fakeGuard) blocked() []string {
	var why []string
	now := g.now()
	if g.deaf {
		why = append(why, "deaf today")
	}
	if !g.posed || now-g.trusted < fakeTrust {
		why = append(why, "pose not trusted for long enough yet")
	} else if now-g.resting < 300*time.Millisecond {
		why = append(why, "not at rest")
	}
	return why
}

func (g *fakeGuard) request(r wire.Request) {
	switch {
	case r.Ask == AskStop || r.Ask == AskLand:
		g.started = g.started || g.level == ""
		g.raise(r.Ask, "operator", r.By, 0)
		return
	case r.Nonce != fmt.Sprint(g.nonce):
		return
	}
	g.nonce++
	g.nextState = 0
	switch why := g.blocked(); {
	case len(why) > 0:
	case r.Ask == AskReset && g.level != "":
		g.latched, g.level, g.started = nil, "", false
	case r.Ask == AskStart && g.level == "":
		g.started = true
	}
}

func (g *fakeGuard) emit(tick bool) {
	now := g.now()
	goes := g.started && g.level == ""
	if tick || !goes {
		g.seq++
		stamp, _ := wire.ParseStamp([]byte(g.pose.Stamp))
		p := wire.Permit{Guard: "fake", Session: "s", Seq: g.seq, Go: goes, Stamp: stamp, Valid: fakeValid.Seconds()}
		g.permit.Put(p.Append(nil), now+50*time.Millisecond)
	}
	if g.level != "" && !g.acked && now >= g.nextCmd {
		g.nextCmd = now + 80*time.Millisecond
		c := wire.Command{ID: fmt.Sprintf("c%d", g.cmd), Seq: 1, Action: g.level, Cause: g.latched[0].Cause}
		g.command.Put(c.Append(nil), now+80*time.Millisecond)
	}
	if now >= g.nextState {
		g.nextState = now + 200*time.Millisecond
		s := wire.State{Guard: "fake", Session: "s", Seq: g.seq, Vehicle: g.vehicle, Level: g.shown(), Go: goes,
			Latched: g.latched, Nonce: fmt.Sprint(g.nonce)}
		if !goes {
			s.Blocked = g.blocked()
		}
		g.state.Put(s.Append(nil), now+time.Second)
	}
}

func (g *fakeGuard) shown() string {
	switch {
	case g.level != "":
		return g.level
	case !g.started:
		return "waiting"
	case g.room < 0.3:
		return "caution"
	}
	return "clear"
}
