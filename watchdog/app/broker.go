package app

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"os"

	"pinfold/config"
	"pinfold/watchdog/link"
)

// LinkOptions reads what is needed to connect to the site's broker: the
// password and the certificates from their files. What is in them is never
// said.
func LinkOptions(b *config.Broker) (link.Options, error) {
	o := link.Options{URL: b.URL, User: b.User}
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
