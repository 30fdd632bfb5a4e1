package link

import (
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"pinfold/watchdog/link/mosquittotest"
)

// picky refuses subscriptions to "forbidden". Mosquitto's own access list is no
// use here: it grants every subscription and then delivers nothing.
type picky struct {
	mqtt.HookBase
	first int // how many subscriptions to refuse whatever they are
}

func (*picky) ID() string             { return "picky" }
func (*picky) Provides(b byte) bool   { return b == mqtt.OnConnectAuthenticate || b == mqtt.OnACLCheck }
func (p *picky) refuse(t string) bool { p.first--; return p.first >= 0 || t == "forbidden" }

func (*picky) OnConnectAuthenticate(*mqtt.Client, packets.Packet) bool { return true }

func (p *picky) OnACLCheck(_ *mqtt.Client, topic string, write bool) bool {
	return write || !p.refuse(topic)
}

func pickyBroker(tb testing.TB, first int) string {
	tb.Helper()
	s := mqtt.New(&mqtt.Options{Logger: slog.New(slog.NewTextHandler(io.Discard, nil))})
	l := listeners.NewTCP(listeners.Config{ID: "t", Address: "127.0.0.1:0"})
	for _, err := range []error{s.AddHook(&picky{first: first}, nil), s.AddListener(l), s.Serve()} {
		if err != nil {
			tb.Fatal(err)
		}
	}
	tb.Cleanup(func() { _ = s.Close() })
	return "mqtt://" + l.Address()
}

func TestRefusedSubscriptionIsNeverUp(t *testing.T) {
	t.Parallel()
	url := pickyBroker(t, 0)
	joined(t, url, nil, "allowed")
	p := join(t, url, nil, "allowed", "forbidden")
	eventually(t, "a reason", func() bool { return len(p.tale()) > 0 })
	time.Sleep(200 * time.Millisecond)
	if s := p.tale(); p.Up() || len(s) != 1 || !strings.Contains(s[0], `refuses the subscription "forbidden"`) {
		t.Errorf("up %v, story %q; want one line that names the subscription", p.Up(), s)
	}
}

func TestSubscriptionRefusedForAMomentIsAskedForAgain(t *testing.T) {
	p := joined(t, pickyBroker(t, 1), nil, "a")
	if s := p.tale(); len(s) != 1 || s[0] != "true: connected" {
		t.Errorf("story %q, want one connection", s)
	}
	p.slot(t, "a", 0, false).Put([]byte("x"), soon())
	if m := p.next(t); string(m.Payload) != "x" {
		t.Errorf("got %q", m.Payload)
	}
}

func TestWrongPasswordSaysSoAndIsNotRepeated(t *testing.T) {
	b := mosquittotest.Start(t, "allow_anonymous false")
	p := join(t, b.URL, func(o *Options) { o.User, o.Password = "wren", "hush-hush" })
	eventually(t, "a reason", func() bool { return len(p.tale()) > 0 })
	if s := p.tale()[0]; !strings.Contains(s, "user and password") || strings.Contains(s, "hush-hush") {
		t.Errorf("story %q", s)
	}
}
