package cli

import (
	"fmt"
	"math/rand/v2"
	"net"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/link/receiver"
	"pinfold/watchdog/link/wire"
)

// hearing gathers what one client hears.
type hearing struct {
	mu  sync.Mutex
	all []mqtt.Message
}

func (h *hearing) hear(_ mqtt.Client, m mqtt.Message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.all = append(h.all, m)
}

func (h *hearing) first() mqtt.Message {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.all[0]
}

// on counts what was heard on a topic, or below it where it ends with a slash.
func (h *hearing) on(topic string) (n int) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range h.all {
		if m.Topic() == topic || strings.HasSuffix(topic, "/") && strings.HasPrefix(m.Topic(), topic) {
			n++
		}
	}
	return n
}

// joined is a client of a user's that hears by filters.
func joined(t *testing.T, b *mosquittotest.Broker, user string, filters ...string) (mqtt.Client, *hearing) {
	t.Helper()
	h := &hearing{}
	c := mqtt.NewClient(accessOptions(b, user).SetDefaultPublishHandler(h.hear))
	finish(t, user, c.Connect())
	for _, f := range filters {
		finish(t, user+" "+f, c.Subscribe(f, 1, nil))
	}
	t.Cleanup(func() { c.Disconnect(0) })
	return c, h
}

func finish(t *testing.T, what string, token mqtt.Token) {
	t.Helper()
	if !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatalf("%s: %v", what, token.Error())
	}
}

// say publishes, whether or not the broker takes it.
func say(t *testing.T, c mqtt.Client, topic string, retained bool, payload any) {
	t.Helper()
	finish(t, topic, c.Publish(topic, 1, retained, payload))
}

// What the broker tells of itself is for nobody in the list: it names clients and
// counts what passes. Nor may anybody write there.
func TestAccessListKeepsTheBrokersOwnTopics(t *testing.T) {
	t.Parallel()
	b := guardedBy(t, "topic readwrite $SYS/#", nil, "sys_interval 1")
	_, knows := joined(t, b, "auditor", "$SYS/#")
	clients, heard := map[string]mqtt.Client{}, map[string]*hearing{}
	for user := range may {
		clients[user], heard[user] = joined(t, b, user, "$SYS/#", "$SYS/broker/version", "+/broker/version", "pinfold/all/command")
		say(t, clients[user], "$SYS/pinfold/"+user, false, "x")
	}
	within(t, 10*time.Second, "the auditor hears of the broker", func() bool { return knows.on("$SYS/broker/version") > 0 && knows.on("$SYS/broker/uptime") > 1 })
	say(t, clients["guard"], "pinfold/all/command", false, "x") // after all of it, by the broker's order
	for user, h := range heard {
		within(t, 10*time.Second, user+" hears the end", func() bool { return h.on("pinfold/all/command") > 0 })
		if n := h.on("$SYS/"); n > 0 {
			t.Errorf("%s hears %d messages of $SYS", user, n)
		}
	}
	if n := knows.on("$SYS/pinfold/"); n > 0 {
		t.Errorf("%d messages were written to $SYS", n)
	}
}

// A will is published by the broker, after its client is gone: still only where
// that client's user could have published it.
func TestAccessListHoldsForWills(t *testing.T) {
	t.Parallel()
	b := guarded(t)
	for _, retained := range []bool{false, true} {
		_, heard := joined(t, b, "auditor", "#")
		for user := range may {
			for _, topic := range accessTopics() {
				leaveWill(t, b, user, topic, retained)
			}
		}
		wanted := func(user, topic string) bool { return covers(may[user].say, topic) }
		within(t, 20*time.Second, "the wills that may be are heard", func() bool {
			for user := range may {
				for _, topic := range accessTopics() {
					if wanted(user, topic) && !heard.has(topic, user) {
						return false
					}
				}
			}
			return true
		})
		last, _ := joined(t, b, "auditor")
		say(t, last, "audit/done", false, "x")
		within(t, 10*time.Second, "the auditor hears the end", func() bool { return heard.on("audit/done") > 0 })
		for user := range may {
			for _, topic := range accessTopics() {
				if heard.has(topic, user) && !wanted(user, topic) {
					t.Errorf("retained %v: the will of %s is heard on %s", retained, user, topic)
				}
			}
		}
	}
}

// leaveWill connects with a will that names the user, and is gone without a goodbye.
func leaveWill(t *testing.T, b *mosquittotest.Broker, user, topic string, retained bool) {
	t.Helper()
	var raw net.Conn
	o := accessOptions(b, user).SetWill(topic, user, 1, retained).
		SetCustomOpenConnectionFn(func(*url.URL, mqtt.ClientOptions) (c net.Conn, err error) {
			raw, err = net.Dial("tcp", strings.TrimPrefix(b.URL, "mqtt://"))
			return raw, err
		})
	token := mqtt.NewClient(o).Connect()
	if !token.WaitTimeout(10 * time.Second) {
		t.Fatalf("%s, will on %s: no answer", user, topic)
	}
	if token.Error() == nil { // else the broker refuses the connection for its will
		_ = raw.Close()
	}
}

// accessOptions are those of a user's connection with an id of its own.
func accessOptions(b *mosquittotest.Broker, user string) *mqtt.ClientOptions {
	return mqtt.NewClientOptions().AddBroker(strings.Replace(b.URL, "mqtt", "tcp", 1)).SetClientID(fmt.Sprintf("round-%x", rand.Uint64())).
		SetUsername(user).SetPassword(accessPassword).SetProtocolVersion(4).SetAutoReconnect(false)
}

func (h *hearing) has(topic, payload string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.ContainsFunc(h.all, func(m mqtt.Message) bool { return m.Topic() == topic && string(m.Payload()) == payload })
}

// Two other ways to another's messages: a subscription that is shared, and a user
// whose name is a wildcard in the list's patterns.
func TestAccessListHoldsForSharedFiltersAndOddNames(t *testing.T) {
	t.Parallel()
	odd := []string{"+", "#", "wren/permit", "+/permit"}
	b := guardedBy(t, "topic readwrite #", odd)
	guard, _ := joined(t, b, "guard")
	heard := map[string]*hearing{}
	for _, user := range append(odd, "stranger", "display", "desk") {
		token := mqtt.NewClient(accessOptions(b, user)).Connect()
		if token.WaitTimeout(10*time.Second) && token.Error() != nil && slices.Contains(odd, user) {
			t.Logf("the broker refuses %q: %v", user, token.Error())
			continue
		}
		_, heard[user] = joined(t, b, user, "$share/thieves/pinfold/wren/permit", "$share/thieves/pinfold/#", "pinfold/+/permit", "pinfold/wren/#", "#")
	}
	_, wren := joined(t, b, "wren", "pinfold/wren/permit")
	for range 20 {
		say(t, guard, "pinfold/wren/permit", false, "x")
	}
	within(t, 10*time.Second, "wren hears every permit of its own", func() bool { return wren.on("pinfold/wren/permit") == 20 })
	say(t, guard, "pinfold/all/command", false, "x")
	within(t, 10*time.Second, "a stranger hears what all may hear", func() bool { return heard["stranger"].on("pinfold/all/command") > 0 })
	for user, h := range heard {
		if n := h.on("pinfold/wren/permit"); n > 0 {
			t.Errorf("%q hears %d of wren's permits", user, n)
		}
	}
}

// The list cannot forbid a guard to retain a permit: the vehicle's receiver does
// not take it, however fresh. And a start that is left behind starts nobody.
func TestRetainedPermitOfAnAllowedUser(t *testing.T) {
	t.Parallel()
	b := guarded(t)
	guard, _ := joined(t, b, "guard")
	now := time.Now().UnixNano()
	p := wire.Permit{Guard: "pinfold", Session: "s", Seq: 1, Stamp: now, Valid: 1}
	say(t, guard, "pinfold/wren/permit", true, p.Append(nil))
	_, heard := joined(t, b, "wren", "pinfold/wren/permit")
	within(t, 10*time.Second, "the kept permit comes", func() bool { return heard.on("pinfold/wren/permit") == 1 })
	r, err := receiver.New(receiver.Options{})
	if err != nil {
		t.Fatal(err)
	}
	kept := heard.first()
	r.Permit(kept.Payload(), kept.Retained(), now)
	if !kept.Retained() || r.Counts().Retained != 1 || r.Session() != "" {
		t.Errorf("retained %v, counted %+v, session %q", kept.Retained(), r.Counts(), r.Session())
	}
	p.Seq, p.Go = 2, true
	say(t, guard, "pinfold/wren/permit", true, p.Append(nil))
	_, again := joined(t, b, "wren", "pinfold/wren/permit")
	within(t, 10*time.Second, "the kept go comes", func() bool { return again.on("pinfold/wren/permit") == 1 })
	r.Permit(again.first().Payload(), again.first().Retained(), now)
	if v := r.MayMove(now); v.Go || r.Counts().Retained != 2 {
		t.Errorf("%+v by a permit that was kept", v)
	}
}
