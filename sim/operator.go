package sim

import (
	"context"
	"fmt"
	"strings"
	"sync"

	"pinfold/watchdog/link"
	"pinfold/watchdog/link/wire"
)

// The asks of an operator.
const (
	AskStart = "start"
	AskStop  = "stop"
	AskLand  = "land"
	AskReset = "reset"
)

// Operator is a person at a desk, an MQTT client of its own: it reads the
// states and sends requests. All methods may be called from any goroutine.
type Operator struct {
	name   string
	bus    *bus
	topics map[string]wire.TopicSet
	asks   map[string]*outlet
	stop   chan struct{}
	once   sync.Once

	mu     sync.Mutex
	states map[string]wire.State
	seen   map[string]uint64 // states heard so far
	turned chan struct{}     // closed and renewed with every state
}

// Refused is the error of a request that was not granted.
type Refused struct {
	Vehicle string
	Ask     string
	Blocked []string // what is lacking, in the watchdog's words
}

func (e *Refused) Error() string {
	return fmt.Sprintf("%s %s refused: %s", e.Ask, e.Vehicle, strings.Join(e.Blocked, "; "))
}

// NewOperator connects an operator called name who looks after vehicles.
func NewOperator(ctx context.Context, url, prefix, name string, vehicles ...string) (*Operator, error) {
	if prefix == "" {
		prefix = wire.DefaultPrefix
	}
	o := &Operator{name: name, topics: map[string]wire.TopicSet{}, asks: map[string]*outlet{},
		states: map[string]wire.State{}, seen: map[string]uint64{},
		turned: make(chan struct{}), stop: make(chan struct{})}
	var subs []subscription
	for _, v := range vehicles {
		t, err := wire.Topics(prefix, v)
		if err != nil {
			return nil, fmt.Errorf("sim: operator: %w", err)
		}
		o.topics[v] = t
		subs = append(subs, subscription{t.State, 1})
	}
	var err error
	if o.bus, err = dial(ctx, url, "sim-desk-"+name, subs...); err != nil {
		return nil, fmt.Errorf("sim: operator: %w", err)
	}
	for v, t := range o.topics {
		if o.asks[v], err = o.bus.outlet(t.Request, 1); err != nil {
			o.bus.close()
			return nil, fmt.Errorf("sim: operator: %w", err)
		}
	}
	go o.listen()
	return o, nil
}

// Close ends the operator's connection. It may be called more than once.
func (o *Operator) Close() {
	o.once.Do(func() {
		close(o.stop)
		o.bus.close()
	})
}

// listen takes what arrives until Close.
func (o *Operator) listen() {
	var m link.Message
	for {
		select {
		case <-o.stop:
			return
		case <-o.bus.inbox.Ready():
			for o.bus.inbox.Take(&m) {
				o.hear(m.Topic, m.Payload)
			}
		}
	}
}

// hear keeps the newest state of a vehicle.
func (o *Operator) hear(topic string, payload []byte) {
	s, err := wire.DecodeState(payload)
	if err != nil {
		return // nothing to act on; the next one comes within a second
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.topics[s.Vehicle].State != topic {
		return
	}
	o.states[s.Vehicle] = s
	o.seen[s.Vehicle]++
	close(o.turned)
	o.turned = make(chan struct{})
}
