package cli

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"pinfold/watchdog"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
	"pinfold/watchdog/pose"
	"pinfold/watchdog/review"
	"pinfold/watchdog/trail"
)

// program builds the program once for all tests that start it as a process of
// its own.
var program = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "pinfold-test-")
	if err != nil {
		return "", err
	}
	path := filepath.Join(dir, "pinfold")
	out, err := exec.Command("go", "build", "-o", path, "pinfold").CombinedOutput()
	if err != nil {
		return "", &buildError{string(out), err}
	}
	return path, nil
})

type buildError struct {
	out string
	err error
}

func (e *buildError) Error() string { return e.err.Error() + "\n" + e.out }

func TestMain(m *testing.M) {
	code := m.Run()
	if path, err := program(); err == nil && code >= 0 {
		_ = os.RemoveAll(filepath.Dir(path))
	}
	os.Exit(code)
}

// process is one running command of the program.
type process struct {
	t    *testing.T
	cmd  *exec.Cmd
	mu   sync.Mutex
	err  bytes.Buffer
	done chan struct{}
}

func (p *process) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err.Write(b)
}

func (p *process) text() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.err.String()
}

// start runs the program; what it prints goes to text.
func start(t *testing.T, args ...string) *process {
	t.Helper()
	path, err := program()
	if err != nil {
		t.Fatal(err)
	}
	p := &process{t: t, cmd: exec.Command(path, args...), done: make(chan struct{})}
	p.cmd.Stdout, p.cmd.Stderr = p, p
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	go func() {
		_ = p.cmd.Wait() // the status is read from ProcessState
		close(p.done)
	}()
	t.Cleanup(func() {
		_ = p.cmd.Process.Kill() // it may have ended long ago
		<-p.done
		if t.Failed() {
			t.Logf("%v printed:\n%s", args, p.text())
		}
	})
	return p
}

// waitFor waits until the process has printed text.
func (p *process) waitFor(text string) {
	p.t.Helper()
	within(p.t, 10*time.Second, "the process prints "+text, func() bool { return strings.Contains(p.text(), text) })
}

// end sends SIGTERM, or whatever sig is, and gives the exit status.
func (p *process) end(sig syscall.Signal) int {
	p.t.Helper()
	if err := p.cmd.Process.Signal(sig); err != nil {
		p.t.Fatal(err)
	}
	return p.wait(15 * time.Second)
}

func (p *process) wait(most time.Duration) int {
	p.t.Helper()
	select {
	case <-p.done:
	case <-time.After(most):
		p.t.Fatalf("the process did not end within %v", most)
	}
	return p.cmd.ProcessState.ExitCode()
}

// within polls until ok holds.
func within(t *testing.T, most time.Duration, what string, ok func() bool) {
	t.Helper()
	for end := time.Now().Add(most); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if ok() {
			return
		}
	}
	t.Fatalf("not within %v: %s", most, what)
}

// listener hears everything about one vehicle, as a bystander would.
type listener struct {
	t      *testing.T
	client *link.Client
	inbox  *link.Inbox
	topics wire.TopicSet

	mu       sync.Mutex
	permits  []wire.Permit
	commands []wire.Command
	state    wire.State
	states   int
}

const (
	hearPermit = iota
	hearCommand
	hearState
)

func listen(t *testing.T, url, vehicle string) *listener {
	t.Helper()
	topics, err := wire.Topics(wire.DefaultPrefix, vehicle)
	if err != nil {
		t.Fatal(err)
	}
	inbox, err := link.NewInbox(link.Queue{Depth: link.MaxDepth}, link.Queue{Depth: link.MaxDepth}, link.Queue{Max: wire.StateMax})
	if err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	l := &listener{t: t, inbox: inbox, topics: topics}
	l.client, err = link.Dial(link.Options{URL: url, ClientID: "listener", Now: func() time.Duration { return time.Since(begun) },
		Subs: []link.Sub{{Topic: topics.Permit, Inbox: inbox, ID: hearPermit}, {Topic: topics.Command, Inbox: inbox, ID: hearCommand},
			{Topic: topics.State, QoS: 1, Inbox: inbox, ID: hearState}}})
	if err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop); _ = l.client.Close(time.Second) })
	within(t, 10*time.Second, "the listener's link is up", l.client.Up)
	go l.hear(stop)
	return l
}

func (l *listener) hear(stop <-chan struct{}) {
	var m link.Message
	for {
		for l.inbox.Take(&m) {
			l.take(&m)
		}
		select {
		case <-stop:
			return
		case <-l.inbox.Ready():
		}
	}
}

func (l *listener) take(m *link.Message) {
	l.mu.Lock()
	defer l.mu.Unlock()
	var err error
	switch m.Sub {
	case hearPermit:
		var p wire.Permit
		p, err = wire.DecodePermit(m.Payload)
		l.permits = append(l.permits, p)
	case hearCommand:
		var c wire.Command
		c, err = wire.DecodeCommand(m.Payload)
		l.commands = append(l.commands, c)
	case hearState:
		l.state, err = wire.DecodeState(m.Payload)
		l.states++
	}
	if err != nil {
		l.t.Errorf("the guard sent what its own contract refuses: %v: %s", err, m.Payload)
	}
}

// last is the newest state.
func (l *listener) last() wire.State {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.state
}

// granted counts the permits that let the vehicle go.
func (l *listener) granted() int {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := 0
	for _, p := range l.permits {
		if p.Go {
			n++
		}
	}
	return n
}

// send publishes as anybody could.
func (l *listener) send(topic string, payload []byte, retain bool) {
	l.t.Helper()
	if err := l.client.PublishNow(topic, payload, 0, retain, 5*time.Second); err != nil {
		l.t.Fatal(err)
	}
}

// keepSending publishes a pose, and ends the test's goroutine, not the test,
// where the test is over.
func (l *listener) keepSending(stop <-chan struct{}, payload []byte) {
	err := l.client.PublishNow(l.topics.Pose, payload, 0, false, 5*time.Second)
	select {
	case <-stop:
	default:
		if err != nil {
			l.t.Errorf("a pose could not be sent: %v", err)
		}
	}
}

// sessionIn is the folder of the one session in a trail's folder.
func sessionIn(t *testing.T, dir string) string {
	t.Helper()
	list, err := trail.List(dir)
	if err != nil || len(list) != 1 {
		t.Fatalf("%d sessions in the trail, want 1: %v", len(list), err)
	}
	return list[0].Folder
}

// episodesOf reads a vehicle's closed episodes from a trail, in seconds from
// the first pose that was judged.
func episodesOf(t *testing.T, folder string) (out []review.Episode) {
	t.Helper()
	r, err := trail.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	first := firstStamp(t, r)
	err = r.Events(func(l trail.Line) error {
		if l.Kind != string(watchdog.RecEpisode) {
			return nil
		}
		var e watchdog.Episode
		if err := json.Unmarshal(l.Body, &e); err != nil {
			return err
		}
		out = append(out, review.Episode{Cause: e.Cause, Name: e.Name, From: float64(e.FromStamp-first) / 1e9,
			To: float64(e.ToStamp-first) / 1e9, Worst: e.Worst, Limit: e.Limit, Unit: e.Unit, Open: e.Open})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func firstStamp(t *testing.T, r *trail.Reader) (stamp int64) {
	t.Helper()
	dec, err := pose.NewDecoder(pose.DefaultFields())
	if err != nil {
		t.Fatal(err)
	}
	found := false
	err = r.Items(func(it *trail.Item) error {
		var s pose.Sample
		if it.Kind == uint8(watchdog.EvPose) && !found && dec.Decode(it.Payload, &s) == nil {
			stamp, found = s.Stamp, true
		}
		return nil
	})
	if err != nil || !found {
		t.Fatalf("no pose in the intake: %v", err)
	}
	return stamp
}
