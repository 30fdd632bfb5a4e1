package sim

import (
	"context"
	"fmt"
	"strings"
	"sync"

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
	topics map[string]wire.TopicSet
	bus    *bus

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
	o := &Operator{name: name, topics: map[string]wire.TopicSet{}, states: map[string]wire.State{},
		seen: map[string]uint64{}, turned: make(chan struct{})}
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
	if o.bus, err = dial(ctx, url, "sim-operator-"+name, o.hear, subs...); err != nil {
		return nil, fmt.Errorf("sim: operator: %w", err)
	}
	return o, nil
}

// Close ends the operator's connection.
func (o *Operator) Close() { o.bus.close() }

// hear keeps the newest state of a vehicle.
func (o *Operator) hear(l letter) {
	s, err := wire.DecodeState(l.payload)
	if err != nil {
		return // nothing to act on; the next one comes within a second
	}
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.topics[s.Vehicle].State != l.topic {
		return
	}
	o.states[s.Vehicle] = s
	o.seen[s.Vehicle]++
	close(o.turned)
	o.turned = make(chan struct{})
}
