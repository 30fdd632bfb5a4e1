package console

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/console/browsertest"
)

// encrypted is a console with the certificate that Go's own test servers have, and a
// client that trusts it and no other.
func encrypted(t *testing.T) (*Server, *asks, *http.Client) {
	t.Helper()
	h := httptest.NewTLSServer(nil)
	own, trusted := h.TLS.Certificates, x509.NewCertPool()
	trusted.AddCert(h.Certificate())
	h.Close()
	s, a := serving(t, func(o *Options) { o.TLS = &tls.Config{MinVersion: tls.VersionTLS12, Certificates: own} })
	c := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: trusted}, ForceAttemptHTTP2: true, DisableKeepAlives: true}}
	return s, a, c
}

func TestEncrypted(t *testing.T) {
	t.Parallel()
	s, a, client := encrypted(t)
	addr := s.door.Addr().String()
	if s.Address() != "https://"+addr+"/" {
		t.Errorf("the page is at %s", s.Address())
	}
	for range maxEach { // idle ones, the door must know them by what it let in
		c, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		defer c.Close()
	}
	for _, c := range []struct {
		what, origin string
		want         int
	}{
		{"no origin", "", 202}, {"the own", "https://" + addr, 202}, {"the own, unencrypted", "http://" + addr, 403}, {"another", "https://example.org", 403},
	} {
		r, err := http.NewRequest("POST", s.Address()+"ask", strings.NewReader(`{"ask":"stop"}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		if c.origin != "" {
			r.Header.Set("Origin", c.origin)
		}
		res, err := client.Do(r)
		if err != nil {
			t.Fatalf("%s: %v", c.what, err)
		}
		_ = res.Body.Close()
		if got := len(a.take()); res.StatusCode != c.want || (got > 0) != (c.want == http.StatusAccepted) || res.ProtoMajor != 1 {
			t.Errorf("%s: status %d by %s, want %d, asked %d", c.what, res.StatusCode, res.Proto, c.want, got)
		}
		time.Sleep(2 * haltEvery)
	}
	if res, err := http.Get("http://" + addr + "/"); err == nil {
		b, _ := io.ReadAll(res.Body)
		_ = res.Body.Close()
		if res.StatusCode != http.StatusBadRequest || strings.Contains(string(b), "Pinfold") {
			t.Errorf("unencrypted: status %d: %.80s", res.StatusCode, b)
		}
	}
	if res, err := http.Get(s.Address()); err == nil {
		_ = res.Body.Close()
		t.Error("who trusts another authority is answered")
	}
	inside := func() int {
		s.door.mu.Lock()
		defer s.door.mu.Unlock()
		return len(s.door.in)
	}
	for end := time.Now().Add(20 * time.Second); inside() >= maxEach; time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("%d connections count as inside, of which the last are over", inside())
		}
	}
}

// The port of an https address that names none is 443 (RFC 9110, 4.2.2).
func TestPortThatIsNotNamed(t *testing.T) {
	for _, c := range []struct {
		port   int
		secure bool
		want   bool
	}{{80, false, true}, {443, true, true}, {443, false, false}, {80, true, false}} {
		r := httptest.NewRequest("GET", "http://127.0.0.1/", nil)
		r = r.WithContext(context.WithValue(r.Context(), http.LocalAddrContextKey, net.Addr(&net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: c.port})))
		if c.secure {
			r.TLS = &tls.ConnectionState{}
		}
		if got := hostOurs(r); got != c.want {
			t.Errorf("port %d, encrypted %t: %t", c.port, c.secure, got)
		}
	}
}

// The page itself works over https, and its stop.
func TestEncryptedPage(t *testing.T) {
	if testing.Short() {
		t.Skip("takes a browser")
	}
	t.Parallel()
	s, a, _ := encrypted(t)
	keepShowing(t, s)
	p := browsertest.Open(t, s.Address(), 800, 600)
	p.Wait("live", `document.body.dataset.word === "live"`, 30*time.Second)
	p.Click("#stop-all")
	p.Wait("a stop is asked", `document.getElementById("halt-says").textContent.includes("stop asked for all vehicles. Watch")`, 20*time.Second)
	if got := len(a.take()); got != 2 {
		t.Errorf("%d stops of 2 vehicles were asked", got)
	}
	hostileNames(t, s, p)
	p.Quiet()
}

// hostileNames has names and events hold what would be markup: it is shown as it
// stands, and makes no element.
func hostileNames(t *testing.T, s *Server, p *browsertest.Page) {
	t.Helper()
	const name = `<img id=evil src=x onerror=evil=1>"'&lt;|` + "\u202e\x1b[2J"
	site := testSite()
	site.Name, site.Safety, site.Session = name+"1", name+"2", name+"3"
	site.Vehicles[0].Name = name
	site.Vehicles[1].Zones = []Zone{{Name: name + "4", Kind: name, Ceiling: 1, Rings: [][][2]float64{{{0, 0}, {1, 0}, {1, 1}}}}}
	s.SetSite(site)
	s.Line(Line{Vehicle: name, Level: name, Text: name + "5"})
	for _, shown := range []string{"1", "2", "3", "4", "5"} {
		p.Wait("name "+shown+" is shown as it stands", fmt.Sprintf(`document.body.textContent.includes(%s)`, quoted(t, name+shown)), 20*time.Second)
	}
	if browsertest.Eval[bool](p, `document.getElementById("evil") !== null || "evil" in window`) {
		t.Error("a name is taken for markup")
	}
}

// quoted is text as a script's own.
func quoted(t *testing.T, text string) string {
	t.Helper()
	b, err := json.Marshal(text)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}
