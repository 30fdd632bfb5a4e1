package cli

import (
	"bytes"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"pinfold/sim/broker"
	"pinfold/watchdog/console"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/wire"
)

// BenchmarkPermitBesideTheConsole measures how old the judged pose is when the
// permit of it is heard: alone, with as many browsers as can watch, and under a
// flood of requests on top; and as the floor of that, with the same browsers and the
// same flood at a plain server of another process, which costs the guard nothing but
// the processors. All in one run, since only their ratios mean anything. The guard is a process of its own, and so is the flood, which yields
// (nice 19): a machine elsewhere would not take this one's processors.
func BenchmarkPermitBesideTheConsole(b *testing.B) {
	rig := newPermitRig(b)
	for range b.N {
		alone := rig.measure(4 * time.Second)
		stop := make(chan struct{})
		var all sync.WaitGroup
		var streams atomic.Int64
		for range console.MaxViewers {
			all.Go(func() { rig.watchPage(stop, &streams) })
		}
		time.Sleep(time.Second)
		watched := rig.measure(4 * time.Second)
		tried := rig.beginFlood(rig.addr)
		flooded := rig.measure(4 * time.Second)
		b.ReportMetric(tried(), "requests/s")
		time.Sleep(time.Second)
		floorTried := rig.beginFlood(rig.plainServer())
		floor := rig.measure(4 * time.Second)
		b.ReportMetric(floorTried(), "floor-requests/s")
		b.ReportMetric(float64(streams.Load()), "browsers")
		close(stop)
		all.Wait()
		for _, m := range []struct {
			name string
			ages []float64
		}{{"alone", alone}, {"watched", watched}, {"flooded", flooded}, {"floor", floor}} {
			slices.Sort(m.ages)
			b.ReportMetric(m.ages[len(m.ages)/2], m.name+"-p50-ms")
			b.ReportMetric(m.ages[len(m.ages)*99/100], m.name+"-p99-ms")
		}
	}
}

type permitRig struct {
	b    *testing.B
	addr string
	mu   sync.Mutex
	ages []float64 // ms
}

func newPermitRig(b *testing.B) *permitRig {
	b.Helper()
	br, err := broker.Start("127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = br.Close() })
	rig := &permitRig{b: b, addr: mosquittotest.FreeAddr(b)}
	path := filepath.Join(b.TempDir(), "site.toml")
	text := fmt.Sprintf(openSite, br.URL(), 2.8) + fmt.Sprintf("[console]\nlisten = %q\n", rig.addr)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		b.Fatal(err)
	}
	self, err := program()
	if err != nil {
		b.Fatal(err)
	}
	guard := exec.Command(self, "run", "--site", path, "--trail", b.TempDir())
	if err := guard.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = guard.Process.Signal(syscall.SIGTERM); _ = guard.Wait() })
	rig.connect(br.URL())
	return rig
}

// connect sends poses at 200 Hz and hears permits.
func (r *permitRig) connect(url string) {
	topics, err := wire.Topics(wire.DefaultPrefix, "wren")
	if err != nil {
		r.b.Fatal(err)
	}
	inbox, err := link.NewInbox(link.Queue{Depth: link.MaxDepth})
	if err != nil {
		r.b.Fatal(err)
	}
	begun := time.Now()
	c, err := link.Dial(link.Options{URL: url, ClientID: "tracker", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topics.Permit, Inbox: inbox}}})
	if err != nil {
		r.b.Fatal(err)
	}
	stop := make(chan struct{})
	var all sync.WaitGroup
	all.Go(func() {
		tick := time.NewTicker(5 * time.Millisecond)
		defer tick.Stop()
		for seq := uint64(1); ; seq++ {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
			_ = c.PublishNow(topics.Pose, poseMessage(time.Since(begun).Nanoseconds(), seq, 3+float64(seq%7)*1e-5, 2, 1), 0, false, time.Second) // one lost pose is one permit less
		}
	})
	all.Go(func() {
		var m link.Message
		for {
			for inbox.Take(&m) {
				if p, err := wire.DecodePermit(m.Payload); err == nil && p.Stamp > 0 {
					r.mu.Lock()
					r.ages = append(r.ages, float64(m.Arrived.Nanoseconds()-p.Stamp)/1e6)
					r.mu.Unlock()
				}
			}
			select {
			case <-stop:
				return
			case <-inbox.Ready():
			}
		}
	})
	r.b.Cleanup(func() { close(stop); all.Wait(); _ = c.Close(time.Second) })
	time.Sleep(time.Second)
}

func (r *permitRig) measure(d time.Duration) []float64 {
	r.b.Helper()
	r.mu.Lock()
	r.ages = nil
	r.mu.Unlock()
	time.Sleep(d)
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(r.ages) < 10 {
		r.b.Fatalf("%d permits in %v", len(r.ages), d)
	}
	return r.ages
}

func (r *permitRig) watchPage(stop <-chan struct{}, streams *atomic.Int64) {
	res, err := (&http.Transport{}).RoundTrip(r.request("GET", "/live", ""))
	if err != nil {
		return
	}
	defer res.Body.Close()
	if res.StatusCode == http.StatusOK {
		streams.Add(1)
	}
	go func() { <-stop; res.Body.Close() }()
	buf := make([]byte, 64<<10)
	for err == nil {
		_, err = res.Body.Read(buf)
	}
}

// floodVar has the test binary flood the address in it, as a process of its own.
const floodVar = "PINFOLD_TEST_FLOOD"

// beginFlood gives what ends the flood and says how many requests a second it was.
func (r *permitRig) beginFlood(addr string) func() float64 {
	r.b.Helper()
	c := exec.Command(os.Args[0], "-test.run", "^TestFlood$")
	c.Env = append(os.Environ(), floodVar+"="+addr)
	var said bytes.Buffer
	c.Stdout = &said
	if err := c.Start(); err != nil {
		r.b.Fatal(err)
	}
	_ = syscall.Setpriority(syscall.PRIO_PROCESS, c.Process.Pid, 19)
	return func() (rate float64) {
		_ = c.Wait()
		if _, err := fmt.Sscanf(said.String(), "%f a second", &rate); err != nil {
			r.b.Fatalf("the flood said %q", said.String())
		}
		return rate
	}
}

// plainVar has the test binary serve the address in it.
const plainVar = "PINFOLD_TEST_PLAIN"

// plainServer starts a server that answers everything alike, in a process of its own.
func (r *permitRig) plainServer() (addr string) {
	r.b.Helper()
	addr = mosquittotest.FreeAddr(r.b)
	c := exec.Command(os.Args[0], "-test.run", "^TestPlainServer$")
	c.Env = append(os.Environ(), plainVar+"="+addr)
	if err := c.Start(); err != nil {
		r.b.Fatal(err)
	}
	r.b.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	for end := time.Now().Add(10 * time.Second); ; time.Sleep(10 * time.Millisecond) {
		if res, err := http.Get("http://" + addr); err == nil {
			_ = res.Body.Close()
			return addr
		}
		if time.Now().After(end) {
			r.b.Fatal("the plain server does not answer")
		}
	}
}

// TestPlainServer is the floor of BenchmarkPermitBesideTheConsole; without its
// variable it serves nobody.
func TestPlainServer(t *testing.T) {
	if addr := os.Getenv(plainVar); addr != "" {
		err := http.ListenAndServe(addr, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) }))
		t.Fatal(err) // it is ended from outside
	}
}

// TestFlood is the flood of BenchmarkPermitBesideTheConsole; without its variable
// it only holds that there is none. 256 clients ask as fast as they are answered
// or turned away, by turns what everybody may and what needs the token.
func TestFlood(t *testing.T) {
	r := &permitRig{addr: os.Getenv(floodVar)}
	if r.addr == "" {
		return
	}
	var tried atomic.Int64
	var all sync.WaitGroup
	begun := time.Now()
	for range 256 {
		all.Go(func() {
			c := &http.Client{Transport: &http.Transport{MaxIdleConnsPerHost: 1}, Timeout: 5 * time.Second}
			for i := 0; time.Since(begun) < 4*time.Second; i++ {
				q := r.request("POST", "/ask", `{"ask":"start","vehicle":"wren","nonce":"x"}`)
				if i%2 == 0 {
					q = r.request("GET", "/", "")
				}
				tried.Add(1)
				if res, err := c.Do(q); err == nil {
					_ = res.Body.Close()
				}
			}
		})
	}
	all.Wait()
	fmt.Printf("%.0f a second\n", float64(tried.Load())/time.Since(begun).Seconds())
}

func (r *permitRig) request(method, path, body string) *http.Request {
	q, err := http.NewRequest(method, "http://"+r.addr+path, strings.NewReader(body))
	if err != nil {
		panic(err) // the address is the rig's own
	}
	q.Header.Set("Content-Type", "application/json")
	return q
}
