package broker

import (
	"net"
	"net/url"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// client connects and fails the test where it cannot.
func client(t *testing.T, url, id string, lost chan<- struct{}) mqtt.Client {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(url, "mqtt://", "tcp://", 1)).SetClientID(id).
		SetAutoReconnect(false).SetProtocolVersion(4).SetConnectTimeout(2 * time.Second)
	o.SetConnectionLostHandler(func(mqtt.Client, error) {
		if lost != nil {
			close(lost)
		}
	})
	o.SetBinaryWill("will/"+id, []byte("gone"), 0, false)
	c := mqtt.NewClient(o)
	if k := c.Connect(); !k.WaitTimeout(3*time.Second) || k.Error() != nil {
		t.Fatalf("%s cannot connect: %v", id, k.Error())
	}
	return c
}

// hear subscribes and returns what comes.
func hear(t *testing.T, c mqtt.Client, topic string) <-chan mqtt.Message {
	t.Helper()
	got := make(chan mqtt.Message, 16)
	k := c.Subscribe(topic, 1, func(_ mqtt.Client, m mqtt.Message) { got <- m })
	if !k.WaitTimeout(3*time.Second) || k.Error() != nil {
		t.Fatalf("cannot subscribe to %s: %v", topic, k.Error())
	}
	return got
}

func within(t *testing.T, what string, got <-chan mqtt.Message) mqtt.Message {
	t.Helper()
	select {
	case m := <-got:
		return m
	case <-time.After(3 * time.Second):
		t.Fatalf("%s did not arrive", what)
		return nil
	}
}

func start(t *testing.T) *Broker {
	t.Helper()
	b, err := Start("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

// What is published arrives, what is retained is kept, and a will speaks for a
// client whose connection broke.
func TestCarries(t *testing.T) {
	b := start(t)
	one := client(t, b.URL(), "one", nil)
	defer one.Disconnect(10)
	got, wills := hear(t, one, "a/+"), hear(t, one, "will/#")
	one.Publish("a/b", 0, true, "kept")
	if m := within(t, "the message", got); string(m.Payload()) != "kept" || m.Retained() {
		t.Errorf("got %q, retained %v", m.Payload(), m.Retained())
	}
	late := hear(t, one, "a/b")
	if m := within(t, "the retained message", late); !m.Retained() {
		t.Error("what was kept does not say so")
	}
	two := &cut{}
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(b.URL(), "mqtt://", "tcp://", 1)).SetClientID("two").
		SetAutoReconnect(false).SetBinaryWill("will/two", []byte("gone"), 0, false).SetCustomOpenConnectionFn(two.open)
	c := mqtt.NewClient(o)
	if k := c.Connect(); !k.WaitTimeout(3*time.Second) || k.Error() != nil {
		t.Fatal(k.Error())
	}
	two.conn.Close()
	if m := within(t, "the will", wills); m.Topic() != "will/two" || string(m.Payload()) != "gone" {
		t.Errorf("will %s %q", m.Topic(), m.Payload())
	}
}

// Kill is a death: connections break at once, no will reaches anybody, nothing
// is remembered; Restart listens at the same address.
func TestKillAndRestart(t *testing.T) {
	b := start(t)
	url := b.URL()
	lost := make(chan struct{})
	one := client(t, url, "one", lost)
	wills := hear(t, one, "will/#")
	one.Publish("kept", 1, true, "old").WaitTimeout(3 * time.Second)
	client(t, url, "two", nil)
	b.Kill()
	b.Kill() // a dead broker cannot die
	select {
	case <-lost:
	case <-time.After(3 * time.Second):
		t.Fatal("the client did not notice")
	}
	if _, err := net.DialTimeout("tcp", strings.TrimPrefix(url, "mqtt://"), time.Second); err == nil {
		t.Error("a dead broker answers")
	}
	if err := b.Restart(); err != nil {
		t.Fatal(err)
	}
	if b.URL() != url {
		t.Errorf("came back at %s, was at %s", b.URL(), url)
	}
	again := client(t, url, "one", nil)
	defer again.Disconnect(10)
	kept := hear(t, again, "kept")
	select {
	case m := <-kept:
		t.Errorf("remembers %q", m.Payload())
	case m := <-wills:
		t.Errorf("will %s spoke", m.Topic())
	case <-time.After(150 * time.Millisecond):
	}
}

// However many clients die with the broker, none of them hears of the others:
// all are silenced before the first socket closes.
func TestKillSilencesWills(t *testing.T) {
	for range 20 {
		b := start(t)
		var ears []<-chan mqtt.Message
		for _, id := range []string{"a", "b", "c", "d", "e"} {
			ears = append(ears, hear(t, client(t, b.URL(), id, nil), "will/#"))
		}
		b.Kill()
		time.Sleep(5 * time.Millisecond)
		for _, e := range ears {
			select {
			case m := <-e:
				t.Fatalf("will %s was heard", m.Topic())
			default:
			}
		}
	}
}

func TestStartRefusesAndCloses(t *testing.T) {
	for _, addr := range []string{"nonsense", "127.0.0.1:99999", "256.0.0.1:0"} {
		if b, err := Start(addr); err == nil {
			b.Close()
			t.Errorf("started on %q", addr)
		}
	}
	b := start(t)
	if _, err := Start(strings.TrimPrefix(b.URL(), "mqtt://")); err == nil || !strings.Contains(err.Error(), "another port") {
		t.Errorf("two brokers on one port: %v", err)
	}
	if !strings.HasPrefix(b.URL(), "mqtt://127.0.0.1:") {
		t.Errorf("URL %s", b.URL())
	}
	b.Close()
	if err := b.Restart(); err == nil {
		t.Error("a closed broker restarted")
	}
	if err := b.Close(); err != nil {
		t.Errorf("the second Close: %v", err)
	}
}

// cut is a connection that a test can break.
type cut struct{ conn net.Conn }

func (c *cut) open(u *url.URL, _ mqtt.ClientOptions) (net.Conn, error) {
	conn, err := net.Dial("tcp", u.Host)
	c.conn = conn
	return conn, err
}
