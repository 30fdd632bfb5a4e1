package cli

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
	"pinfold/watchdog/trail"
)

// madeHall is the site of made sessions.
const madeHall = `[site]
name = "Test hall"
local_rules = "None apply: nothing moves; checked by the test that wrote this"
[broker]
url = "mqtt://127.0.0.1:1883"
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
speed = 1.0 # measured in the hall
[vehicle.stopping]
reaction = "150ms"
deceleration = 1.2
margin = 0.10
`

// madeSession is a session's folder: the mole stands for 4 s, drives towards the
// wall at 0.9 m/s until it is stopped, and brakes at braking m/s² 100 ms after.
func madeSession(t *testing.T, braking float64) string {
	t.Helper()
	site, err := config.Parse("site.toml", []byte(madeHall), nil)
	if err != nil {
		t.Fatal(err)
	}
	var clock atomic.Int64
	w, err := trail.Create(trail.Options{Dir: t.TempDir(), Session: "made", Guard: "g", Site: site.Name, Vehicles: []string{"mole"},
		Files: []trail.File{{Name: "site.toml", Data: []byte(madeHall)}}, Now: func() time.Duration { return time.Duration(clock.Load()) }})
	if err != nil {
		t.Fatal(err)
	}
	cfg := site.Vehicles[0].Config
	cfg.Session, cfg.Hash = "made", site.Hash
	w.Event("mole", "guard", 0, map[string]string{"nonce_seed": hex.EncodeToString(cfg.NonceSeed[:])})
	g, err := watchdog.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	m := &maker{t: t, w: w, g: g}
	x, v, called := 2.0, 0.0, time.Duration(-1)
	for i := range 2400 {
		now := time.Duration(i+1) * 5 * time.Millisecond
		clock.Store(int64(now))
		if called < 0 && now > 4*time.Second && g.Level() >= watchdog.Stop {
			called = now
		}
		switch {
		case called >= 0 && now-called > 100*time.Millisecond:
			v = max(0, v-braking*0.005)
		case now > 4*time.Second:
			v = min(0.9, v+0.0025)
		}
		x += v * 0.005
		m.pose(now, i, x, v)
		if now == 3*time.Second {
			ask := fmt.Sprintf(`{"ask":"start","by":"test","nonce":%q}`, g.Snapshot().Nonce)
			m.step(intake.Entry{Kind: uint8(watchdog.EvRequest), Arrived: now, Payload: []byte(ask)}, now)
		}
	}
	m.step(intake.Entry{Kind: uint8(watchdog.EvClose), Arrived: 12 * time.Second, Payload: []byte("done")}, 12*time.Second)
	sealed, err := w.Close(20 * time.Second)
	if err != nil || sealed.Lost > 0 {
		t.Fatalf("%v, %d lost", err, sealed.Lost)
	}
	return sealed.Folder
}

// maker runs a guard and keeps its trail, as the daemon does.
type maker struct {
	t *testing.T
	w *trail.Writer
	g *watchdog.Guard
}

func (m *maker) pose(now time.Duration, i int, x, v float64) {
	s := pose.Sample{Stamp: int64(now), Seq: uint64(i + 1), HasSeq: true, Position: pose.Vec{X: x, Y: 2.5, Z: 0.2 + 1e-6*float64(i%7)},
		Orientation: pose.Quat{W: 1}, Velocity: pose.Vec{X: v}, HasVelocity: true}
	m.step(intake.Entry{Kind: uint8(watchdog.EvPose), Arrived: now, Payload: recording.Payload(nil, &s)}, now)
}

func (m *maker) step(e intake.Entry, now time.Duration) {
	ev, err := e.Event()
	if err != nil {
		m.t.Fatal(err)
	}
	var owed []uint64
	for _, f := range m.g.Step(&ev, now) {
		if f.Kind != watchdog.DoRecord {
			continue
		}
		m.w.Event("mole", string(f.Record.Kind), f.Record.At, f.Record.Body)
		if f.Record.Durable {
			owed = append(owed, f.Record.Token)
		}
	}
	m.w.Intake(&trail.Item{Kind: e.Kind, Flags: e.Flags, At: now, Arrived: e.Arrived, Payload: e.Payload})
	for _, token := range owed {
		m.step(intake.Entry{Kind: uint8(watchdog.EvDurable), Arrived: now, Payload: intake.Durable(token)}, now)
	}
}

// pinfold runs the program.
func pinfold(args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = Main(args, bytes.NewReader(nil), &o, &e)
	return code, o.String(), e.String()
}
