package config

import (
	"fmt"
	"net"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
)

// DefaultPrefix is the first level of every topic where the file gives none.
const DefaultPrefix = "pinfold"

// Range of the budget of the round trip through the broker.
const (
	minBudget = time.Millisecond
	maxBudget = time.Second // a permit is never valid for longer
)

const urlNext = `write it like url = "mqtt://127.0.0.1:1883", or mqtts:// for TLS`

// readBroker reads [broker]. Files it names are tried, so that check finds
// what run would stumble over, but not kept.
func (l *loader) readBroker(root *table) Broker {
	t := root.sub("broker")
	if !t.given && !t.wrong {
		root.missing("broker", "add [broker] and in it url")
	}
	b := Broker{
		Prefix: t.text("prefix", DefaultPrefix, MaxText),
		User:   t.text("user", "", MaxText),
	}
	if _, ok := t.m["password"]; ok {
		t.ask("password")
		t.m["password"] = "…" // never shown
		t.report("password", "has no place in a file that is copied into the trail", "put the password into a file of its own, readable by the daemon alone, and name it in password_file")
	}
	b.PasswordFile = l.tried(t, "password_file")
	b.CA, b.Cert, b.Key = l.tried(t, "ca"), l.tried(t, "cert"), l.tried(t, "key")
	b.Budget = t.duration("budget", 0, minBudget, maxBudget)
	if t.given && !t.has("url") {
		t.missing("url", urlNext)
	}
	var secure bool
	b.URL, b.More, secure = l.brokerURLs(t)
	checkPrefix(t, b.Prefix)
	pair(t, "password_file", "user", "a password goes with a user")
	pair(t, "cert", "key", "a client certificate goes with its key")
	pair(t, "key", "cert", "a key goes with its certificate")
	for _, k := range []string{"ca", "cert", "key"} {
		if t.fine(k) && t.fine("url") && !secure {
			t.report(k, "goes with an encrypted connection, and url has none", "begin url with mqtts://, or remove "+k)
		}
	}
	t.done()
	return b
}

// tried reads the path of a file and sees whether it can be read.
func (l *loader) tried(t *table, key string) string {
	name := t.text(key, "", MaxText)
	if !t.fine(key) {
		return ""
	}
	if err := l.try(name); err != nil {
		t.report(key, "cannot be read: "+reason(err), "mend the path, which is taken from where the site file is, or run as the user the daemon runs as")
	}
	return name
}

// pair notes that key is given without other.
func pair(t *table, key, other, what string) {
	if t.fine(key) && !t.has(other) {
		t.report(key, what, "add "+other+", or remove "+key)
	}
}

// MaxNodes is how many addresses a broker may have.
const MaxNodes = 8

// brokerURLs reads the address, or those of every node, and says whether they are
// encrypted.
func (l *loader) brokerURLs(t *table) (first string, more []string, secure bool) {
	list, ok := t.m["url"].([]any)
	if !ok {
		first = t.text("url", "", MaxText)
		return first, nil, l.brokerURL(t, first)
	}
	t.ask("url")
	const next = `name every node of the broker once, like url = ["mqtts://a:8883", "mqtts://b:8883"]`
	if len(list) == 0 || len(list) > MaxNodes {
		t.report("url", fmt.Sprintf("has %d addresses, and may have 1 to %d", len(list), MaxNodes), next)
		return "", nil, false
	}
	var all []string
	for i, node := range list {
		t.m["url"] = node // what a problem shows
		url := t.text("url", "", MaxText)
		encrypted := l.brokerURL(t, url)
		switch {
		case !t.fine("url"):
		case slices.ContainsFunc(all, func(other string) bool { return sameNode(other) == sameNode(url) }):
			t.report("url", "stands twice", next)
		case i > 0 && encrypted != secure:
			t.report("url", "is of another kind than the one before: some of the addresses are encrypted and some are not", "begin all of them with mqtts://, or all with mqtt://")
		}
		if !t.fine("url") {
			return "", nil, false
		}
		all, secure = append(all, url), encrypted
	}
	return all[0], all[1:], secure
}

// sameNode is an address as two spellings of one have it: the scheme and the host in
// small letters, the port written out.
func sameNode(text string) string {
	u, err := url.Parse(text)
	if err != nil {
		return text // reported already
	}
	port := u.Port()
	if port == "" {
		port = map[string]string{"mqtt": "1883", "mqtts": "8883"}[u.Scheme]
	}
	return u.Scheme + "://" + net.JoinHostPort(strings.ToLower(u.Hostname()), port)
}

// brokerURL checks the address and says whether it is encrypted.
func (l *loader) brokerURL(t *table, text string) (secure bool) {
	if !t.fine("url") {
		return false
	}
	u, err := url.Parse(text)
	if err != nil {
		if strings.Contains(text, "@") {
			t.m["url"] = "…" // it may hold a password
		}
		t.report("url", "is not an address", urlNext)
		return false
	}
	port, portErr := strconv.Atoi(u.Port())
	switch {
	case u.User != nil:
		u.User = nil
		t.m["url"] = u.String() // a password is never shown
		t.report("url", "holds a user or password", "give user and password_file instead")
	case u.Scheme == "ws" || u.Scheme == "wss":
		t.report("url", "is a WebSocket's, which is not spoken here", "name the broker's own MQTT port: "+urlNext)
	case u.Scheme != "mqtt" && u.Scheme != "mqtts":
		t.report("url", "does not begin with mqtt:// or mqtts://", urlNext)
	case u.Hostname() == "":
		t.report("url", "names no host", urlNext)
	case u.Port() != "" && (portErr != nil || port < 1 || port > 65535):
		t.report("url", "has a port that is not from 1 to 65535", urlNext)
	case u.RawQuery != "" || u.Fragment != "" || u.Path != "" && u.Path != "/":
		t.report("url", "goes on after the port", "end it after the port; the topics' first level goes into prefix")
	}
	secure = u.Scheme == "mqtts"
	if t.fine("url") && !secure && !isLoopback(u.Hostname()) {
		l.caution(t.at.key("url"), t.name("url"), show(text), "crosses a network unencrypted: whoever reaches it can read the password and publish a permit", "use mqtts:// with ca, or keep the broker on this machine")
	}
	return secure
}

func isLoopback(host string) bool {
	ip := net.ParseIP(host)
	return host == "localhost" || ip != nil && ip.IsLoopback()
}

// checkPrefix holds the prefix to what MQTT 3.1.1 §4.7 allows in a topic that
// is published to.
func checkPrefix(t *table, prefix string) {
	if !t.fine("prefix") {
		return
	}
	bad := strings.ContainsAny(prefix, "+#$ ") || strings.ContainsFunc(prefix, unicode.IsControl) || len(prefix) > MaxName
	for _, level := range strings.Split(prefix, "/") {
		bad = bad || level == ""
	}
	if bad {
		t.report("prefix", "cannot begin a topic", `use levels of plain letters, like "pinfold" or "hall/pinfold", without +, #, $, spaces or empty levels, 64 bytes at most`)
	}
}

// The trail's defaults.
const (
	defaultTrailDir = "trail"
	defaultKeyFile  = "trail.key"
	defaultMaxBytes = 2_000_000_000
	minTrailBytes   = 10_000_000
	maxTrailBytes   = 1e15
)

func readTrail(root *table) Trail {
	t := root.sub("trail")
	tr := Trail{
		Dir:      filepath.Clean(t.text("dir", defaultTrailDir, MaxText)),
		KeyFile:  filepath.Clean(t.text("key_file", defaultKeyFile, MaxText)),
		MaxBytes: defaultMaxBytes,
	}
	if text := t.text("max_size", "", MaxName); t.fine("max_size") {
		n, ok := parseSize(text)
		switch {
		case !ok:
			t.report("max_size", "is not a size", `write a number and its unit, like "500MB" or "2GB"`)
		case n < minTrailBytes || n > maxTrailBytes:
			t.report("max_size", "is out of range", `write a size from "10MB" to "1000TB"`)
		default:
			tr.MaxBytes = int64(n)
		}
	}
	t.done()
	return tr
}

// parseSize reads "2GB" (10⁹ bytes each) or "2GiB" (2³⁰), for B, k, M, G, T.
func parseSize(text string) (bytes float64, ok bool) {
	text = strings.TrimSpace(text)
	digits := strings.TrimRight(text, "BkKMGTi ")
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil || !(v >= 0 && v <= maxTrailBytes) || strings.ContainsAny(digits, "xXpP_eEnN") {
		return 0, false
	}
	unit := strings.TrimSpace(text[len(digits):])
	for i, letter := range []string{"", "k", "M", "G", "T"} {
		dec, bin := 1.0, 1.0
		for range i {
			dec, bin = dec*1000, bin*1024
		}
		switch {
		case unit == letter+"B", i == 1 && unit == "KB":
			return v * dec, true
		case i > 0 && unit == letter+"iB", i == 1 && unit == "KiB":
			return v * bin, true
		}
	}
	return 0, false
}
