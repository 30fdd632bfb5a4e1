package config

import (
	"os"
	"path/filepath"
	"strings"
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
