package link_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"pinfold/sim"
	"pinfold/sim/broker"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
)

// reactors is how many vehicles take turns, since each needs seconds to be started
// again after its stop.
const reactors = 4

// reactSite is a site for one of them and what they share.
const reactSite = `
[site]
name = "Bench"
local_rules = "None apply: nothing moves; checked by the benchmark that wrote this"
[broker]
url = %q
[[zone]]
name = "cage"
kind = "keep-in"
floor = 0.0
ceiling = 3.2
polygon = [[0,0],[7,0],[7,5],[0,5]]
`

const reactVehicle = `
[[vehicle]]
name = "v%02d"
kind = "multirotor"
radius = 0.22
height = 0.12
[vehicle.pose]
axes = "z-up"
max_age = "200ms"
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

// BenchmarkWholeReaction measures, from the side of the vehicle, the time from a
// pose outside the pen that is published to the withdrawn permit that is received, with the
// guard as it is run: a process of its own, its core, its trail, four vehicles at 50
// poses a second each. A bare client of the library, in a process of its own too,
// answers some 160 bytes, as a pose has, in its callback, in turns on the same broker: the
// echo. Only the ratios mean anything:
//
//	go test -run '^$' -bench WholeReaction -benchtime 2000x ./watchdog/link
func BenchmarkWholeReaction(b *testing.B) {
	b.Run("mosquitto", func(b *testing.B) { newReaction(b, mosquittotest.Start(b).URL).measure() })
	b.Run("embedded", func(b *testing.B) {
		br, err := broker.Start("127.0.0.1:0")
		if err != nil {
			b.Fatal(err)
		}
		b.Cleanup(func() { _ = br.Close() })
		newReaction(b, br.URL()).measure()
	})
}

type reaction struct {
	b        *testing.B
	c        mqtt.Client
	operator *sim.Operator
	begun    time.Time
	mu       sync.Mutex
	seq      uint64
	out      [reactors]bool // sent outside
	heard    [reactors]chan struct{}
	echoed   chan struct{}
	ready    chan int // vehicles that may go again
	stop     chan struct{}
}

func newReaction(b *testing.B, url string) *reaction {
	b.Helper()
	r := &reaction{b: b, begun: time.Now(), echoed: make(chan struct{}, 1), ready: make(chan int, reactors), stop: make(chan struct{})}
	dir := b.TempDir()
	text := fmt.Sprintf(reactSite, url)
	var names []string
	for i := range reactors {
		text += fmt.Sprintf(reactVehicle, i)
		names = append(names, fmt.Sprintf("v%02d", i))
		r.heard[i] = make(chan struct{}, 1)
	}
	site, program := filepath.Join(dir, "site.toml"), filepath.Join(dir, "pinfold")
	if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	if out, err := exec.Command("go", "build", "-o", program, "pinfold").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	r.child(exec.Command(program, "run", "--site", site, "--trail", filepath.Join(dir, "trail")))
	echo := exec.Command(os.Args[0], "-test.run", "^TestEcho$")
	echo.Env = append(os.Environ(), echoVar+"="+url)
	r.child(echo)
	r.connect(url)
	var err error
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	if r.operator, err = sim.NewOperator(ctx, url, "", "bench", names...); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(r.operator.Close)
	for i := range reactors {
		go r.release(i)
	}
	return r
}

func (r *reaction) child(c *exec.Cmd) {
	r.b.Helper()
	if err := c.Start(); err != nil {
		r.b.Fatal(err)
	}
	r.b.Cleanup(func() { _ = c.Process.Signal(syscall.SIGTERM); _ = c.Wait() })
}

// connect is the vehicles' side: it hears stops and echoes, and sends all poses.
func (r *reaction) connect(url string) {
	r.b.Helper()
	r.c = echoClient(r.b, url)
	for i := range reactors {
		t, err := wire.Topics(wire.DefaultPrefix, fmt.Sprintf("v%02d", i))
		if err != nil {
			r.b.Fatal(err)
		}
		r.subscribe(t.Permit, r.heard[i], func(b []byte) bool { p, err := wire.DecodePermit(b); return err == nil && !p.Go })
	}
	r.subscribe("echo/command", r.echoed, func([]byte) bool { return true })
	go func() {
		tick := time.NewTicker(20 * time.Millisecond / reactors)
		defer tick.Stop()
		for i := 0; ; i = (i + 1) % reactors {
			select {
			case <-r.stop:
				return
			case <-tick.C:
				r.pose(i)
			}
		}
	}()
	r.b.Cleanup(func() { close(r.stop) })
}

func (r *reaction) subscribe(topic string, heard chan struct{}, is func([]byte) bool) {
	r.b.Helper()
	t := r.c.Subscribe(topic, 0, func(_ mqtt.Client, m mqtt.Message) {
		if !is(m.Payload()) {
			return
		}
		select {
		case heard <- struct{}{}:
		default: // a repeated command
		}
	})
	if !t.WaitTimeout(5*time.Second) || t.Error() != nil {
		r.b.Fatal(t.Error())
	}
}

// pose sends where vehicle i is: in the middle, or above the pen.
func (r *reaction) pose(i int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	z := 1.0
	if r.out[i] {
		z = 3.5
	}
	r.seq++
	now := time.Since(r.begun)
	r.c.Publish(fmt.Sprintf("pinfold/v%02d/pose", i), 0, false, fmt.Appendf(nil,
		`{"stamp":%.9f,"seq":%d,"tracker":"bench-%02d","position":{"x":%.6f,"y":2.000000,"z":%.6f},"orientation":{"w":1,"x":0,"y":0,"z":0},"confidence":0.9}`,
		now.Seconds(), r.seq, i, 3+1e-5*float64(r.seq%7), z))
}

// release has vehicle i started again.
func (r *reaction) release(i int) {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	name := fmt.Sprintf("v%02d", i)
	// The newest state heard may still be the one from before the stop.
	if _, err := r.operator.Wait(ctx, name, func(s wire.State) bool { return !s.Go }); err != nil {
		return
	}
	if err := r.operator.Release(ctx, name); err != nil {
		return // measure waits for nothing else and says so
	}
	if _, err := r.operator.Wait(ctx, name, func(s wire.State) bool { return s.Go }); err == nil {
		select { // a command from before
		case <-r.heard[i]:
		default:
		}
		r.ready <- i
	}
}

func (r *reaction) put(i int, out bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.out[i] = out
}

func (r *reaction) measure() {
	var took [2][]time.Duration
	wait := func(c chan struct{}) {
		select {
		case <-c:
		case <-time.After(5 * time.Second):
			r.b.Fatal("no answer")
		}
	}
	for n := 0; r.b.Loop(); n++ {
		var i int
		select {
		case i = <-r.ready:
		case <-time.After(time.Minute):
			r.b.Fatal("no vehicle could be started again")
		}
		for turn := range 2 {
			time.Sleep(time.Duration(rand.Int64N(int64(5 * time.Millisecond)))) // at no phase of anything
			if (n+turn)%2 == 0 {
				r.put(i, true)
				before := time.Now()
				r.pose(i)
				wait(r.heard[i])
				took[0] = append(took[0], time.Since(before))
				continue
			}
			before := time.Now()
			r.c.Publish("echo/pose", 0, false, make([]byte, 160))
			wait(r.echoed)
			took[1] = append(took[1], time.Since(before))
		}
		r.put(i, false)
		go r.release(i)
	}
	report(r.b, took)
}

func report(b *testing.B, took [2][]time.Duration) {
	b.ReportMetric(0, "ns/op") // the pace, not a result
	for _, d := range took {
		slices.Sort(d)
	}
	for _, q := range []float64{0.5, 0.99, 0.999} {
		at := min(int(q*float64(len(took[0]))), len(took[0])-1)
		name := strings.TrimSuffix(fmt.Sprintf("p%.1f", q*100), ".0")
		b.ReportMetric(float64(took[0][at].Microseconds()), name+"-reaction-µs")
		b.ReportMetric(float64(took[1][at].Microseconds()), name+"-echo-µs")
		b.ReportMetric(float64(took[0][at])/float64(took[1][at]), name+"-ratio")
	}
}

// echoVar has the test binary answer at the broker in it, as a process of its own.
const echoVar = "PINFOLD_TEST_ECHO"

// echoClient is a client of the library alone.
func echoClient(t testing.TB, url string) mqtt.Client {
	t.Helper()
	return echoClientAs(t, url, "echo")
}

func echoClientAs(t testing.TB, url, name string) mqtt.Client {
	t.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).
		SetClientID(fmt.Sprintf("%s-%d", name, os.Getpid())).SetProtocolVersion(4))
	if token := c.Connect(); !token.WaitTimeout(5*time.Second) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	return c
}

// TestEcho is the echo of BenchmarkWholeReaction, until its process is ended;
// without its variable it answers once, at a broker of its own, and so holds that
// it does.
func TestEcho(t *testing.T) {
	url := os.Getenv(echoVar)
	if url != "" {
		echo(t, url)
		select {}
	}
	br, err := broker.Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer br.Close()
	c := echo(t, br.URL())
	defer c.Disconnect(0)
	heard := make(chan mqtt.Message, 1)
	if s := c.Subscribe("echo/command", 0, func(_ mqtt.Client, m mqtt.Message) { heard <- m }); !s.WaitTimeout(5 * time.Second) {
		t.Fatal("no subscription")
	}
	c.Publish("echo/pose", 0, false, "pose")
	select {
	case m := <-heard:
		if len(m.Payload()) != 120 {
			t.Errorf("%d bytes", len(m.Payload()))
		}
	case <-time.After(5 * time.Second):
		t.Error("no echo")
	}
}

func echo(t *testing.T, url string) mqtt.Client {
	c, answer := echoClient(t, url), make([]byte, 120)
	token := c.Subscribe("echo/pose", 0, func(c mqtt.Client, _ mqtt.Message) { c.Publish("echo/command", 0, false, answer) })
	if !token.WaitTimeout(5 * time.Second) {
		t.Fatal("no subscription")
	}
	return c
}
