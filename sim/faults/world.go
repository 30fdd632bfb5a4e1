package faults

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"time"

	"pinfold/sim"
	"pinfold/watchdog/link/brokerproc"
)

// World is a broker and a guard, each a process of its own, and the ways that
// guard and vehicle have to the broker.
type World struct {
	Broker       *brokerproc.Process
	Guards, Node *brokerproc.Way // nil where there is none
	Vehicles     string          // URL at which vehicles reach the broker
	Site, Dir    string

	Tell    func(syscall.Signal) error // sends a signal to the guard
	Program string                     // that is run where a fault needs another guard

	struck time.Time // when the fault came, where causing it goes on after that

	mu   sync.Mutex
	ends []func()
}

// Setting is what a world is made of.
type Setting struct {
	Program  string // the program that is run as guard
	Embedded bool   // use the program's own broker, not mosquitto
	Dir      string // for site file, trail and configuration
}

// readyWithin is how long a guard may take until it watches.
const readyWithin = 15 * time.Second

// NewWorld starts a broker and a guard of so many vehicles of a kind, until Close.
// Of its ways only those that are asked for are there.
func NewWorld(ctx context.Context, s Setting, by ways, kind string, count int) (w *World, err error) {
	w = &World{Dir: s.Dir, Program: s.Program, Site: filepath.Join(s.Dir, "site.toml")}
	defer func() {
		if err != nil {
			w.Close()
		}
	}()
	addr, err := brokerproc.FreeAddr()
	if err != nil {
		return w, err
	}
	argv := []string{s.Program, BrokerCommand, addr}
	if !s.Embedded {
		if argv, err = brokerproc.Mosquitto(s.Dir, addr); err != nil {
			return w, err
		}
	}
	if w.Broker, err = brokerproc.Start(addr, argv); err != nil {
		return w, err
	}
	w.after(w.Broker.Kill)
	toBroker := w.Broker.URL
	if by.guards {
		if w.Guards, err = w.way(); err != nil {
			return w, err
		}
		toBroker = w.Guards.URL
	}
	w.Vehicles = w.Broker.URL
	if by.node {
		if w.Node, err = w.way(); err != nil {
			return w, err
		}
		w.Vehicles = w.Node.URL
	}
	if err = os.WriteFile(w.Site, []byte(sim.FleetSite(toBroker, kind, count)), 0o600); err != nil {
		return w, err
	}
	g, err := w.startGuard(ctx, filepath.Join(s.Dir, "trail"))
	if err == nil {
		w.Tell = func(s syscall.Signal) error { return g.cmd.Process.Signal(s) }
	}
	return w, err
}

// way makes a way to the broker, until the world ends.
func (w *World) way() (*brokerproc.Way, error) {
	way, err := brokerproc.NewWay(w.Broker.URL)
	if err == nil {
		w.after(way.Close)
	}
	return way, err
}

// BrokerCommand is the program's command that runs a broker on the address that
// follows it.
const BrokerCommand = "serve-broker"

// after has something undone when the world ends.
func (w *World) after(do func()) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.ends = append(w.ends, do)
}

// strike says that the fault comes now, and that the cause goes on: times count from
// here, and not from its end.
func (w *World) strike() { w.struck = time.Now() }

// Close ends everything, the newest first.
func (w *World) Close() {
	for i := len(w.ends) - 1; i >= 0; i-- {
		w.ends[i]()
	}
	w.ends = nil
}

// guard is one running guard.
type guard struct {
	cmd  *exec.Cmd
	mu   sync.Mutex
	text bytes.Buffer
	done chan struct{}
}

func (g *guard) Write(b []byte) (int, error) {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.text.Write(b)
}

func (g *guard) said() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.text.String()
}

// startGuard runs a guard, and waits until it watches.
func (w *World) startGuard(ctx context.Context, trail string) (*guard, error) {
	g := &guard{cmd: exec.Command(w.Program, "run", "--site", w.Site, "--trail", trail), done: make(chan struct{})}
	g.cmd.Stdout, g.cmd.Stderr = g, g
	if err := g.cmd.Start(); err != nil {
		return nil, fmt.Errorf("the guard does not start: %w", err)
	}
	go func() {
		_ = g.cmd.Wait() // it is killed in the end
		close(g.done)
	}()
	w.after(func() {
		_ = g.cmd.Process.Kill() // it may have ended long ago
		<-g.done
	})
	until := time.After(readyWithin)
	for !strings.Contains(g.said(), "watching") {
		select {
		case <-g.done:
			return nil, fmt.Errorf("the guard ended before it watched: %s", g.said())
		case <-until:
			return nil, fmt.Errorf("%w: the guard does not watch within %v: %s", errSlow, readyWithin, g.said())
		case <-ctx.Done():
			return nil, ctx.Err()
		case <-time.After(5 * time.Millisecond):
		}
	}
	return g, nil
}

// errSlow is a machine that is too busy for what was to be measured.
var errSlow = errors.New("the machine is too slow")
