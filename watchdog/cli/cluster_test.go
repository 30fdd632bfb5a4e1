//go:build cluster

// A broker of three nodes, of which one dies under a vehicle. It takes minutes and
// builds the nodes' program from the module that .ci/nats.mod pins, so it is not
// among the tests of every day:
//
//	go test -tags cluster -v -timeout 30m -run Cluster ./watchdog/cli

package cli

import (
	"fmt"
	"net"
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

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/wire"
)

// clusterTrials is how often each is tried; PINFOLD_CLUSTER says otherwise.
const clusterTrials = 3

// clusterNode is one node of the broker.
type clusterNode struct {
	cmd *exec.Cmd
	url string
}

// buildNode makes the nodes' program.
func buildNode(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "nats-server")
	out, err := exec.Command("go", "build", "-modfile=../../.ci/nats.mod", "-o", path, "github.com/nats-io/nats-server/v2").CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return path
}

// freePorts are n ports that nobody listens on just now.
func freePorts(t *testing.T, n int) (ports []int) {
	t.Helper()
	for range n {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		defer l.Close()
		ports = append(ports, l.Addr().(*net.TCPAddr).Port)
	}
	return ports
}

// newCluster starts three nodes and waits until a client is granted what it asks
// for on each.
func newCluster(t *testing.T, program string) (nodes []*clusterNode) {
	t.Helper()
	ports, dir := freePorts(t, 9), t.TempDir()
	var routes []string
	for i := range 3 {
		routes = append(routes, fmt.Sprintf("nats-route://127.0.0.1:%d", ports[3+i]))
	}
	for i := range 3 {
		conf := fmt.Sprintf("listen: \"127.0.0.1:%d\"\nserver_name: n%d\njetstream { store_dir: %q }\nmqtt { listen: \"127.0.0.1:%d\" }\ncluster { name: pen, listen: \"127.0.0.1:%d\", routes: [%s] }\n",
			ports[i], i, filepath.Join(dir, fmt.Sprint(i)), ports[6+i], ports[3+i], strings.Join(routes, ", "))
		n := &clusterNode{cmd: exec.Command(program, "-c", write(t, filepath.Join(dir, fmt.Sprint(i, ".conf")), conf)), url: fmt.Sprintf("mqtt://127.0.0.1:%d", ports[6+i])}
		if err := n.cmd.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = n.cmd.Process.Kill(); _ = n.cmd.Wait() })
		nodes = append(nodes, n)
	}
	for _, n := range nodes {
		in, err := link.NewInbox()
		if err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		c, err := link.Dial(link.Options{URL: n.url, ClientID: "probe", Now: func() time.Duration { return time.Since(begun) }, Subs: []link.Sub{{Topic: "x", QoS: 1, Inbox: in}}})
		if err != nil {
			t.Fatal(err)
		}
		within(t, time.Minute, "the node serves", c.Up)
		_ = c.Close(time.Second)
	}
	return nodes
}

// from are the nodes' addresses, beginning with one of them.
func from(nodes []*clusterNode, first int) (urls []string) {
	for i := range nodes {
		urls = append(urls, nodes[(first+i)%len(nodes)].url)
	}
	return urls
}

// clusterSite is a site whose broker has these addresses, and more keys.
func clusterSite(t *testing.T, urls []string, more ...string) string {
	t.Helper()
	path := patientSite(t, urls[0])
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	list := `["` + strings.Join(urls, `", "`) + `"]`
	return write(t, path, strings.Replace(string(text), strconv.Quote(urls[0]), strings.Join(append([]string{list}, more...), "\n"), 1))
}

// board is a vehicle and its tracker on one connection, by the receiver's rules.
type board struct {
	rec    *receiver.Receiver
	client *link.Client

	mu      sync.Mutex
	goes    bool
	changed time.Time // of goes
	halted  time.Time // first halt since watch
	heard   time.Time // newest permit taken
	gap     time.Duration
	why     string
}

// watch begins to look for a halt and for the longest time without a permit.
func (b *board) watch() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.halted, b.gap, b.why = time.Time{}, 0, ""
}

func (b *board) going() bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.goes
}

func newBoard(t *testing.T, urls []string, stop <-chan struct{}) *board {
	t.Helper()
	rec, err := receiver.New(receiver.Options{})
	if err != nil {
		t.Fatal(err)
	}
	topics, err := wire.Topics(wire.DefaultPrefix, "wren")
	if err != nil {
		t.Fatal(err)
	}
	in, err := link.NewInbox(link.Queue{}, link.Queue{}, link.Queue{})
	if err != nil {
		t.Fatal(err)
	}
	b, begun := &board{rec: rec}, time.Now()
	b.client, err = link.Dial(link.Options{URL: urls[0], More: urls[1:], ClientID: "board", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topics.Permit, Inbox: in}, {Topic: topics.Command, Inbox: in, ID: 1}, {Topic: topics.AllCommand, QoS: 1, Inbox: in, ID: 2}}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.client.Close(time.Second) })
	pose, err := b.client.Slot(topics.Pose, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	ack, err := b.client.Slot(topics.Ack, 0, false)
	if err != nil {
		t.Fatal(err)
	}
	go steadyPose(pose, func() int64 { return time.Now().UnixNano() }, stop)
	go b.run(in, ack, func() time.Duration { return time.Since(begun) }, stop)
	return b
}

// run hears and asks every millisecond.
func (b *board) run(in *link.Inbox, ack *link.Slot, now func() time.Duration, stop <-chan struct{}) {
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	var m link.Message
	for {
		select {
		case <-stop:
			return
		case <-in.Ready():
		case <-tick.C:
		}
		for in.Take(&m) {
			at := time.Now().UnixNano()
			switch m.Sub {
			case 0:
				before := b.rec.Counts().Permits
				b.rec.Permit(m.Payload, m.Retained, at)
				if b.rec.Counts().Permits > before {
					b.permitted()
				}
			case 1:
				if a := b.rec.Command(m.Payload, m.Retained, at); a != nil {
					ack.Put(a, now()+100*time.Millisecond)
				}
			case 2:
				b.rec.AllCommand(m.Payload, m.Retained, at)
			}
		}
		b.look()
	}
}

func (b *board) permitted() {
	b.mu.Lock()
	defer b.mu.Unlock()
	at := time.Now()
	if !b.heard.IsZero() {
		b.gap = max(b.gap, at.Sub(b.heard))
	}
	b.heard = at
}

func (b *board) look() {
	at := time.Now()
	v := b.rec.MayMove(at.UnixNano())
	b.mu.Lock()
	defer b.mu.Unlock()
	if v.Go != b.goes {
		b.goes, b.changed = v.Go, at
		if !v.Go && b.halted.IsZero() {
			b.halted, b.why = at, v.Why
		}
	}
}

// clusterCase is who is on which node, and what happens to one.
type clusterCase struct {
	name              string
	guard, board, hit int
	sig               syscall.Signal
	budget            []string // of the link, as the site file has it; none: nil
}

// TestClusterLosesANode prints what a vehicle sees of it, as docs/link.md has it.
// It asserts that the vehicle halts by its own clock where permits stay away, and
// that a start gets it going again.
func TestClusterLosesANode(t *testing.T) {
	program := buildNode(t)
	trials := clusterTrials
	if n, err := strconv.Atoi(os.Getenv("PINFOLD_CLUSTER")); err == nil && n > 0 {
		trials = n
	}
	for _, c := range []clusterCase{
		{"guard's node killed", 0, 1, 0, syscall.SIGKILL, nil},
		{"vehicle's node killed", 0, 1, 1, syscall.SIGKILL, nil},
		{"node of both killed", 0, 0, 0, syscall.SIGKILL, nil},
		{"a node of neither killed", 0, 1, 2, syscall.SIGKILL, nil},
		{"a node of neither killed, with a budget", 0, 1, 2, syscall.SIGKILL, []string{`budget = "300ms"`}},
		{"guard's node stopped", 0, 1, 0, syscall.SIGSTOP, nil},
	} {
		var rows []string
		for i := range trials {
			t.Run(fmt.Sprintf("%s, %d", c.name, i+1), func(t *testing.T) { rows = append(rows, loseNode(t, program, c)) })
		}
		t.Logf("%s:\n%s", c.name, strings.Join(rows, "\n"))
	}
}

func loseNode(t *testing.T, program string, c clusterCase) string {
	nodes := newCluster(t, program)
	spare := slices.IndexFunc([]int{0, 1, 2}, func(i int) bool { return i != c.hit })
	desk := clusterSite(t, from(nodes, spare))
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	b := newBoard(t, from(nodes, c.board), stop)
	guard := start(t, "run", "--site", clusterSite(t, from(nodes, c.guard), c.budget...), "--trail", t.TempDir())
	guard.waitFor("watching")
	within(t, time.Minute, "it goes", func() bool {
		code, _ := ask("start", "--site", desk)
		return code == exitFine && b.going()
	})
	time.Sleep(time.Second)
	if !b.going() {
		return "disturbed by the machine before anything was done"
	}
	b.watch()
	hit := time.Now()
	if err := nodes[c.hit].cmd.Process.Signal(c.sig); err != nil {
		t.Fatal(err)
	}
	time.Sleep(300 * time.Millisecond)
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		if b.quietFor() < 100*time.Millisecond && time.Since(hit) > 3*time.Second { // permits are back, or never went
			break
		}
	}
	b.mu.Lock()
	gap, halted, why, goes := b.gap, b.halted, b.why, b.goes
	b.mu.Unlock()
	row := fmt.Sprintf("permits away for %5d ms", gap.Milliseconds())
	if halted.IsZero() {
		if gap > 300*time.Millisecond {
			t.Errorf("no permit for %v, and it did not halt", gap)
		}
		return row + ", goes on"
	}
	row += fmt.Sprintf(", halts after %4d ms (%s)", halted.Sub(hit).Milliseconds(), why)
	if goes {
		return row + ", goes on by itself"
	}
	if c.budget != nil { // a reset wants a minute without a slow trip
		time.Sleep(3 * time.Second)
		return fmt.Sprintf("%s, stays stopped, for the budget: %v", row, strings.Contains(guard.text(), "over the budget of"))
	}
	_, _ = ask("stop", "--site", desk)
	for _, act := range []string{"reset", "start"} {
		within(t, time.Minute, act+" is granted", func() bool { code, _ := ask(act, "--site", desk); return code == exitFine })
	}
	within(t, 10*time.Second, "it goes again", b.going)
	return row + fmt.Sprintf(", reset and started after %.1f s", time.Since(hit).Seconds())
}

// quietFor is how long ago the newest permit was taken.
func (b *board) quietFor() time.Duration {
	b.mu.Lock()
	defer b.mu.Unlock()
	return time.Since(b.heard)
}
