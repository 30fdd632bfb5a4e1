package cli

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"maps"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"pinfold/config"
	"pinfold/watchdog/app"
	"pinfold/watchdog/link"
	"pinfold/watchdog/link/mosquittotest"
	"pinfold/watchdog/relay"
)

// accessUsers have a password each; stranger knows one and stands in no list. The
// auditor is the test's own, who may do everything.
var accessUsers = []string{"guard", "wren", "mole", "wren-tracker", "mole-tracker", "desk", "display", "stranger", "auditor"}

const accessPassword = "not-a-secret"

// guarded is mosquitto with the access list of systemd/, as a site would have it.
func guarded(t *testing.T, more ...string) *mosquittotest.Broker {
	t.Helper()
	return guardedBy(t, "topic readwrite #", nil, more...)
}

// guardedBy is guarded with other rights of the auditor's, and more users.
func guardedBy(t *testing.T, auditor string, users []string, more ...string) *mosquittotest.Broker {
	t.Helper()
	dir := t.TempDir()
	list, err := os.ReadFile("../../systemd/mosquitto-pinfold.acl")
	if err != nil {
		t.Fatal(err)
	}
	acl, passwords := filepath.Join(dir, "acl"), filepath.Join(dir, "passwords")
	write(t, acl, string(list)+"\nuser auditor\n"+auditor+"\n")
	program, err := exec.LookPath("mosquitto_passwd")
	if err != nil {
		t.Skip("mosquitto_passwd is not installed; install it (Debian: apt-get install mosquitto) to run this test")
	}
	var all strings.Builder
	for _, u := range append(users, accessUsers...) {
		fmt.Fprintf(&all, "%s:%s\n", u, accessPassword)
	}
	write(t, passwords, all.String())
	if out, err := exec.Command(program, "-U", passwords).CombinedOutput(); err != nil {
		t.Fatalf("mosquitto_passwd: %v: %s", err, out)
	}
	return mosquittotest.Start(t, append(more, "allow_anonymous false", "password_file "+passwords, "acl_file "+acl)...)
}

func write(t *testing.T, path, text string) string {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// accessClient is one user's connection.
func accessClient(t *testing.T, b *mosquittotest.Broker, user string, hear func(topic string)) mqtt.Client {
	t.Helper()
	o := mqtt.NewClientOptions().AddBroker(strings.Replace(b.URL, "mqtt", "tcp", 1)).SetClientID("test-" + user).
		SetUsername(user).SetPassword(accessPassword).SetProtocolVersion(4).SetAutoReconnect(false).
		SetDefaultPublishHandler(func(_ mqtt.Client, m mqtt.Message) { hear(m.Topic()) })
	c := mqtt.NewClient(o)
	for _, act := range []func() mqtt.Token{c.Connect, func() mqtt.Token { return c.Subscribe("#", 1, nil) }} {
		if token := act(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
			t.Fatalf("%s: %v", user, token.Error())
		}
	}
	t.Cleanup(func() { c.Disconnect(100) })
	return c
}

// accessTopics are all topics of the contract, and one of no use.
func accessTopics() (all []string) {
	for _, v := range []string{"wren", "mole"} {
		for _, what := range []string{"pose", "permit", "command", "ack", "state", "request", "align"} {
			all = append(all, "pinfold/"+v+"/"+what)
		}
	}
	return append(all, "pinfold/all/command", "pinfold/guard/link/s1/wren", "other/thing")
}

// may is what each user can do; what is not here, nobody can.
var may = map[string]struct{ say, hear []string }{
	"guard": {[]string{"+/permit", "+/command", "+/state", "all/command", "guard/link/s1/wren"},
		[]string{"+/pose", "+/ack", "+/request", "+/align", "+/permit", "guard/link/s1/wren", "all/command"}},
	"wren":         {[]string{"wren/ack"}, []string{"wren/permit", "wren/command", "all/command"}},
	"mole":         {[]string{"mole/ack"}, []string{"mole/permit", "mole/command", "all/command"}},
	"wren-tracker": {[]string{"wren/pose"}, []string{"all/command"}},
	"mole-tracker": {[]string{"mole/pose"}, []string{"all/command"}},
	"desk":         {[]string{"+/request", "+/align"}, []string{"+/state", "+/pose", "all/command"}},
	"display":      {nil, []string{"+/state", "all/command"}},
	"stranger":     {nil, []string{"all/command"}},
}

// covers says whether a topic is one of the list, + standing for either vehicle.
func covers(list []string, topic string) bool {
	for _, l := range list {
		for _, v := range []string{"wren", "mole"} {
			if topic == "pinfold/"+strings.Replace(l, "+", v, 1) {
				return true
			}
		}
	}
	return false
}

// TestAccessList: every user tries to say everything and to hear everything, at a
// real mosquitto with the very file of systemd/. So a stranger publishes no pose,
// permit or reset, and a vehicle grants itself nothing.
func TestAccessList(t *testing.T) {
	t.Parallel()
	b := guarded(t)
	var mu sync.Mutex
	heard, said := map[string][]string{}, map[string]bool{}
	hears := func(user string) func(string) {
		return func(topic string) {
			mu.Lock()
			defer mu.Unlock()
			heard[user] = append(heard[user], topic)
		}
	}
	auditor := accessClient(t, b, "auditor", hears("auditor"))
	clients := map[string]mqtt.Client{}
	for _, u := range slices.Sorted(maps.Keys(may)) {
		clients[u] = accessClient(t, b, u, hears(u))
	}
	publish := func(c mqtt.Client, topic string) {
		t.Helper()
		if token := c.Publish(topic, 1, false, "x"); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
			t.Fatalf("%s: %v", topic, token.Error())
		}
	}
	for user, c := range clients {
		for _, topic := range accessTopics() {
			mu.Lock()
			before := len(heard["auditor"])
			mu.Unlock()
			publish(c, topic)
			publish(auditor, "audit/done") // after it, by the broker's order
			within(t, 10*time.Second, "the auditor hears itself", func() bool {
				mu.Lock()
				defer mu.Unlock()
				return len(heard["auditor"]) > before && heard["auditor"][len(heard["auditor"])-1] == "audit/done"
			})
			mu.Lock()
			said[user+" "+topic] = slices.Contains(heard["auditor"][before:], topic)
			mu.Unlock()
		}
	}
	mu.Lock()
	clear(heard)
	mu.Unlock()
	for _, topic := range accessTopics() {
		publish(auditor, topic)
	}
	publish(auditor, "pinfold/all/command") // the last that everybody may hear
	within(t, 10*time.Second, "everybody has heard the end", func() bool {
		mu.Lock()
		defer mu.Unlock()
		for u := range clients {
			if n := len(heard[u]); n == 0 || heard[u][n-1] != "pinfold/all/command" || !slices.Contains(heard[u][:n-1], "pinfold/all/command") {
				return false
			}
		}
		return true
	})
	mu.Lock()
	defer mu.Unlock()
	for user, rights := range may {
		for _, topic := range accessTopics() {
			if got, want := said[user+" "+topic], covers(rights.say, topic); got != want {
				t.Errorf("%s says %s: %v, want %v", user, topic, got, want)
			}
			if got, want := slices.Contains(heard[user], topic), covers(rights.hear, topic); got != want {
				t.Errorf("%s hears %s: %v, want %v", user, topic, got, want)
			}
		}
	}
}

// authority makes certificates that one authority signed, as files in dir:
// ca.pem, and NAME.pem with NAME.key for each name.
func authority(t *testing.T, dir string, names ...string) {
	t.Helper()
	make := func(name string, by *x509.Certificate, signer *ecdsa.PrivateKey) (*x509.Certificate, *ecdsa.PrivateKey) {
		key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
		if err != nil {
			t.Fatal(err)
		}
		c := &x509.Certificate{SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: name},
			NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
			IsCA: by == nil, BasicConstraintsValid: true}
		if by == nil {
			by, signer = c, key
		}
		der, err := x509.CreateCertificate(rand.Reader, c, by, &key.PublicKey, signer)
		if err != nil {
			t.Fatal(err)
		}
		secret, err := x509.MarshalPKCS8PrivateKey(key)
		if err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, name+".pem"), string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})))
		write(t, filepath.Join(dir, name+".key"), string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})))
		return c, key
	}
	ca, key := make("ca", nil, nil)
	for _, n := range names {
		make(n, ca, key)
	}
}

// TestWholeJobBehindAccessListAndTLS: guard, tracker, relay and operator, each
// with a user and a certificate of its own, all from files that the site file
// names. The guard can do all that it needs to, its probes and its will included.
func TestWholeJobBehindAccessListAndTLS(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	authority(t, dir, "broker", "guest")
	at := func(name string) string { return filepath.Join(dir, name) }
	b := guarded(t, "cafile "+at("ca.pem"), "certfile "+at("broker.pem"), "keyfile "+at("broker.key"), "require_certificate true")
	write(t, at("password"), accessPassword+"\n")
	site := func(user string) string {
		text, err := os.ReadFile(patientSite(t, strings.Replace(b.URL, "mqtt", "mqtts", 1)))
		if err != nil {
			t.Fatal(err)
		}
		keys := fmt.Sprintf("[broker]\nuser = %q\npassword_file = %q\nca = %q\ncert = %q\nkey = %q\n", user, at("password"), at("ca.pem"), at("guest.pem"), at("guest.key"))
		return write(t, at(user+".toml"), strings.Replace(string(text), "[broker]\n", keys, 1))
	}
	guard := start(t, "run", "--site", site("guard"), "--trail", t.TempDir())
	guard.waitFor("watching")
	clock, err := relay.Clock("realtime")
	if err != nil {
		t.Fatal(err)
	}
	tracker := accessLink(t, site("wren-tracker"), "wren-tracker")
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go steadyPose(tracker, clock, stop)
	log := at("log")
	r := start(t, "relay", "--site", site("desk"), "--user", "wren", "--password-file", at("password"), "--clock", "realtime", "--feed", "exec cat > "+log)
	ends := func(word string) bool {
		b, err := os.ReadFile(log)
		return err == nil && strings.HasSuffix(string(b), word+"\n")
	}
	within(t, 30*time.Second, "a start is granted", func() bool { code, _ := ask("start", "--site", site("desk")); return code == exitFine })
	within(t, 10*time.Second, "the relay goes", func() bool { return ends("go") })
	if err := guard.cmd.Process.Kill(); err != nil { // its will comes before the permit is old, or the permit's age halts
		t.Fatal(err)
	}
	within(t, 10*time.Second, "the relay halts", func() bool { return ends("halt stop") || ends("halt land") })
	within(t, 10*time.Second, "the relay heard the guard's will", func() bool { return strings.Contains(r.text(), "halt (stop): a stop command is latched") })
	if strings.Contains(guard.text(), "probe of the link did not come back") {
		t.Error("the guard's probes are kept from it")
	}
	for _, p := range []*process{guard, r} {
		if strings.Contains(p.text(), accessPassword) {
			t.Error("the password stands in a log")
		}
	}
}

// accessLink is a connection by what a site file says of the broker.
func accessLink(t *testing.T, site, name string) *link.Slot {
	t.Helper()
	s, err := config.Load(site)
	if err != nil {
		t.Fatal(err)
	}
	o, err := app.LinkOptions(&s.Broker)
	if err != nil {
		t.Fatal(err)
	}
	begun := time.Now()
	o.ClientID, o.Now = name, func() time.Duration { return time.Since(begun) }
	c, err := link.Dial(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = c.Close(time.Second) })
	slot, err := c.Slot("pinfold/wren/pose", 0, false)
	if err != nil {
		t.Fatal(err)
	}
	return slot
}

// steadyPose offers a still pose at 200 Hz until stop is closed.
func steadyPose(to *link.Slot, clock func() int64, stop <-chan struct{}) {
	tick := time.NewTicker(5 * time.Millisecond)
	defer tick.Stop()
	for seq := uint64(1); ; seq++ {
		select {
		case <-stop:
			return
		case <-tick.C:
			to.Put(poseMessage(clock(), seq, 3+float64(seq%7)*1e-5, 2, 1.5), 1<<62)
		}
	}
}
