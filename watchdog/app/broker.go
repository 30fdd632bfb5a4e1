package app

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"
	"strings"

	"pinfold/config"
	"pinfold/watchdog/link"
)

// LinkOptions reads what is needed to connect to the site's broker: the
// password and the certificates from their files. What is in them is never
// said.
func LinkOptions(b *config.Broker) (link.Options, error) {
	o := link.Options{URL: b.URL, More: b.More, User: b.User}
	if b.PasswordFile != "" {
		pw, err := os.ReadFile(b.PasswordFile)
		if err != nil {
			return o, fmt.Errorf("the broker's password: %w; see password_file in [broker]", err)
		}
		o.Password = string(bytes.TrimRight(pw, "\r\n"))
	}
	if b.CA == "" && b.Cert == "" {
		return o, nil
	}
	o.TLS = &tls.Config{MinVersion: tls.VersionTLS12}
	if b.CA != "" {
		pem, err := os.ReadFile(b.CA)
		if err != nil {
			return o, fmt.Errorf("the broker's authority: %w; see ca in [broker]", err)
		}
		o.TLS.RootCAs = x509.NewCertPool()
		if !o.TLS.RootCAs.AppendCertsFromPEM(pem) {
			return o, fmt.Errorf("the broker's authority: %s holds no PEM certificate; see ca in [broker]", b.CA)
		}
	}
	if b.Cert != "" {
		pair, err := tls.LoadX509KeyPair(b.Cert, b.Key)
		if err != nil {
			return o, fmt.Errorf("the client's certificate: %w; see cert and key in [broker]", err)
		}
		o.TLS.Certificates = []tls.Certificate{pair}
	}
	return o, nil
}

// portHint is for a broker that answers nothing it should.
const portHint = "url in [broker] begins with mqtts:// where the broker encrypts on that port, and with mqtt:// where it does not"

// LinkHint is what to try where the broker is not reached, by the reason that
// package link gives; empty where that says it itself.
func LinkHint(why string) string {
	for _, h := range [][2]string{
		{"connection refused", "is the broker running, and is this its address? See url in [broker]"},
		{"no such host", "no machine has this name; see url in [broker]"},
		{"server misbehaving", "the name server does not answer; give the broker's address as a number: url in [broker]"},
		{"user and password", "see user and password_file in [broker]"},
		{"certificate", "see ca in [broker]: the authority that signed the broker's certificate, and url: the name it was signed for"},
		{"first record does not look like a TLS handshake", "the broker does not encrypt on this port; see url in [broker]"},
		{"operation not permitted", "the system keeps the guard from that address; where it runs as a service, IPAddressAllow= in its unit"},
		{"no route to host", "is this board on the network?"},
		{"network is unreachable", "is this board on the network?"},
		{"connection reset", portHint},
		{"EOF", portHint},
		{"the connection ended", portHint},
		{"in time", "is this the broker's address? " + portHint},
		{"timeout", "is this the broker's address? " + portHint},
	} {
		if strings.Contains(why, h[0]) {
			return h[1]
		}
	}
	return ""
}
