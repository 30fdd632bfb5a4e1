package brokerproc

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"
)

// readyWithin is how long a broker may take to accept connections.
const readyWithin = 5 * time.Second

// Process is a running broker.
type Process struct {
	URL string // mqtt://127.0.0.1:port, the same after Restart

	addr string
	argv []string
	mu   sync.Mutex
	cmd  *exec.Cmd // nil while dead
}

// Find is where mosquitto stands, empty where it is not installed; Debian keeps
// it off an ordinary PATH.
func Find() string {
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
func FreeAddr() (string, error) {
	for range 100 {
		ln, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", 10000+rand.IntN(22000)))
		if err == nil {
			_ = ln.Close()
			return ln.Addr().String(), nil
		}
	}
	return "", errors.New("a hundred ports are taken")
}

// Mosquitto writes a configuration for addr into dir, and gives the command that
// runs mosquitto by it. lines are added; without any, everybody may do
// everything.
func Mosquitto(dir, addr string, lines ...string) (argv []string, err error) {
	path := Find()
	if path == "" {
		return nil, errors.New("mosquitto is not installed; install it (Debian: apt-get install mosquitto)")
	}
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, err
	}
	text := fmt.Sprintf("listener %s %s\nset_tcp_nodelay true\npersistence false\n", port, host)
	if len(lines) == 0 {
		lines = []string{"allow_anonymous true"}
	}
	if os.Getuid() == 0 {
		text += "user root\n" // it would give up its rights to the caller's own files
	}
	for _, line := range lines {
		text += line + "\n"
	}
	config := filepath.Join(dir, "mosquitto.conf")
	return []string{path, "-c", config}, os.WriteFile(config, []byte(text), 0o644)
}

// Start runs the command argv, a broker that listens on addr.
func Start(addr string, argv []string) (*Process, error) {
	b := &Process{addr: addr, argv: argv, URL: "mqtt://" + addr}
	return b, b.start()
}

func (b *Process) start() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cmd != nil {
		return nil
	}
	var said bytes.Buffer
	cmd := exec.Command(b.argv[0], b.argv[1:]...)
	cmd.Stderr = &said
	cmd.SysProcAttr = diesWithUs()
	if err := cmd.Start(); err != nil {
		return fmt.Errorf("the broker does not start: %w", err)
	}
	b.cmd = cmd
	for end := time.Now().Add(readyWithin); ; time.Sleep(5 * time.Millisecond) {
		if c, err := net.Dial("tcp", b.addr); err == nil {
			_ = c.Close()
			return nil
		}
		if time.Now().After(end) {
			_ = cmd.Process.Kill()
			_ = cmd.Wait() // said is complete now
			b.cmd = nil
			return fmt.Errorf("%s does not listen on %s within %v; it said: %s", b.argv[0], b.addr, readyWithin, said.Bytes())
		}
	}
}

// Kill ends the process at once (SIGKILL). It does nothing to a dead one.
func (b *Process) Kill() {
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
func (b *Process) Restart() error {
	b.Kill()
	return b.start()
}

// Stop freezes the process (SIGSTOP): its connections stay open and silent.
func (b *Process) Stop() error { return b.signal(syscall.SIGSTOP) }

// Cont lets a frozen process go on (SIGCONT).
func (b *Process) Cont() error { return b.signal(syscall.SIGCONT) }

func (b *Process) signal(s syscall.Signal) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.cmd == nil {
		return fmt.Errorf("the broker is dead, it cannot be sent %v", s)
	}
	return b.cmd.Process.Signal(s)
}
