package link

import (
	"crypto/tls"
	"strings"
	"testing"
	"time"
)

func fine(tb testing.TB) Options {
	return Options{URL: "mqtt://127.0.0.1:1883", ClientID: "test",
		Now:  func() time.Duration { return 0 },
		Subs: []Sub{{Topic: "pinfold/wren/pose", Inbox: mustInbox(tb)}}}
}

func TestBadOptionsAreErrorsAtOnce(t *testing.T) {
	long := strings.Repeat("x", MaxTopic+1)
	for name, c := range map[string]struct {
		spoil func(*Options)
		says  string
	}{
		"no address":      {func(o *Options) { o.URL = "" }, "write one like mqtt://"},
		"no scheme":       {func(o *Options) { o.URL = "127.0.0.1:1883" }, "write one like mqtt://"},
		"other scheme":    {func(o *Options) { o.URL = "ws://127.0.0.1:1883" }, `scheme "ws" is not known`},
		"port":            {func(o *Options) { o.URL = "mqtt://h:0" }, `port "0" is out of range`},
		"port too high":   {func(o *Options) { o.URL = "mqtt://h:65536" }, "out of range"},
		"path":            {func(o *Options) { o.URL = "mqtt://h/x" }, "goes on after the port"},
		"password in URL": {func(o *Options) { o.URL = "mqtt://me:hush@h" }, "set them in their own options"},
		"TLS on mqtt":     {func(o *Options) { o.TLS = &tls.Config{} }, "write mqtts://"},
		"bad node":        {func(o *Options) { o.More = []string{"mqtt://h", "h2"} }, "write one like mqtt://"},
		"mixed nodes":     {func(o *Options) { o.More = []string{"mqtts://h"} }, "some of the broker's addresses are encrypted"},
		"many nodes":      {func(o *Options) { o.More = make([]string, MaxNodes) }, "at most 8"},
		"no clock":        {func(o *Options) { o.Now = nil }, "set Options.Now"},
		"no id":           {func(o *Options) { o.ClientID = "" }, "client id is 0 bytes"},
		"long id":         {func(o *Options) { o.ClientID = long }, "give 1 to 48"},
		"control in id":   {func(o *Options) { o.ClientID = "a\n" }, "control characters"},
		"password alone":  {func(o *Options) { o.Password = "hush" }, "set Options.User"},
		"empty filter":    {func(o *Options) { o.Subs[0].Topic = "" }, "no topic filter"},
		"half level":      {func(o *Options) { o.Subs[0].Topic = "a/b+" }, "no topic filter"},
		"early #":         {func(o *Options) { o.Subs[0].Topic = "a/#/b" }, "no topic filter"},
		"QoS 2":           {func(o *Options) { o.Subs[0].QoS = 2 }, "QoS 2 is not supported"},
		"no inbox":        {func(o *Options) { o.Subs[0].Inbox = nil }, "make one with NewInbox"},
		"no such queue":   {func(o *Options) { o.Subs[0].ID = 1 }, "no queue 1, only 0 to 0"},
		"twice":           {func(o *Options) { o.Subs = append(o.Subs, o.Subs[0]) }, "stands twice"},
		"will wildcard":   {func(o *Options) { o.Will.Topic = "a/#" }, "without + and #"},
		"will no topic":   {func(o *Options) { o.Will.Payload = []byte("x") }, "set Will.Topic"},
		"will too long":   {func(o *Options) { o.Will = Will{"a", make([]byte, MaxPayload+1)} }, "at most 65536"},
	} {
		o := fine(t)
		c.spoil(&o)
		client, err := Dial(o)
		if err == nil {
			_ = client.Close(0)
			t.Errorf("%s: no error", name)
			continue
		}
		if !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %q does not say %q", name, err, c.says)
		}
		if strings.Contains(err.Error(), "hush") {
			t.Errorf("%s: the error repeats the password: %q", name, err)
		}
	}
}

func TestAddresses(t *testing.T) {
	for raw, want := range map[string]struct {
		addr, server string
	}{
		"mqtt://127.0.0.1":        {"127.0.0.1:1883", ""},
		"tcp://broker.local:1999": {"broker.local:1999", ""},
		"mqtts://broker.local":    {"broker.local:8883", "broker.local"},
		"mqtts://[::1]:99/":       {"[::1]:99", "::1"},
	} {
		got, err := parseURL(raw, nil)
		server := ""
		if got.tls != nil {
			server = got.tls.ServerName
		}
		if err != nil || got.addr != want.addr || server != want.server {
			t.Errorf("%s: %q %q %v, want %v", raw, got.addr, server, err, want)
		}
	}
	own := &tls.Config{ServerName: "other"}
	if got, err := parseURL("mqtts://h", own); err != nil || got.tls.ServerName != "other" || got.tls == own {
		t.Errorf("own TLS set-up: %+v %v, want a copy that keeps its server name", got, err)
	}
}

// The examples of MQTT 3.1.1 §4.7.1.2 and §4.7.1.3.
func TestFiltersOfTheStandard(t *testing.T) {
	for filter, ok := range map[string]bool{
		"sport/tennis/player1/#": true, "sport/#": true, "#": true, "sport/tennis/#": true,
		"sport/tennis#": false, "sport/tennis/#/ranking": false,
		"+": true, "+/tennis/#": true, "sport+": false, "sport/+/player1": true, "/+": true, "+/+": true,
	} {
		if filterOK(filter) != ok {
			t.Errorf("%q: %v, want %v", filter, !ok, ok)
		}
	}
}
