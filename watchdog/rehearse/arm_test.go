package rehearse

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"testing"
)

// TestHashes prints what TestArm64DecidesTheSame compares.
func TestHashes(t *testing.T) {
	h := sameRuns(t)
	t.Logf("hashes of %s: poses %016x said %016x values %016x truth %016x", runtime.GOARCH, h.Poses, h.Said, h.Values, h.Truth)
	if h.Poses == 0 || h.Said == 0 {
		t.Error("nothing was hashed")
	}
}

// TestArm64DecidesTheSame: another processor, which fuses a multiplication and
// an addition into one rounding, sees the same poses, byte for byte, and calls
// the same permits and commands at the same nanosecond. The last bits of the
// figures that stand in a command, and of the simulated positions, do differ:
// poses are in micrometres, and no decision hangs on less.
func TestArm64DecidesTheSame(t *testing.T) {
	if os.Getenv("PINFOLD_LONG") == "" {
		t.Skip("builds and emulates for half a minute: set PINFOLD_LONG=1")
	}
	qemu, err := exec.LookPath("qemu-aarch64")
	if err != nil {
		t.Skip("no qemu-aarch64: install the Debian package qemu-user")
	}
	if runtime.GOARCH == "arm64" {
		t.Skip("this is arm64 already; run it on amd64")
	}
	bin := filepath.Join(t.TempDir(), "arm64.test")
	build := exec.Command("go", "test", "-c", "-o", bin, ".")
	build.Env = append(os.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	out, err := exec.Command(qemu, bin, "-test.run", "^TestHashes$", "-test.v").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	m := regexp.MustCompile(`hashes of arm64: poses (\w+) said (\w+)`).FindSubmatch(out)
	if m == nil {
		t.Fatalf("no hashes in %s", out)
	}
	h := sameRuns(t)
	if got, want := fmt.Sprintf("%s %s", m[1], m[2]), fmt.Sprintf("%016x %016x", h.Poses, h.Said); got != want {
		t.Errorf("arm64 %s, here %s", got, want)
	}
}
