package watchdog

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"testing"
)

// effectsFile names, in the environment, the file TestWriteEffects writes.
const effectsFile = "PINFOLD_EFFECTS"

// TestWriteEffects writes what the guard did in some sessions, for another
// processor's to be held against. It does nothing unless asked to.
func TestWriteEffects(t *testing.T) {
	name := os.Getenv(effectsFile)
	if name == "" {
		return // part of TestSameOnAnotherProcessor
	}
	if err := os.WriteFile(name, manySessions(t), 0o600); err != nil {
		t.Fatal(err)
	}
}

func manySessions(t *testing.T) []byte {
	var all []byte
	for seed := range uint64(5) {
		all = append(all, session(t, seed, false)...)
	}
	return all
}

// TestSameOnAnotherProcessor: an arm64 program, run by an emulator, does the
// same as this one, byte for byte.
func TestSameOnAnotherProcessor(t *testing.T) {
	emulator, err := exec.LookPath("qemu-aarch64")
	if err != nil || runtime.GOARCH == "arm64" {
		t.Skip("needs qemu-aarch64 (Debian package qemu-user) and a processor that is not arm64")
	}
	dir := t.TempDir()
	program, file := filepath.Join(dir, "watchdog.test"), filepath.Join(dir, "effects")
	build := exec.Command("go", "test", "-c", "-o", program, ".")
	build.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	run := exec.Command(emulator, program, "-test.run", "^TestWriteEffects$")
	run.Env = append(os.Environ(), effectsFile+"="+file)
	if out, err := run.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	there, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if here := manySessions(t); !bytes.Equal(here, there) {
		t.Errorf("arm64 does otherwise: %s", diff(string(here), string(there)))
	}
}
