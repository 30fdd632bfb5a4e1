package link

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"net"
	"net/url"
	"sync/atomic"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"
)

// session is one connection, under a client id of its own. It is never made
// again: with the client library's own reconnection, messages of QoS 1 from
// before an outage are delivered after it.
type session struct {
	client mqtt.Client
	conn   atomic.Pointer[conn] // the socket, once open; closing it ends everything
	lost   chan string          // capacity 1: why the connection broke
}

// connect opens a connection and has every subscription granted.
func (c *Client) connect(within time.Duration) (*session, error) {
	s := &session{lost: make(chan string, 1)}
	s.client = mqtt.NewClient(c.mqttOptions(s, c.nodes[c.at], within))
	for i := range c.opt.Subs {
		sub := &c.opt.Subs[i]
		s.client.AddRoute(sub.Topic, func(_ mqtt.Client, m mqtt.Message) {
			sub.Inbox.put(sub.ID, m.Topic(), m.Payload(), m.Retained(), c.opt.Now())
		})
	}
	err := waitToken(c.ctx, s.client.Connect(), within+writeTimeout)
	if err == nil {
		err = c.subscribe(s)
	}
	if err != nil {
		s.end(0)
		return nil, connectError(err)
	}
	return s, nil
}

func (c *Client) mqttOptions(s *session, node target, within time.Duration) *mqtt.ClientOptions {
	o := mqtt.NewClientOptions().
		AddBroker("tcp://" + node.addr). // a name only: the connection is opened below
		SetClientID(c.opt.ClientID + "-" + uniqueEnding()).
		SetUsername(c.opt.User).SetPassword(c.opt.Password).
		SetProtocolVersion(4).SetCleanSession(true).
		SetAutoReconnect(false).SetConnectRetry(false).SetResumeSubs(false).
		SetKeepAlive(keepAlive).SetPingTimeout(pingTimeout).
		SetConnectTimeout(within).SetWriteTimeout(writeTimeout).
		SetOrderMatters(true).
		SetDefaultPublishHandler(func(mqtt.Client, mqtt.Message) {}).
		SetConnectionLostHandler(func(_ mqtt.Client, err error) {
			select {
			case s.lost <- plainError(err):
			default:
			}
		}).
		SetCustomOpenConnectionFn(func(*url.URL, mqtt.ClientOptions) (net.Conn, error) {
			opened, err := open(c.ctx, node, within, newDirect(c.opt.Subs, c.opt.Now))
			if err != nil {
				return nil, err
			}
			s.conn.Store(opened)
			return opened, nil
		})
	if c.opt.Will.Topic != "" {
		o.SetBinaryWill(c.opt.Will.Topic, c.opt.Will.Payload, 1, false)
	}
	return o
}

// subscribe asks for all subscriptions and checks what was granted. A broker
// that refuses is asked again a few times on the same connection.
func (c *Client) subscribe(s *session) error {
	const tries = 3
	var err error
	for try := range tries {
		if try > 0 {
			timer := time.NewTimer(grantRetry)
			select {
			case <-timer.C:
			case <-c.ctx.Done():
				timer.Stop()
				return c.ctx.Err()
			}
		}
		if err = c.subscribeOnce(s); err == nil || !errors.As(err, new(*refusal)) {
			return err
		}
	}
	return err
}

func (c *Client) subscribeOnce(s *session) error {
	subs := c.opt.Subs
	for len(subs) > 0 {
		n := min(len(subs), subsPerPacket)
		filters := make(map[string]byte, n)
		for _, sub := range subs[:n] {
			filters[sub.Topic] = sub.QoS
		}
		token := s.client.SubscribeMultiple(filters, nil) // the routes stand already
		if err := waitToken(c.ctx, token, grantWithin); err != nil {
			return fmt.Errorf("subscribing: %w", err)
		}
		granted := token.(*mqtt.SubscribeToken).Result()
		for _, sub := range subs[:n] {
			if code, ok := granted[sub.Topic]; !ok || code > 1 {
				return &refusal{fmt.Sprintf("the broker refuses the subscription %q; see its access rules", sub.Topic)}
			}
		}
		subs = subs[n:]
	}
	return nil
}

// publish hands over one message; it may take as long as writeTimeout.
func (s *session) publish(topic string, payload []byte, qos byte, retain bool) ticket {
	return ticket{s.client.Publish(topic, qos, retain, payload)}
}

// end says goodbye within quiesce and closes the socket whatever comes of it.
func (s *session) end(quiesce time.Duration) {
	s.client.Disconnect(uint(quiesce / time.Millisecond))
	if conn := s.conn.Load(); conn != nil {
		_ = conn.Close() // closed already where all went well
	}
}

// ticket follows one message that was handed over. The zero ticket is done.
type ticket struct{ token mqtt.Token }

func (t ticket) done() bool {
	if t.token == nil {
		return true
	}
	select {
	case <-t.token.Done():
		return true
	default:
		return false
	}
}

func (t ticket) failed() bool { return t.token != nil && t.done() && t.token.Error() != nil }

func (t ticket) wait(d time.Duration) bool {
	return t.done() || t.token.WaitTimeout(max(d, 0))
}

// refusal is an answer of the broker that will hardly change by itself.
type refusal struct{ text string }

func (r *refusal) Error() string { return r.text }

// connectError names the cases in which trying on will not help.
func connectError(err error) error {
	switch {
	case errors.Is(err, packets.ErrorRefusedBadUsernameOrPassword), errors.Is(err, packets.ErrorRefusedNotAuthorised):
		return &refusal{"the broker does not accept this user and password; check both, and its access rules"}
	case errors.Is(err, packets.ErrorRefusedBadProtocolVersion):
		return &refusal{"the broker does not speak MQTT 3.1.1; use one that does"}
	case errors.Is(err, packets.ErrorRefusedIDRejected):
		return &refusal{"the broker does not accept the client id; choose a shorter one of letters, digits and -"}
	}
	return err
}

// plainError leaves out addresses, which change from try to try.
func plainError(err error) string {
	var op *net.OpError
	if errors.As(err, &op) && op.Err != nil {
		return op.Op + ": " + op.Err.Error()
	}
	if err == nil {
		return "the connection ended"
	}
	return err.Error()
}

var errTimeout = errors.New("the broker does not answer in time")

func waitToken(ctx context.Context, token mqtt.Token, within time.Duration) error {
	timer := time.NewTimer(within)
	defer timer.Stop()
	select {
	case <-token.Done():
		return token.Error()
	case <-timer.C:
		return errTimeout
	case <-ctx.Done():
		return ctx.Err()
	}
}

func uniqueEnding() string {
	var b [6]byte
	_, _ = rand.Read(b[:]) // never fails: it ends the process instead
	return hex.EncodeToString(b[:])
}
