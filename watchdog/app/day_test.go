package app

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"pinfold/config"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/trail"
)

// Times of a day under compressed time.
const (
	dayPose   = 5 * time.Millisecond // 200 Hz
	dayBurst  = 10                   // poses between two looks at what came of them
	dayStop   = 5 * time.Minute      // between two excursions out of the pen
	dayRenew  = 7 * time.Minute      // between two losses of the guard's connection
	dayLook   = 20 * time.Second     // between two looks at memory and goroutines
	dayReload = 3 * time.Minute      // between two site files read again
)

// day drives a guard as it is wired, with a broker between them, under a clock of
// its own that goes on when the guard has judged what it was sent.
type day struct {
	t       *testing.T
	clock   atomic.Int64  // ns, of guard and vehicle
	judged  atomic.Uint64 // poses, as the loop counts them
	turned  chan struct{} // capacity 1: the loop has taken something
	bus     mqtt.Client
	vehicle *receiver.Receiver
	keeper  *keeper
	reload  chan struct{}

	seq, sent   uint64
	state       atomic.Pointer[wire.State]
	went, stops int // seconds in which the vehicle might move; excursions
	heap        []float64
	routines    []float64
}

func (d *day) now() time.Duration { return time.Duration(d.clock.Load()) }

// newDay opens a guard on a broker, with the day's clock.
func newDay(t *testing.T) (*day, func() Result) {
	b := start(t)
	d := &day{t: t, turned: make(chan struct{}, 1), reload: make(chan struct{})}
	d.clock.Store(int64(time.Second))
	s := parse(t, b.URL())
	r := &runner{opt: Options{Site: s, TrailDir: t.TempDir(), Reload: d.reload, Wall: time.Now,
		Load: func() (*config.Site, error) { return parse(t, b.URL()), nil }}, start: time.Now(), now: d.now}
	if err := r.open(); err != nil {
		t.Fatal(err)
	}
	d.keeper = r.keepers[0]
	beat := d.keeper.beat
	d.keeper.beat = func(now time.Duration) { // in the loop
		beat(now)
		d.judged.Store(d.keeper.guard.Snapshot().Counts.Samples)
		select {
		case d.turned <- struct{}{}:
		default:
		}
	}
	var err error
	if d.vehicle, err = receiver.New(receiver.Options{}); err != nil {
		t.Fatal(err)
	}
	d.join(b.URL())
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan Result, 1)
	go func() {
		res, err := r.guard(ctx)
		if err != nil {
			t.Error(err)
		}
		done <- res
	}()
	return d, func() Result { cancel(); return <-done }
}

// join is the vehicle and a person at a desk, one connection.
func (d *day) join(url string) {
	d.bus = mqtt.NewClient(mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).SetClientID("day").SetProtocolVersion(4))
	d.done(d.bus.Connect())
	d.t.Cleanup(func() { d.bus.Disconnect(100) })
	d.hear("permit", func(m mqtt.Message) { d.vehicle.Permit(m.Payload(), m.Retained(), d.clock.Load()) })
	d.hear("command", func(m mqtt.Message) {
		if ack := d.vehicle.Command(m.Payload(), m.Retained(), d.clock.Load()); ack != nil {
			d.bus.Publish("pinfold/mole/ack", 0, false, ack)
		}
	})
	d.hear("state", func(m mqtt.Message) {
		if s, err := wire.DecodeState(m.Payload()); err == nil {
			d.state.Store(&s)
		}
	})
}

func (d *day) hear(topic string, take func(mqtt.Message)) {
	d.done(d.bus.Subscribe("pinfold/mole/"+topic, 0, func(_ mqtt.Client, m mqtt.Message) { take(m) }))
}

func (d *day) done(token mqtt.Token) {
	d.t.Helper()
	if !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		d.t.Fatalf("%v", token.Error())
	}
}

// burst lets the clock go on by some poses at x, and waits until they are judged.
func (d *day) burst(x float64) {
	for range dayBurst {
		now := time.Duration(d.clock.Add(int64(dayPose)))
		d.seq++
		d.bus.Publish("pinfold/mole/pose", 0, false, fmt.Appendf(nil,
			`{"stamp":%.9f,"seq":%d,"tracker":"day","position":{"x":%.6f,"y":2.5,"z":0.2},"orientation":{"w":1,"x":0,"y":0,"z":0},"velocity":{"x":0,"y":0,"z":0},"confidence":0.9}`,
			now.Seconds(), d.seq, x+1e-5*float64(d.seq%7)))
	}
	d.sent += dayBurst
	for late := time.After(2 * time.Second); d.judged.Load() < d.sent; {
		select {
		case <-d.turned:
		case <-late: // sent into a connection that was being lost
			d.sent = d.judged.Load()
			return
		}
	}
}

// until goes on until what is wanted holds, for a minute at most, asking for a reset
// and a start on the way or not, and fails the test where it does not come to hold.
func (d *day) until(what string, x float64, ask bool, holds func() bool) {
	d.t.Helper()
	asked := ""
	for end := d.now() + time.Minute; !holds(); d.burst(x) {
		if d.now() > end {
			d.t.Fatalf("at %v: waited a minute for %s; the state is %+v", d.now(), what, d.state.Load())
		}
		if s := d.state.Load(); ask && s != nil && s.Nonce != asked && (s.Level == "stop" || s.Level == "waiting") {
			asked = s.Nonce
			r := wire.Request{Ask: map[string]string{"stop": "reset", "waiting": "start"}[s.Level], By: "desk", Nonce: asked}
			d.bus.Publish("pinfold/mole/request", 1, false, r.Append(nil))
		}
		if d.now()%time.Second < dayBurst*dayPose {
			time.Sleep(5 * time.Millisecond) // requests, permits and records on their way take real time
		}
	}
}

func (d *day) mayMove() bool { return d.vehicle.MayMove(d.clock.Load()).Go }

func (d *day) level() string {
	if s := d.state.Load(); s != nil {
		return s.Level
	}
	return ""
}

// release has it reset where it was stopped, and started.
func (d *day) release() { d.until("the permit", 3, true, d.mayMove) }

// outside takes it out of the pen: the permit is gone before the next second.
func (d *day) outside() {
	d.stops++
	d.until("the stop", 9, false, func() bool { return !d.mayMove() && d.level() == "stop" })
	for range 20 {
		if d.burst(9); d.mayMove() {
			d.t.Fatalf("at %v: a permit outside the pen", d.now())
		}
	}
}

// renew has the guard lose its connection, which stops the vehicle, and make another.
func (d *day) renew() {
	d.keeper.client.Renew("the day's")
	d.until("the stop for want of a link", 3, false, func() bool { return !d.mayMove() })
	for end := time.Now().Add(20 * time.Second); !d.keeper.client.Up(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			d.t.Fatal("no new connection")
		}
	}
	d.release()
}

// look notes goroutines and heap.
func (d *day) look() {
	var m runtime.MemStats
	runtime.GC()
	runtime.GC()
	runtime.ReadMemStats(&m)
	d.heap = append(d.heap, float64(m.HeapAlloc))
	d.routines = append(d.routines, float64(runtime.NumGoroutine()))
}

// run lets so much time go by.
func (d *day) run(long time.Duration) {
	d.until("a state", 3, false, func() bool { return d.level() != "" })
	d.release()
	begun := d.now()
	every := func(period time.Duration) bool {
		return (d.now()-begun)/period != (d.now()-begun-dayBurst*dayPose)/period
	}
	for d.now()-begun < long {
		d.burst(3)
		if every(time.Second) && d.mayMove() {
			d.went++
		}
		switch {
		case every(dayStop):
			d.outside()
			d.release()
		case every(dayRenew):
			d.renew()
		case every(dayReload):
			d.reload <- struct{}{}
		}
		if every(dayLook) {
			d.look()
		}
	}
}

// grown is by how much the medians of the second and the last eighth differ.
func grown(samples []float64) float64 {
	eighth := len(samples) / 8
	median := func(s []float64) float64 {
		s = slices.Sorted(slices.Values(s))
		return s[len(s)/2]
	}
	return median(samples[len(samples)-eighth:]) - median(samples[eighth:2*eighth])
}

// heapMay is by how much the heap may differ, bytes: what a full queue or a longer
// line of the trail has once made room for stays.
const heapMay = 8 << 20

// TestDay: minutes of a guard as it is wired, at 200 Hz under compressed time, with
// stops, new connections and site files read again in between. Nothing grows, and
// the vehicle may move whenever it is in its pen and never outside. PINFOLD_DAY says
// how many minutes: 1440 are a day.
func TestDay(t *testing.T) {
	minutes, err := strconv.Atoi(cmp.Or(os.Getenv("PINFOLD_DAY"), "8"))
	if err != nil || minutes < 8 {
		t.Fatalf("PINFOLD_DAY=%q; give 8 minutes or more", os.Getenv("PINFOLD_DAY"))
	}
	if testing.Short() {
		t.Skip("takes some seconds; run without -short")
	}
	d, end := newDay(t)
	real := time.Now()
	d.run(time.Duration(minutes) * time.Minute)
	took := time.Since(real)
	res := end()
	rep, err := trail.Verify(res.Session.Folder, res.Head)
	if err != nil || !rep.OK() || !rep.Sealed {
		t.Errorf("the trail does not hold: %v %+v", err, rep)
	}
	t.Logf("%d minutes in %v: %d poses judged of %d sent, %d stops, may move in %d seconds; from the second eighth to the last %+.0f bytes of heap (%.0f in all) and %+.0f goroutines (%.0f)",
		minutes, took.Round(time.Second), d.judged.Load(), d.seq, d.stops, d.went, grown(d.heap), d.heap[len(d.heap)-1], grown(d.routines), d.routines[len(d.routines)-1])
	if g := grown(d.routines); g > 0 {
		t.Errorf("%.0f goroutines more: %v", g, d.routines)
	}
	if g := grown(d.heap); g > heapMay {
		t.Errorf("%.0f bytes more: %.0f", g, d.heap)
	}
	if lost := d.seq - d.judged.Load(); lost > d.seq/1000 {
		t.Errorf("%d of %d poses were not judged", lost, d.seq)
	}
	if d.went < minutes*60*3/4 {
		t.Errorf("the vehicle might move in %d seconds of %d", d.went, minutes*60)
	}
}

// What grows by a byte a pose over a day, or by a goroutine an hour, is found.
func TestGrowthIsFound(t *testing.T) {
	var flat, bytes, routines []float64
	for i := range 1440 {
		noise := float64(i*7919%1000) * 100
		flat = append(flat, 4e6+noise)
		bytes = append(bytes, 4e6+noise+float64(i*12_000))
		routines = append(routines, float64(20+i/60))
	}
	if g := grown(flat); g > heapMay {
		t.Errorf("noise alone grows by %.0f", g)
	}
	if g := grown(bytes); g <= heapMay {
		t.Errorf("a byte a pose grows by %.0f", g)
	}
	if g := grown(routines); g <= 0 {
		t.Errorf("a goroutine an hour grows by %.0f", g)
	}
}
