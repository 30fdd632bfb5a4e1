package broker

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"strconv"
	"sync"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// MaxPacket is the largest MQTT packet taken, bytes. Larger ones close the
// connection they came on. It leaves room for a test to send far more than
// the watchdog accepts.
const MaxPacket = 16 << 20

// errClosed is what Restart answers after Close.
var errClosed = errors.New("the broker is closed for good; call broker.Start for a new one")

// Broker is an MQTT broker inside this process. It lets anybody in, so it only
// listens where Start is told to, which is the loopback unless the caller says
// otherwise. All methods may be called from any goroutine.
type Broker struct {
	mu     sync.Mutex
	addr   string // host:port, fixed by the first listen
	server *mqtt.Server
	tap    *tap
	closed bool
}

// Start listens on addr ("host:port"; an empty host is the loopback, port 0
// picks a free one) and serves until Kill or Close.
func Start(addr string) (*Broker, error) {
	host, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, fmt.Errorf("broker address %q: %w; write host:port, port 0 for a free one", addr, err)
	}
	if host == "" {
		host = "127.0.0.1"
	}
	if port == "0" {
		return startAnywhere(host)
	}
	b := &Broker{addr: net.JoinHostPort(host, port)}
	if err := b.serve(); err != nil {
		return nil, err
	}
	return b, nil
}

// startAnywhere listens on a port that is free, and is none of those that the
// kernel gives to connections going out (from 32768 on, unless somebody set it
// otherwise): after a Kill one of them would take it before a Restart could.
func startAnywhere(host string) (*Broker, error) {
	const tries, from, to = 100, 10000, 32000
	var last error
	for range tries {
		b := &Broker{addr: net.JoinHostPort(host, strconv.Itoa(from+rand.IntN(to-from)))}
		if last = b.serve(); last == nil {
			return b, nil
		}
	}
	return nil, last
}

// URL is where clients connect, the same for the broker's whole life.
func (b *Broker) URL() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return "mqtt://" + b.addr
}

// Kill drops the listener and every connection at once, as the death of a
// broker's process would: no DISCONNECT, no will reaches anybody, and nothing
// is remembered. It does nothing on a dead broker.
func (b *Broker) Kill() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.kill()
}

// Restart listens again on the same port with empty state. A live broker is
// killed first.
func (b *Broker) Restart() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closed {
		return errClosed
	}
	b.kill()
	return b.serve()
}

// Close ends the broker for good. It may be called more than once.
func (b *Broker) Close() error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.closed = true
	b.kill()
	return nil
}

func (b *Broker) kill() {
	if b.server == nil {
		return
	}
	b.tap.cut()          // the sockets first, so that nothing said after this is heard
	_ = b.server.Close() // stops its goroutines; its errors are about sockets already cut
	b.server, b.tap = nil, nil
}

func (b *Broker) serve() error {
	ln, err := net.Listen("tcp", b.addr)
	if err != nil {
		return fmt.Errorf("broker cannot listen: %w; choose another port", err)
	}
	caps := mqtt.NewDefaultServerCapabilities()
	caps.MaximumPacketSize = MaxPacket
	caps.MaximumClients = 1024
	s := mqtt.New(&mqtt.Options{
		Capabilities:           caps,
		Logger:                 slog.New(slog.NewTextHandler(io.Discard, nil)),
		SysTopicResendInterval: 3600,
	})
	t := newTap(ln)
	err = s.AddHook(new(open), nil)
	if err == nil {
		err = s.AddListener(t)
	}
	if err == nil {
		err = s.Serve()
	}
	if err != nil {
		t.cut()
		_ = s.Close()
		return fmt.Errorf("broker cannot serve on %s: %w", b.addr, err)
	}
	b.addr, b.server, b.tap = ln.Addr().String(), s, t
	return nil
}

// open lets every client in: the loopback is the fence.
type open struct{ mqtt.HookBase }

func (*open) ID() string { return "open" }

func (*open) Provides(b byte) bool {
	return b == mqtt.OnConnectAuthenticate || b == mqtt.OnACLCheck
}

func (*open) OnConnectAuthenticate(*mqtt.Client, packets.Packet) bool { return true }

func (*open) OnACLCheck(*mqtt.Client, string, bool) bool { return true }
