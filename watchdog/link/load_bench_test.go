package link_test

import (
	"bufio"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
)

// loadAge is the age, 99 of 100, that neither permits nor poses may pass.
const loadAge = 25 * time.Millisecond

// loadFor is how long each number of vehicles is looked at, after loadWarm.
const (
	loadFor  = 4 * time.Second
	loadWarm = 2 * time.Second
)

// BenchmarkLoad finds how many vehicles of 200 Hz each the guard as it is run watches,
// through mosquitto, before the age of their permits, 99 of 100 as they are heard,
// passes 25 ms; and up to how many a process that only counts hears every pose, no
// later than that, at the same generator in turns. Everything is on this machine.
//
//	go test -run '^$' -bench Load -benchtime 1x -timeout 30m ./watchdog/link
func BenchmarkLoad(b *testing.B) {
	program := filepath.Join(b.TempDir(), "pinfold")
	if out, err := exec.Command("go", "build", "-o", program, "pinfold").CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, out)
	}
	for b.Loop() {
		most := [2]int{}
		for n, fine := 10, [2]bool{true, true}; (fine[0] || fine[1]) && n <= 500; n += max(10, n/50*10) {
			for who, run := range []func(*testing.B, string, int) (time.Duration, float64){underGuard, underCount} {
				if !fine[who] {
					continue
				}
				age, came := time.Duration(0), 0.0
				for range 2 { // the machine may have been busy once
					if age, came = run(b, program, n); age <= loadAge && came > 0.999 {
						break
					}
				}
				if fine[who] = age <= loadAge && came > 0.999; fine[who] {
					most[who] = n
				}
				b.Logf("%s, %d vehicles: 99 of 100 are no older than %v, %.2f %% came", []string{"guard", "counting"}[who], n, age.Round(100*time.Microsecond), 100*came)
			}
		}
		b.ReportMetric(float64(most[0]), "vehicles-guarded")
		b.ReportMetric(float64(most[1]), "vehicles-counted")
		b.ReportMetric(float64(most[0])/float64(max(1, most[1])), "ratio")
		b.ReportMetric(0, "ns/op") // the pace, not a result
	}
}

// herd sends the poses of n vehicles, spread evenly, until it is ended.
type herd struct {
	sent uint64
	stop chan struct{}
	done sync.WaitGroup
}

func newHerd(b *testing.B, url string, n int) *herd {
	b.Helper()
	h := &herd{stop: make(chan struct{})}
	zero := time.Now()
	c, err := link.Dial(link.Options{URL: url, ClientID: "herd", Now: func() time.Duration { return time.Since(zero) }})
	if err != nil {
		b.Fatal(err)
	}
	var slots []*link.Slot
	for i := range n {
		s, err := c.Slot(fmt.Sprintf("pinfold/v%03d/pose", i), 0, false)
		if err != nil {
			b.Fatal(err)
		}
		slots = append(slots, s)
	}
	for !c.Up() {
		time.Sleep(time.Millisecond)
	}
	h.done.Go(func() {
		defer c.Close(time.Second)
		const turns = 5 // a millisecond apart, for the vehicles of a fifth each
		tick := time.NewTicker(time.Millisecond)
		defer tick.Stop()
		for turn := 0; ; turn++ {
			select {
			case <-h.stop:
				return
			case <-tick.C:
			}
			for i := turn % turns; i < n; i += turns {
				now := time.Now().UnixNano()
				slots[i].Put(fmt.Appendf(nil, `{"stamp":%d.%09d,"seq":%d,"position":{"x":%.5f,"y":2,"z":1.5},"orientation":{"w":1,"x":0,"y":0,"z":0}}`,
					now/1e9, now%1e9, turn/turns+1, 3+float64(turn%7)*1e-5), time.Since(zero)+time.Second)
				h.sent++
			}
		}
	})
	return h
}

func (h *herd) end() { close(h.stop); h.done.Wait() }

// underGuard is the age of the permits of n vehicles, and the share of them whose
// permits came.
func underGuard(b *testing.B, program string, n int) (time.Duration, float64) {
	broker := mosquittotest.Start(b)
	defer broker.Kill()
	dir := b.TempDir()
	text := fmt.Sprintf(reactSite, broker.URL)
	for i := range n {
		text += strings.Replace(fmt.Sprintf(reactVehicle, i), fmt.Sprintf("v%02d", i), fmt.Sprintf("v%03d", i), 1)
	}
	site := filepath.Join(dir, "site.toml")
	if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	guard := exec.Command(program, "run", "--site", site, "--trail", filepath.Join(dir, "trail"))
	if err := guard.Start(); err != nil {
		b.Fatal(err)
	}
	defer func() { _ = guard.Process.Signal(syscall.SIGTERM); _ = guard.Wait() }()
	h := newHerd(b, broker.URL, n)
	defer h.end()
	ages := &ages{}
	c := echoClient(b, broker.URL)
	defer c.Disconnect(50)
	ages.hear(b, c, "pinfold/+/permit", func(m mqtt.Message) (string, int64) {
		p, err := wire.DecodePermit(m.Payload())
		if err != nil {
			return "", 0
		}
		return m.Topic(), p.Stamp
	})
	ages.all(b, n)
	time.Sleep(loadWarm)
	ages.reset()
	time.Sleep(loadFor)
	age, of, _ := ages.figures()
	return age, float64(of) / float64(n)
}

// underCount is the age of n vehicles' poses in a process that only counts, and the
// share of them that came.
func underCount(b *testing.B, _ string, n int) (time.Duration, float64) {
	broker := mosquittotest.Start(b)
	defer broker.Kill()
	c := exec.Command(os.Args[0], "-test.run", "^TestCounting$")
	c.Env = append(os.Environ(), countVar+"="+broker.URL)
	in, err := c.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	out, err := c.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := c.Start(); err != nil {
		b.Fatal(err)
	}
	defer func() { _ = c.Process.Kill(); _ = c.Wait() }()
	said := bufio.NewReader(out)
	if _, err := said.ReadString('\n'); err != nil { // it hears
		b.Fatal(err)
	}
	h := newHerd(b, broker.URL, n)
	time.Sleep(loadWarm + loadFor)
	h.end()
	time.Sleep(time.Second)
	_ = in.Close()
	var got counted
	if err := json.NewDecoder(said).Decode(&got); err != nil {
		b.Fatal(err)
	}
	return time.Duration(got.Age), float64(got.Came) / float64(h.sent)
}

// ages are those of messages, by the stamps in them.
type ages struct {
	mu   sync.Mutex
	seen map[string]bool
	ns   []int64
	came uint64
}

func (a *ages) hear(t testing.TB, c mqtt.Client, topic string, stamp func(mqtt.Message) (string, int64)) {
	a.reset()
	token := c.Subscribe(topic, 0, func(_ mqtt.Client, m mqtt.Message) {
		now := time.Now().UnixNano()
		who, at := stamp(m)
		if who == "" || at == 0 {
			return
		}
		a.mu.Lock()
		defer a.mu.Unlock()
		a.seen[who] = true
		a.came++
		a.ns = append(a.ns, now-at)
	})
	if !token.WaitTimeout(5*time.Second) || token.Error() != nil {
		t.Fatalf("no subscription: %v", token.Error())
	}
}

func (a *ages) reset() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.seen, a.ns = map[string]bool{}, a.ns[:0]
}

// all waits until something has come of each of n.
func (a *ages) all(b *testing.B, n int) {
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		a.mu.Lock()
		of := len(a.seen)
		a.mu.Unlock()
		if of >= n || time.Now().After(end) {
			return // figures says what is lacking
		}
	}
}

// figures are the age of 99 of 100, of how many something came, and of all.
func (a *ages) figures() (time.Duration, int, uint64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if len(a.ns) == 0 {
		return time.Hour, 0, 0
	}
	slices.Sort(a.ns)
	return time.Duration(a.ns[len(a.ns)*99/100]), len(a.seen), a.came
}

// countVar has the test binary count at the broker in it, as a process of its own.
const countVar = "PINFOLD_TEST_COUNT"

// counted is what that says in the end.
type counted struct {
	Age  int64  `json:"age_ns"` // 99 of 100
	Came uint64 `json:"came"`
}

// TestCounting is the process of BenchmarkLoad that only counts, until its input
// ends; without its variable it holds that it counts.
func TestCounting(t *testing.T) {
	url := os.Getenv(countVar)
	if url == "" {
		b := mosquittotest.Start(t)
		a := count(t, b.URL)
		c := echoClientAs(t, b.URL, "sender")
		defer c.Disconnect(0)
		for range 100 {
			c.Publish("pinfold/v000/pose", 0, false, fmt.Sprintf(`{"stamp":%.9f}`, float64(time.Now().UnixNano()-5e6)/1e9))
		}
		for end := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
			if age, of, came := a.figures(); came == 100 && of == 1 && age >= 5*time.Millisecond && age < time.Minute {
				return
			} else if time.Now().After(end) {
				t.Fatalf("%d of 100 counted, of %d vehicles, %v old", came, of, age)
			}
		}
	}
	a := count(t, url)
	fmt.Println("hears")
	_, _ = bufio.NewReader(os.Stdin).ReadString('\n') // until it is closed
	age, _, came := a.figures()
	_ = json.NewEncoder(os.Stdout).Encode(counted{int64(age), came})
	os.Exit(0)
}

func count(t *testing.T, url string) *ages {
	a := &ages{}
	a.hear(t, echoClientAs(t, url, "count"), "pinfold/+/pose", func(m mqtt.Message) (string, int64) {
		text := string(m.Payload())
		_, after, _ := strings.Cut(text, `"stamp":`)
		end := strings.IndexAny(after, ",}")
		stamp, err := strconv.ParseFloat(after[:max(0, end)], 64)
		if err != nil {
			return "", 0
		}
		return m.Topic(), int64(stamp * 1e9)
	})
	return a
}
