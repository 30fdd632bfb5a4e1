package link

import (
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Will is what the broker publishes when this client vanishes, with QoS 1 and
// not retained. Without a topic there is none.
type Will struct {
	Topic   string
	Payload []byte
}

// Sub is one subscription.
type Sub struct {
	Topic string // a topic filter, wildcards included
	QoS   byte   // 0 or 1
	Inbox *Inbox // where its messages go
	ID    int    // queue of the Inbox, and Message.Sub
}

// Options of a Client.
type Options struct {
	URL      string   // mqtt://host:port or tcp://host:port; mqtts://host:port for TLS. Ports 1883 and 8883 may be left out
	More     []string // addresses of further nodes of the same broker, tried in turns; all encrypted or none
	ClientID string   // beginning of the client id; each connection adds an ending of its own
	User     string
	Password string
	TLS      *tls.Config // only with mqtts; nil for the system's certificates
	Will     Will
	Now      func() time.Duration // monotonic clock that stamps what arrives and judges notAfter
	Subs     []Sub
	// OnLink is told when the link comes up or goes down, in order, from one
	// goroutine of the client. It must return at once and not call the Client.
	OnLink func(up bool, why string)
}

// target is a URL taken apart.
type target struct {
	addr string // host:port
	tls  *tls.Config
}

// check judges the options and takes the URLs apart.
func (o *Options) check() (t []target, err error) {
	if len(o.More) >= MaxNodes {
		return t, fmt.Errorf("link: %d addresses, at most %d; name fewer nodes", 1+len(o.More), MaxNodes)
	}
	for _, url := range append([]string{o.URL}, o.More...) {
		node, err := parseURL(url, o.TLS)
		if err != nil {
			return nil, err
		}
		t = append(t, node)
		if (node.tls == nil) != (t[0].tls == nil) {
			return nil, errors.New("link: some of the broker's addresses are encrypted and some are not; write mqtts:// for all, or mqtt://")
		}
	}
	switch {
	case o.Now == nil:
		return t, errors.New("link: no clock; set Options.Now to a monotonic one")
	case o.ClientID == "" || len(o.ClientID) > MaxClientID:
		return t, fmt.Errorf("link: client id is %d bytes long; give 1 to %d", len(o.ClientID), MaxClientID)
	case !plain(o.ClientID):
		return t, fmt.Errorf("link: client id %q has control characters or is not UTF-8; use letters, digits, - and _", o.ClientID)
	case o.Password != "" && o.User == "":
		return t, errors.New("link: a password without a user; set Options.User too")
	case len(o.Subs) > MaxSubs:
		return t, fmt.Errorf("link: %d subscriptions, at most %d; use a wildcard", len(o.Subs), MaxSubs)
	}
	if o.Will.Topic != "" {
		if err := checkSend(o.Will.Topic, 1, len(o.Will.Payload)); err != nil {
			return t, fmt.Errorf("will: %w", err)
		}
	} else if len(o.Will.Payload) > 0 {
		return t, errors.New("link: a will without a topic; set Will.Topic")
	}
	return t, checkSubs(o.Subs)
}

func checkSubs(subs []Sub) error {
	seen := make(map[string]bool, len(subs))
	for i := range subs {
		s := &subs[i]
		switch {
		case !filterOK(s.Topic):
			return fmt.Errorf("link: subscription %d: %.80q is no topic filter; write levels divided by /, + for one whole level, # for the rest", i, s.Topic)
		case seen[s.Topic]:
			return fmt.Errorf("link: subscription %d: %q stands twice; name it once", i, s.Topic)
		case s.QoS > 1:
			return fmt.Errorf("link: subscription %q: QoS %d is not supported; give 0 or 1", s.Topic, s.QoS)
		case s.Inbox == nil:
			return fmt.Errorf("link: subscription %q has no inbox; make one with NewInbox", s.Topic)
		case s.ID < 0 || s.ID >= len(s.Inbox.queues):
			return fmt.Errorf("link: subscription %q: the inbox has no queue %d, only 0 to %d", s.Topic, s.ID, len(s.Inbox.queues)-1)
		}
		seen[s.Topic] = true
	}
	return nil
}

// checkSend judges what is to be published.
func checkSend(topic string, qos byte, size int) error {
	switch {
	case topic == "" || len(topic) > MaxTopic || !plain(topic) || strings.ContainsAny(topic, "+#"):
		return fmt.Errorf("link: %.80q is no topic to publish on; write 1 to %d bytes without + and #", topic, MaxTopic)
	case qos > 1:
		return fmt.Errorf("link: topic %q: QoS %d is not supported; give 0 or 1", topic, qos)
	case size > MaxPayload:
		return fmt.Errorf("link: topic %q: payload of %d bytes, at most %d", topic, size, MaxPayload)
	}
	return nil
}

// filterOK follows MQTT 3.1.1 §4.7.1.
func filterOK(filter string) bool {
	if filter == "" || len(filter) > MaxTopic || !plain(filter) {
		return false
	}
	levels := strings.Split(filter, "/")
	for i, level := range levels {
		switch {
		case level == "#" && i < len(levels)-1:
			return false
		case len(level) > 1 && strings.ContainsAny(level, "+#"):
			return false
		}
	}
	return true
}

// plain is UTF-8 without control characters (MQTT 3.1.1 §1.5.3).
func plain(s string) bool {
	if !utf8.ValidString(s) {
		return false
	}
	for _, r := range s {
		if r < ' ' || r >= 0x7f && r < 0xa0 {
			return false
		}
	}
	return true
}

func parseURL(raw string, config *tls.Config) (t target, err error) {
	const example = "write one like mqtt://127.0.0.1:1883 or mqtts://broker.local:8883"
	u, err := url.Parse(raw)
	if err != nil || u.Hostname() == "" {
		return t, fmt.Errorf("link: the broker's address cannot be read; %s", example) // it may hold a password: not repeated
	}
	if u.User != nil {
		return t, errors.New("link: the broker's address holds a user or password, which would end up in logs; set them in their own options")
	}
	port := u.Port()
	switch u.Scheme {
	case "mqtt", "tcp":
		if config != nil {
			return t, fmt.Errorf("link: %s:// is not encrypted, yet TLS is set up; write mqtts://", u.Scheme)
		}
		t.addr = "1883"
	case "mqtts":
		t.tls = &tls.Config{MinVersion: tls.VersionTLS12}
		if config != nil {
			t.tls = config.Clone()
		}
		if t.tls.ServerName == "" {
			t.tls.ServerName = u.Hostname()
		}
		t.addr = "8883"
	default:
		return t, fmt.Errorf("link: broker scheme %q is not known; %s", u.Scheme, example)
	}
	if port == "" {
		port = t.addr
	}
	if n, err := strconv.Atoi(port); err != nil || n < 1 || n > 65535 {
		return t, fmt.Errorf("link: broker port %q is out of range; %s", port, example)
	}
	if u.Path != "" && u.Path != "/" || u.RawQuery != "" || u.Fragment != "" {
		return t, fmt.Errorf("link: the broker's address %q goes on after the port; %s", u.Redacted(), example)
	}
	t.addr = net.JoinHostPort(u.Hostname(), port)
	return t, nil
}
