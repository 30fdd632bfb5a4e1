package sim

import (
	"context"
	"fmt"
	"strings"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
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

// bus is a connection to a broker that finds its way back by itself.
type bus struct{ client mqtt.Client }

// dial connects name to the broker at url and hands every message of subs to
// hear, in order, from the client's goroutine: hear must not block.
func dial(ctx context.Context, url, name string, hear func(letter), subs ...subscription) (*bus, error) {
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).SetClientID(fmt.Sprintf("%s-%x", name, time.Now().UnixNano()))
	o.SetKeepAlive(2 * time.Second).SetPingTimeout(500 * time.Millisecond).SetConnectTimeout(500 * time.Millisecond)
	o.SetWriteTimeout(200 * time.Millisecond).SetMaxReconnectInterval(100 * time.Millisecond)
	o.SetConnectRetry(true).SetConnectRetryInterval(100 * time.Millisecond).SetCleanSession(true).SetProtocolVersion(4)
	up := make(chan struct{}, 1)
	o.SetOnConnectHandler(func(c mqtt.Client) {
		go func() {
			for _, s := range subs {
				c.Subscribe(s.topic, s.qos, func(_ mqtt.Client, m mqtt.Message) {
					hear(letter{m.Topic(), append([]byte(nil), m.Payload()...), m.Retained()})
				}).WaitTimeout(time.Second)
			}
			select {
			case up <- struct{}{}:
			default:
			}
		}()
	})
	b := &bus{mqtt.NewClient(o)}
	b.client.Connect()
	select {
	case <-up:
		return b, nil
	case <-ctx.Done():
		b.close()
		return nil, fmt.Errorf("no connection to %s: %w", url, ctx.Err())
	}
}

// publish sends without waiting; what cannot be sent now is lost.
func (b *bus) publish(topic string, qos byte, payload []byte) {
	if b.client.IsConnectionOpen() {
		b.client.Publish(topic, qos, false, payload)
	}
}

func (b *bus) close() { b.client.Disconnect(50) }
