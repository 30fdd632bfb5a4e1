package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// exposureMost is the most that systemd's own rating may give a unit, of 10.
const exposureMost = 1.5

// units copies every unit to a folder, its program replaced by one that is there.
func units(t *testing.T) (paths []string) {
	t.Helper()
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		t.Skip("needs systemd-analyze (Debian package systemd)")
	}
	list, err := filepath.Glob("../systemd/*.service")
	if err != nil || len(list) == 0 {
		t.Fatalf("%d units: %v", len(list), err)
	}
	here, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, from := range list {
		data, err := os.ReadFile(from)
		if err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(string(data), "/usr/bin/pinfold", here)
		if text == string(data) {
			t.Fatalf("%s does not start /usr/bin/pinfold, where the package puts it", from)
		}
		paths = append(paths, filepath.Join(dir, filepath.Base(from)))
		if err := os.WriteFile(paths[len(paths)-1], []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return paths
}

// TestUnitsAreHardened holds the rating that `systemd-analyze security` gives.
func TestUnitsAreHardened(t *testing.T) {
	overall := regexp.MustCompile(`Overall exposure level for \S+: ([0-9.]+) `)
	for _, path := range units(t) {
		out, err := exec.Command("systemd-analyze", "security", "--offline=true", "--no-pager", path).CombinedOutput()
		m := overall.FindSubmatch(out)
		if err != nil || m == nil {
			t.Fatalf("%v: %s", err, out)
		}
		got, err := strconv.ParseFloat(string(m[1]), 64)
		if err != nil || !(got <= exposureMost) {
			t.Errorf("%s: exposure %s, at most %.1f: see the lines with ✗\n%s", filepath.Base(path), m[1], exposureMost, out)
		}
		t.Logf("%s: exposure %s", filepath.Base(path), m[1])
	}
}

// TestUnitsAreValid has systemd read every unit, alone and with the drop-in for
// real time.
func TestUnitsAreValid(t *testing.T) {
	for _, path := range units(t) {
		verify(t, path)
		if filepath.Base(path) != "pinfold.service" {
			continue
		}
		data, err := os.ReadFile("../systemd/realtime.conf")
		if err != nil {
			t.Fatal(err)
		}
		here, _ := os.Executable()
		if err := os.Mkdir(path+".d", 0o700); err != nil {
			t.Fatal(err)
		}
		text := strings.ReplaceAll(string(data), "/usr/bin/pinfold", here)
		if err := os.WriteFile(path+".d/realtime.conf", []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		verify(t, path)
	}
}

func verify(t *testing.T, path string) {
	t.Helper()
	out, err := exec.Command("systemd-analyze", "verify", "--man=no", path).CombinedOutput()
	// Lines about other units of this machine are not about ours.
	about := regexp.MustCompile(`(?m)^.*(pinfold|realtime).*$`).FindAll(out, -1)
	if err != nil || len(about) > 0 {
		t.Errorf("%s: %v\n%s", filepath.Base(path), err, out)
	}
}

// TestARuntimeFailureIsRestarted: exit status 2 is not restarted, and a Go
// program that fails inside ends with 2, unless GOTRACEBACK is crash (package
// runtime: "crashes in an operating system-specific manner").
func TestARuntimeFailureIsRestarted(t *testing.T) {
	if os.Getenv("PINFOLD_FAIL") != "" {
		go func() { panic("a failure of its own, asked for by this test") }()
		select {}
	}
	here, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := exec.Command(here, "-test.run=^TestARuntimeFailureIsRestarted$")
	c.Env = append(os.Environ(), "PINFOLD_FAIL=1", "GOTRACEBACK=crash")
	_ = c.Run() // its status is what is asked for
	if got := c.ProcessState.ExitCode(); got != -1 {
		t.Errorf("exit status %d, want an end by a signal", got)
	}
	for _, path := range units(t) {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(data), "\nRestartPreventExitStatus=2\n") && !strings.Contains(string(data), "\nEnvironment=GOTRACEBACK=crash\n") {
			t.Errorf("%s: a failure of the runtime would not be restarted", filepath.Base(path))
		}
	}
}
