package sim

import (
	"context"
	"errors"
	"time"
)

// letter is a message that came in.
type letter struct {
	topic    string
	payload  []byte
	retained bool
}

// subscription is a topic with the QoS asked for.
type subscription struct {
	topic string
	qos   byte
}

// bus is what sim needs of an MQTT client.
type bus interface {
	publish(topic string, qos byte, payload []byte)
	close()
}

// gate is what sim needs of the receiver.
type gate interface {
	permit(payload []byte, retained bool, clock time.Duration)
	command(payload []byte, retained bool, clock time.Duration) (ack []byte)
	mayMove(clock time.Duration) (may bool, why string)
	landing() bool
}

func dial(ctx context.Context, url, name string, hear func(letter), subs ...subscription) (bus, error) {
	return nil, errors.New("sim: no MQTT client yet")
}

func newGate(NodeOptions) gate { return closed{} }

// closed is the gate before there is a receiver: nothing may ever move.
type closed struct{}

func (closed) permit([]byte, bool, time.Duration)         {}
func (closed) command([]byte, bool, time.Duration) []byte { return nil }
func (closed) mayMove(time.Duration) (bool, string)       { return false, "no receiver" }
func (closed) landing() bool                              { return false }
