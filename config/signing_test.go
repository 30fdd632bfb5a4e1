package config

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// A key that others may open is said when the site file is read, by check as by
// run, and its path is the site file's.
func TestKeysAreForTheirOwnerAlone(t *testing.T) {
	dir := t.TempDir()
	site, key := filepath.Join(dir, "site.toml"), filepath.Join(dir, "wren.key")
	text := strings.Replace(text(t, "demo.toml"), "[vehicle.limits]\nheight", "[vehicle.signing]\nkey_file = \"wren.key\"\n[vehicle.limits]\nheight", 1)
	if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	for mode, want := range map[os.FileMode]string{0o600: "", 0o400: "", 0o640: "(mode 0640)", 0o604: "(mode 0604)", 0o660: "(mode 0660)"} {
		if err := os.WriteFile(key, []byte("x"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(key, mode); err != nil {
			t.Fatal(err)
		}
		s, err := Load(site)
		switch {
		case want == "" && (err != nil || s.Vehicles[0].Signing != Signing{KeyFile: key} || s.Vehicles[1].Signing != Signing{}):
			t.Errorf("mode %04o: %v", mode, err)
		case want != "" && (err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "vehicle.signing.key_file") || !strings.Contains(err.Error(), "chmod 600")):
			t.Errorf("mode %04o: %v, want it to say %q", mode, err, want)
		}
		if err := os.Remove(key); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(key, []byte("x"), 0o440); err != nil {
		t.Fatal(err)
	}
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	if _, err := Load(site); err != nil {
		t.Errorf("a credential of a service: %v", err)
	}
	if err := os.Remove(key); err != nil {
		t.Fatal(err)
	}
	if _, err := Load(site); err == nil || !strings.Contains(err.Error(), "there is no such file") {
		t.Errorf("no key: %v", err)
	}
}

// What is a pipe is no file of a key, and nobody waits for who writes it; one file
// under two spellings is one.
func TestKeysThatAreNoFilesOfTheirOwn(t *testing.T) {
	dir := t.TempDir()
	site := filepath.Join(dir, "site.toml")
	if err := syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "wren.key"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	for lines, want := range map[string]string{
		`key_file = "pipe"`: "key_file = \"pipe\": cannot be read: it is not a file",
		"key_file = \"wren.key\"\npose_key_file = \"./wren.key\"": "is the file of key_file too",
	} {
		text := strings.Replace(text(t, "demo.toml"), "[vehicle.limits]\nheight", "[vehicle.signing]\n"+lines+"\n[vehicle.limits]\nheight", 1)
		if err := os.WriteFile(site, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := Load(site); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", lines, err)
		}
	}
}
