package sign

import (
	"bytes"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// NewKey draws a key.
func NewKey() *Key {
	var k Key
	_, _ = rand.Read(k[:]) // never fails: it ends the process instead
	return &k
}

// form is what a key's file holds.
const form = "64 hexadecimal digits on one line, as pinfold key --new writes them"

// ParseKey reads what a key's file holds. The error does not repeat it.
func ParseKey(text []byte) (*Key, error) {
	var k Key
	text = bytes.TrimRight(text, "\r\n")
	if len(text) != hex.EncodedLen(Size) {
		return nil, errors.New("it holds no key: want " + form)
	}
	if _, err := hex.Decode(k[:], text); err != nil {
		return nil, errors.New("it holds no key: want " + form)
	}
	if k == (Key{}) {
		return nil, errors.New("its key is all zeros, which anybody can guess; make one with pinfold key --new")
	}
	return &k, nil
}

// ReadKey reads a key from a file that only its owner may open; "" gives none.
func ReadKey(path string) (*Key, error) {
	if path == "" {
		return nil, nil
	}
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() { // to open a pipe waits for who writes it
		return nil, fmt.Errorf("the key %s is not a file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("the key: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	switch {
	case err != nil:
		return nil, fmt.Errorf("the key: %w", err)
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("the key %s is not a file", path)
	case info.Mode().Perm()&others(path) != 0:
		return nil, fmt.Errorf("the key %s may be opened by others than its owner (mode %04o): chmod 600 %s, and make a new one if anybody may have read it", path, info.Mode().Perm(), path)
	}
	text := make([]byte, 2*hex.EncodedLen(Size))
	n, err := f.Read(text)
	if err != nil && n == 0 {
		return nil, fmt.Errorf("the key %s: it is empty: want %s", path, form)
	}
	k, err := ParseKey(text[:n])
	if err != nil {
		return nil, fmt.Errorf("the key %s: %w", path, err)
	}
	return k, nil
}

// others are the permissions that a key's file may not give. A credential that
// systemd hands to a service is readable by its user through an access list, which
// shows as the group's right to read (systemd.exec(5), LoadCredential=); its folder
// lets nobody else in.
func others(path string) fs.FileMode {
	if dir := os.Getenv("CREDENTIALS_DIRECTORY"); dir != "" && filepath.Dir(path) == filepath.Clean(dir) {
		return 0o037
	}
	return 0o077
}

// WriteKey writes a key to a file that is not there yet, for its owner alone, and
// has it on the disk before it returns.
func WriteKey(path string, k *Key) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already, and what it signs for may be in use: give another name, or take it away first", path)
	}
	if err != nil {
		return err
	}
	_, err = f.WriteString(hex.EncodeToString(k[:]) + "\n")
	err = errors.Join(err, f.Chmod(0o600), f.Sync(), f.Close())
	if err != nil {
		_ = os.Remove(path) // half a key is none
		return fmt.Errorf("the key was not written: %w", err)
	}
	return nil
}

// Fingerprint tells two keys apart, and whether two machines have the same, without
// giving either away.
func (k Key) Fingerprint() string {
	m := hmac.New(sha256.New, k[:])
	m.Write([]byte("pinfold fingerprint"))
	return hex.EncodeToString(m.Sum(nil)[:8])
}

// String keeps a key out of logs.
func (k Key) String() string { return "key " + k.Fingerprint() }

// GoString does so for %#v.
func (k Key) GoString() string { return k.String() }
