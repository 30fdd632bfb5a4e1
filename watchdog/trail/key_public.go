package trail

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
)

// ReadPublic gives a public key, in hex, from what a person has of it: its 64
// hex digits, a file that holds those, a PEM file PUBLIC KEY, or the very key
// file that seals.
func ReadPublic(given string) (string, error) {
	const want = "give the 64 hex digits of the public key as verify prints them, a file that holds them, a PEM file PUBLIC KEY, or the trail's key file"
	if key, ok := publicOf(given); ok {
		return key, nil
	}
	info, err := os.Stat(given)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("key %.80q is neither a public key nor a file; %s", given, want)
	case err != nil:
		return "", fmt.Errorf("key: %w; %s", err, want)
	case !info.Mode().IsRegular() || info.Size() > maxKeyFile:
		return "", fmt.Errorf("key %.80q is no key file; %s", given, want)
	}
	text, err := os.ReadFile(given)
	if err != nil {
		return "", fmt.Errorf("key: %w; %s", err, want)
	}
	if key, ok := publicOf(string(text)); ok {
		return key, nil
	}
	if block, _ := pem.Decode(text); block != nil && block.Type == "PRIVATE KEY" {
		return PublicKey(given)
	} else if block != nil && block.Type == "PUBLIC KEY" {
		if parsed, err := x509.ParsePKIXPublicKey(block.Bytes); err == nil {
			if pub, ok := parsed.(ed25519.PublicKey); ok {
				return hex.EncodeToString(pub), nil
			}
		}
	}
	return "", fmt.Errorf("key file %.80q holds no Ed25519 key; %s", given, want)
}

func publicOf(text string) (string, bool) {
	text = strings.ToLower(strings.TrimSpace(text))
	b, err := hex.DecodeString(text)
	return text, err == nil && len(b) == ed25519.PublicKeySize
}
