package review

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"pinfold/config"
	"pinfold/watchdog"
	"pinfold/watchdog/intake"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/pose/recording"
	"pinfold/watchdog/trail"
)

const hall = `
[site]
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
speed = 1.0
[vehicle.stopping]
reaction = "150ms"
deceleration = 1.2
margin = 0.10
`

// rig runs a guard and keeps its trail, as the daemon does.
type rig struct {
	t testing.TB
	w *trail.Writer
	g *watchdog.Guard
}

func (r *rig) step(e intake.Entry, now time.Duration) {
	ev, err := e.Event()
	if err != nil {
		r.t.Fatal(err)
	}
	var owed []uint64
	for _, f := range r.g.Step(&ev, now) {
		if f.Kind != watchdog.DoRecord {
			continue
		}
		r.w.Event("mole", string(f.Record.Kind), f.Record.At, f.Record.Body)
		if c, ok := f.Record.Body.(watchdog.CommandSent); ok { // 3 ms later it leaves for the broker
			r.w.Event("mole", "left", f.Record.At+3*time.Millisecond, map[string]any{"id": c.ID, "seq": 1})
		}
		if f.Record.Durable {
			owed = append(owed, f.Record.Token)
		}
	}
	r.w.Intake(&trail.Item{Kind: e.Kind, Flags: e.Flags, At: now, Arrived: e.Arrived, Payload: e.Payload})
	for _, token := range owed {
		r.step(intake.Entry{Kind: uint8(watchdog.EvDurable), Arrived: now, Payload: intake.Durable(token)}, now)
	}
}

// session drives the mole around the hall for a while, at 200 Hz, then towards
// the wall at 0.9 m/s until it is stopped, and brakes at 2 m/s² 100 ms later.
func session(t testing.TB, last time.Duration) string {
	t.Helper()
	site, err := config.Parse("site.toml", []byte(hall), func(string) ([]byte, error) { return nil, os.ErrNotExist })
	if err != nil {
		t.Fatal(err)
	}
	var clock atomic.Int64 // ns; the trail's writer reads it
	w, err := trail.Create(trail.Options{Dir: t.TempDir(), Session: "s1", Guard: "g", Site: site.Name, Vehicles: []string{"mole"},
		Files: []trail.File{{Name: "site.toml", Data: []byte(hall)}}, MaxBytes: 2 << 30, Now: func() time.Duration { return time.Duration(clock.Load()) }})
	if err != nil {
		t.Fatal(err)
	}
	cfg := site.Vehicles[0].Config
	cfg.Session, cfg.Hash = "s1", site.Hash
	w.Event("mole", "guard", 0, map[string]string{"nonce_seed": hex.EncodeToString(cfg.NonceSeed[:])})
	g, err := watchdog.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	r := &rig{t: t, w: w, g: g}
	r.drive(last, &clock)
	end := time.Duration(clock.Load())
	r.step(intake.Entry{Kind: uint8(watchdog.EvClose), Arrived: end, Payload: []byte("done")}, end)
	sealed, err := w.Close(20 * time.Second)
	if err != nil {
		t.Fatal(err)
	}
	if sealed.Lost > 0 {
		t.Fatalf("%d items lost: the trail could not keep up with the test", sealed.Lost)
	}
	return sealed.Folder
}

func (r *rig) drive(last time.Duration, clock *atomic.Int64) {
	x, y, v, stopAt := 3.5, 1.5, 0.0, time.Duration(-1)
	dash := last - 15*time.Second
	var payload []byte
	for i := range int(last / (5 * time.Millisecond)) {
		now := time.Duration(i+1) * 5 * time.Millisecond
		clock.Store(int64(now))
		vx := 0.0
		switch t := now.Seconds(); {
		case now < 4*time.Second:
		case now < dash: // to and fro, well inside, ending where it began
			vx = 0.5 * math.Cos(2*math.Pi*(t-4)/10)
		default:
			if stopAt < 0 && r.g.Level() >= watchdog.Stop {
				stopAt = now
			}
			if stopAt >= 0 && now-stopAt > 100*time.Millisecond {
				v = max(0, v-2*0.005)
			} else {
				v = min(0.9, v+0.5*0.005)
			}
			vx = v
		}
		x += vx * 0.005
		s := pose.Sample{Stamp: int64(now), Seq: uint64(i + 1), HasSeq: true, Position: pose.Vec{X: x, Y: y, Z: 0.2 + 1e-6*float64(i%7)},
			Orientation: pose.Quat{W: 1}, Velocity: pose.Vec{X: vx}, HasVelocity: true}
		payload = recording.Payload(payload[:0], &s)
		r.step(intake.Entry{Kind: uint8(watchdog.EvPose), Arrived: now, Payload: payload}, now)
		if now == 3*time.Second {
			ask := fmt.Sprintf(`{"ask":"start","by":"test","nonce":%q}`, r.g.Snapshot().Nonce)
			r.step(intake.Entry{Kind: uint8(watchdog.EvRequest), Arrived: now, Payload: []byte(ask)}, now)
		}
		if i%20000 == 19999 {
			time.Sleep(150 * time.Millisecond) // the writer's queue is made for live speed
		}
	}
}

// The physics of the drive are the test's own: what the audit measures must be
// what was driven.
func TestAuditMeasuresWhatWasDriven(t *testing.T) {
	rep, err := Audit(session(t, 40*time.Second), "words")
	if err != nil {
		t.Fatal(err)
	}
	if !rep.Integrity.OK || !rep.Integrity.Sealed || !rep.Integrity.Same {
		t.Fatalf("integrity: %+v", rep.Integrity)
	}
	v := &rep.Vehicles[0]
	if len(v.Stops) < 1 {
		t.Fatalf("no stop: %v", rep.Story)
	}
	s := &v.Stops[0]
	near := func(what string, got, want, within float64) {
		if !(math.Abs(got-want) <= within) {
			t.Errorf("%s: %.4f, want %.4f within %.4f", what, got, want, within)
		}
	}
	near("speed at the call", s.Speed, 0.9, 1e-6)
	near("published", s.Left, 0.003, 1e-9)
	near("reaction", s.Reaction, 0.105, 0.011)
	near("braking", s.Deceleration, 2, 0.1)
	near("distance, v·t + v²/2a", s.Distance, 0.9*0.105+0.9*0.9/4, 0.012)
	near("falling", s.Falling, 0.105+0.09/2, 0.011)
	if v.Pose.Samples != 8000 {
		t.Errorf("%d samples, want 8000", v.Pose.Samples)
	}
	near("rate", v.Pose.Rate, 200, 0.01)
	near("longest silence", v.Pose.Silence, 0.005, 1e-9)
	if rep.Outside() {
		t.Error("the report says the body was outside")
	}
	if s.Cause.Word != "zone" || s.EdgeZone != "hall" {
		t.Errorf("stopped for %+v, rest beside %q", s.Cause, s.EdgeZone)
	}
}

func TestPageSaysTheNumbersOfTheJSON(t *testing.T) {
	rep, err := Audit(session(t, 30*time.Second), "words")
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := rep.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	var doc Report
	if err := json.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	html, n := string(page(t, rep)), 0
	for _, v := range doc.Vehicles {
		for _, s := range v.Stops {
			n++
			for _, want := range []string{fmt.Sprintf("<td>%.2f s</td><td><b>%s</b> at %.2f m/s", s.At, s.Action, s.Speed),
				metres(s.Distance) + " of " + metres(s.Allowed), "<td>3.00 ms</td><td>" + millis(s.Acked)} {
				if !strings.Contains(html, want) {
					t.Errorf("the page lacks %q", want)
				}
			}
		}
	}
	if n == 0 {
		t.Error("no stop to compare")
	}
}

// BenchmarkHour reviews an hour at 200 Hz; MB/page is what its page comes to, and
// cpu-s what it takes of the processor, whatever else runs, on all cores together.
func BenchmarkHour(b *testing.B) {
	folder := session(b, time.Hour)
	b.ResetTimer()
	var before, after syscall.Rusage
	_ = syscall.Getrusage(syscall.RUSAGE_SELF, &before) // fails for no valid argument
	defer func() {
		_ = syscall.Getrusage(syscall.RUSAGE_SELF, &after)
		used := after.Utime.Nano() + after.Stime.Nano() - before.Utime.Nano() - before.Stime.Nano()
		b.ReportMetric(float64(used)/1e9/float64(b.N), "cpu-s")
	}()
	for range b.N {
		rep, err := Audit(folder, "words")
		if err != nil {
			b.Fatal(err)
		}
		if !rep.Integrity.Same {
			b.Fatal(rep.Integrity.First)
		}
		b.ReportMetric(float64(len(page(b, rep)))/1e6, "MB/page")
	}
}
