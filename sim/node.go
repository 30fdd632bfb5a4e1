package sim

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"pinfold/sim/judge"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// NodeOptions describe one simulated vehicle.
type NodeOptions struct {
	Vehicle string        // its name on the wire
	Broker  string        // URL
	Prefix  string        // of the topics; wire.DefaultPrefix where empty
	Plant   Plant         // stepped at Tick; nobody else may touch it once the node runs
	Tracker TrackerSpec   // its clock is the vehicle's clock
	Flies   bool          // a multirotor: lands where a rover stands
	Hold    time.Duration // how long a hover without a permit lasts before landing; DefaultHold where zero
	Pen     judge.Pen     // what the judge is told
	Seed    uint64        // of the tracker's errors
}

// Tick is the physics step of a Node.
const Tick = time.Millisecond

// DefaultHold is how long a multirotor whose permit was withdrawn hovers before
// it lands by itself.
const DefaultHold = 20 * time.Second

// slice is how often a node wakes; its physics catches up with the monotonic
// clock each time. Half the period of a 200 Hz tracker.
const slice = 2500 * time.Microsecond

// Node is one simulated vehicle with its tracker, an MQTT client of its own in
// real time. It publishes pose, obeys through the receiver that real vehicles
// import, acknowledges commands, and halts when it may not move. All methods
// may be called from any goroutine.
type Node struct {
	// Vehicle is its name on the wire.
	Vehicle string
	// Faults is what can go wrong with its tracker.
	Faults Faults

	epoch time.Time // simulation time 0
	bus   *bus
	pose  *outlet
	ack   *outlet
	stop  chan struct{}
	done  chan struct{}
	once  sync.Once

	mu  sync.Mutex
	rig *rig
}

// NodeView is what can be seen of a node from outside at one instant.
type NodeView struct {
	State   State         // the truth
	Clock   time.Duration // the vehicle's clock
	MayMove bool
	Doing   Mode
	Room    float64 // m to the edge of the allowed space, as the judge sees it
	Halts   int     // halts so far
}

// StartNode connects a vehicle to its broker and lets its time begin. The
// vehicle rests until SetPilot, and moves only while it has a permit.
func StartNode(ctx context.Context, o NodeOptions) (*Node, error) {
	if o.Plant == nil {
		return nil, errors.New("sim: node without a plant; give it a Rover or a Multirotor")
	}
	if o.Prefix == "" {
		o.Prefix = wire.DefaultPrefix
	}
	topics, err := wire.Topics(o.Prefix, o.Vehicle)
	if err != nil {
		return nil, fmt.Errorf("sim: node: %w", err)
	}
	r, err := newRig(o)
	if err != nil {
		return nil, fmt.Errorf("sim: node %s: %w", o.Vehicle, err)
	}
	n := &Node{Vehicle: o.Vehicle, epoch: time.Now(), rig: r, stop: make(chan struct{}), done: make(chan struct{})}
	n.Faults.node = n
	if err := n.connect(ctx, o, topics); err != nil {
		return nil, fmt.Errorf("sim: node %s: %w", o.Vehicle, err)
	}
	go n.loop()
	return n, nil
}

// connect opens the node's own connection. The order of the subscriptions is
// that of heard.
func (n *Node) connect(ctx context.Context, o NodeOptions, topics wire.TopicSet) (err error) {
	n.bus, err = dial(ctx, o.Broker, "sim-"+o.Vehicle, subscription{topics.Permit, 0},
		subscription{topics.Command, 0}, subscription{topics.AllCommand, 1})
	if err != nil {
		return err
	}
	if n.pose, err = n.bus.outlet(topics.Pose, 0); err == nil {
		n.ack, err = n.bus.outlet(topics.Ack, 0)
	}
	if err != nil {
		n.bus.close()
	}
	return err
}

// loop is the one goroutine that moves the vehicle.
func (n *Node) loop() {
	defer close(n.done)
	tick := time.NewTicker(slice)
	defer tick.Stop()
	var m link.Message
	for {
		select {
		case <-n.stop:
			return
		case <-tick.C:
			n.turn(nil)
		case <-n.bus.inbox.Ready():
			for n.bus.inbox.Take(&m) {
				n.turn(&m)
			}
		}
	}
}

// How long a message is worth sending.
const (
	poseWorth = 50 * time.Millisecond
	ackWorth  = 500 * time.Millisecond
)

// turn catches up with the clock, hands over a message at that instant, and
// publishes what is due.
func (n *Node) turn(m *link.Message) {
	n.mu.Lock()
	n.rig.advance(time.Since(n.epoch))
	if m != nil {
		n.rig.hear(heard(m.Sub), m.Payload, m.Retained)
	}
	poses, acks := n.rig.collect()
	n.mu.Unlock()
	for _, p := range acks {
		n.ack.put(p, ackWorth)
	}
	for _, p := range poses {
		n.pose.put(p, poseWorth)
	}
}

// SetPilot changes who asks for movement; nil is Rest. It takes effect with
// the next step.
func (n *Node) SetPilot(p Pilot) {
	if p == nil {
		p = Rest{}
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	n.rig.pilot = p
}

// View is the node as of now.
func (n *Node) View() NodeView {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.rig.view()
}

// Clock is the vehicle's clock now.
func (n *Node) Clock() time.Duration {
	at := time.Since(n.epoch)
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.rig.tracker.Clock(at)
}

// Halts are the halts so far, oldest first, at most the newest 256.
func (n *Node) Halts() []Halting {
	n.mu.Lock()
	defer n.mu.Unlock()
	return append([]Halting(nil), n.rig.log.halts...)
}

// Verdict is the judge's word so far, every physics step looked at; finished
// says that the run ends here.
func (n *Node) Verdict(finished bool) judge.Verdict {
	n.mu.Lock()
	defer n.mu.Unlock()
	return n.rig.judge.Verdict(finished)
}

// Close ends the vehicle's time and its connection. It may be called more than
// once.
func (n *Node) Close() {
	n.once.Do(func() {
		close(n.stop)
		<-n.done
		n.bus.close()
	})
}
