package link

import (
	"crypto/tls"
	"crypto/x509"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pinfold/watchdog/link/mosquittotest"
)

func TestTLS(t *testing.T) {
	dir := t.TempDir()
	cert, key := mosquittotest.Certificate(t)
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM([]byte(cert)) {
		t.Fatal("no certificate")
	}
	b := mosquittotest.Start(t, "allow_anonymous true",
		"certfile "+writeFile(t, filepath.Join(dir, "cert"), cert), "keyfile "+writeFile(t, filepath.Join(dir, "key"), key))
	url := strings.Replace(b.URL, "mqtt://", "mqtts://", 1)
	trusts := func(o *Options) { o.TLS = &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS12} }
	hears, says := joined(t, url, trusts, "a"), joined(t, url, trusts)
	says.slot(t, "a", 0, false).Put([]byte("over TLS"), soon())
	if m := hears.next(t); string(m.Payload) != "over TLS" {
		t.Errorf("got %q", m.Payload)
	}
	doubts := join(t, url, nil, "a")
	eventually(t, "a reason", func() bool { return len(doubts.tale()) > 0 })
	if s := doubts.tale()[0]; doubts.Up() || !strings.Contains(s, "certificate") {
		t.Errorf("an unknown certificate: up %v, %q", doubts.Up(), s)
	}
}

func writeFile(tb testing.TB, path, text string) string {
	tb.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		tb.Fatal(err)
	}
	return path
}
