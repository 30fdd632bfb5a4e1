package trail

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/x509"
	"encoding/hex"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
)

const maxKeyFile = 4 << 10

// PublicKey gives the public half of the key in keyFile, in hex.
func PublicKey(keyFile string) (string, error) {
	key, err := readKey(OS{}, keyFile)
	if err != nil {
		return "", err
	}
	return publicHex(key), nil
}

func publicHex(key ed25519.PrivateKey) string {
	pub, _ := key.Public().(ed25519.PublicKey)
	return hex.EncodeToString(pub)
}

// loadKey reads the key, and makes one where there is none.
func loadKey(fsys FS, name string) (ed25519.PrivateKey, error) {
	if name == "" {
		_, key, err := ed25519.GenerateKey(rand.Reader)
		return key, err
	}
	key, err := readKey(fsys, name)
	if !errors.Is(err, fs.ErrNotExist) {
		return key, err
	}
	return makeKey(fsys, name)
}

func readKey(fsys FS, name string) (ed25519.PrivateKey, error) {
	f, err := fsys.OpenFile(name, os.O_RDONLY, 0)
	if err != nil {
		return nil, fmt.Errorf("key file: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", name, err)
	}
	if mode := info.Mode().Perm(); mode&0o077 != 0 {
		return nil, fmt.Errorf("key file %s has mode %04o: others may read or change it; run chmod 600 on it, or remove it to have a new key", name, mode)
	}
	text, err := io.ReadAll(io.NewSectionReader(f, 0, maxKeyFile))
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", name, err)
	}
	block, rest := pem.Decode(text)
	if block == nil || block.Type != "PRIVATE KEY" || len(bytes.TrimSpace(rest)) > 0 {
		return nil, fmt.Errorf("key file %s is not one PEM block PRIVATE KEY; restore it, or move it away to have a new key", name)
	}
	any, err := x509.ParsePKCS8PrivateKey(block.Bytes)
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w; restore it, or move it away to have a new key", name, err)
	}
	key, ok := any.(ed25519.PrivateKey)
	if !ok {
		return nil, fmt.Errorf("key file %s holds a %T, not an Ed25519 key", name, any)
	}
	return key, nil
}

// makeKey writes a new key beside name and puts it in its place whole.
func makeKey(fsys FS, name string) (ed25519.PrivateKey, error) {
	_, key, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		return nil, fmt.Errorf("new key: %w", err)
	}
	der, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, fmt.Errorf("new key: %w", err)
	}
	text := pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der})
	dir := filepath.Dir(name)
	err = fsys.MkdirAll(dir, 0o700)
	if err == nil {
		err = writeFile(fsys, name+".new", text, 0o600)
	}
	if err == nil {
		err = fsys.Rename(name+".new", name)
	}
	if err == nil {
		err = fsys.SyncDir(dir)
	}
	if err != nil {
		return nil, fmt.Errorf("new key file %s: %w", name, err)
	}
	return key, nil
}

// writeFile writes a whole file and makes its bytes durable.
func writeFile(fsys FS, name string, data []byte, mode fs.FileMode) error {
	f, err := fsys.OpenFile(name, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, mode)
	if err != nil {
		return err
	}
	if len(data) > 0 {
		_, err = f.WriteAt(data, 0)
	}
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
