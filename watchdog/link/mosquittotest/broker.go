package mosquittotest

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"testing"
	"time"
)

// readyWithin is how long mosquitto may take to accept connections.
const readyWithin = 5 * time.Second

// Broker is a running mosquitto.
type Broker struct {
	URL string // mqtt://127.0.0.1:port, the same after Restart

	tb     testing.TB
	addr   string
	config string
	mu     sync.Mutex
	cmd    *exec.Cmd // nil while dead
}

// Start runs mosquitto until the test ends. lines are added to its
// configuration; without any, everybody may do everything.
func Start(tb testing.TB, lines ...string) *Broker {
	tb.Helper()
	if find() == "" {
		tb.Skip("mosquitto is not installed; install it (Debian: apt-get install mosquitto) to run this test")
	}
	addr := FreeAddr(tb)
	b := &Broker{tb: tb, addr: addr, URL: "mqtt://" + addr, config: filepath.Join(tb.TempDir(), "mosquitto.conf")}
	host, port, _ := net.SplitHostPort(addr) // FreeAddr made it
	text := fmt.Sprintf("listener %s %s\nset_tcp_nodelay true\npersistence false\n", port, host)
	if len(lines) == 0 {
		lines = []string{"allow_anonymous true"}
	}
	if os.Getuid() == 0 {
		text += "user root\n" // it would give up its rights to the test's own files
	}
	for _, line := range lines {
		text += line + "\n"
	}
	if err := os.WriteFile(b.config, []byte(text), 0o644); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(b.Kill)
	b.start()
	return b
}

// find is where the program stands; Debian keeps it off an ordinary PATH.
func find() string {
	for _, name := range []string{"mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}

// FreeAddr is an address on this machine that nobody listens at, for a process that
// will. Its port is none of those that the kernel gives to connections going out
// (from 32768 on, unless somebody set it otherwise), which would take it again while
// that process starts, or starts anew.
func FreeAddr(tb testing.TB) string {
	tb.Helper()
	for range 100 {
		ln, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", 10000+rand.IntN(22000)))
		if err == nil {
			_ = ln.Close()
			return ln.Addr().String()
		}
	}
	tb.Fatal("a hundred ports are taken")
	return ""
}

func (b *Broker) start() {
	b.tb.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cmd != nil {
		return
	}
	var said bytes.Buffer
	cmd := exec.Command(find(), "-c", b.config)
	cmd.Stderr = &said
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} // it must not outlive a test that panics
	if err := cmd.Start(); err != nil {
		b.tb.Fatalf("mosquitto does not start: %v", err)
	}
	b.cmd = cmd
	for end := time.Now().Add(readyWithin); ; time.Sleep(5 * time.Millisecond) {
		if c, err := net.Dial("tcp", b.addr); err == nil {
			_ = c.Close()
			return
		}
		if time.Now().After(end) {
			_ = cmd.Process.Kill()
			_ = cmd.Wait() // said is complete now
			b.cmd = nil
			b.tb.Fatalf("mosquitto does not listen on %s within %v; it said: %s", b.addr, readyWithin, said.Bytes())
		}
	}
}

// Kill ends the process at once (SIGKILL). It does nothing to a dead one.
func (b *Broker) Kill() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cmd == nil {
		return
	}
	_ = b.cmd.Process.Kill() // it may be gone already
	_ = b.cmd.Wait()         // a killed process always reports an error
	b.cmd = nil
}

// Restart starts it again on the same port, killing it first where it lives.
func (b *Broker) Restart() {
	b.tb.Helper()
	b.Kill()
	b.start()
}

// Stop freezes the process (SIGSTOP): its connections stay open and silent.
func (b *Broker) Stop() { b.signal(syscall.SIGSTOP) }

// Cont lets a frozen process go on (SIGCONT).
func (b *Broker) Cont() { b.signal(syscall.SIGCONT) }

func (b *Broker) signal(s syscall.Signal) {
	b.tb.Helper()
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cmd == nil {
		b.tb.Fatalf("mosquitto is dead, it cannot be sent %v", s)
	}
	if err := b.cmd.Process.Signal(s); err != nil {
		b.tb.Fatalf("mosquitto: %v", err)
	}
}
