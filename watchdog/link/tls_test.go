package link

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pinfold/watchdog/link/mosquittotest"
)

// certificate is a self-signed one for the loopback, as PEM.
func certificate(tb testing.TB) (cert, key string, pool *x509.CertPool) {
	tb.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		tb.Fatal(err)
	}
	made := x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "test broker"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, &made, &made, &private.PublicKey, private)
	if err != nil {
		tb.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		tb.Fatal(err)
	}
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		tb.Fatal(err)
	}
	pool = x509.NewCertPool()
	pool.AddCert(parsed)
	return string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der})),
		string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: keyDER})), pool
}

func TestTLS(t *testing.T) {
	dir := t.TempDir()
	cert, key, pool := certificate(t)
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
