package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// fusing finds arm64's instructions that multiply and add with one rounding.
var fusing = regexp.MustCompile(`\(([^()\s]*\.go):(\d+)\)\s+FN?M(?:ADD|SUB)[DS]`)

// fused lists the lines of packages for which the compiler does so on arm64.
func fused(t *testing.T, packages ...string) (lines []string) {
	t.Helper()
	cmd := exec.Command("go", append([]string{"build", "-gcflags=-S"}, packages...)...)
	cmd.Env = append(os.Environ(), "GOOS=linux", "GOARCH=arm64", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%.2000s", err, out)
	}
	if !strings.Contains(string(out), "STEXT") {
		t.Fatalf("the compiler printed no assembly: %.200s", out)
	}
	wd, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range fusing.FindAllStringSubmatch(string(out), -1) {
		name, err := filepath.Rel(wd, m[1])
		if err != nil {
			name = m[1]
		}
		if line := filepath.ToSlash(name) + ":" + m[2]; !slices.Contains(lines, line) {
			lines = append(lines, line)
		}
	}
	return lines
}

// TestNothingDecidesByAFusedSum: a product and a sum fused into one instruction
// round once where other processors round twice, and a decision could come out
// otherwise on a board than where its session is judged again. So in what decides, every
// product that is added to is rounded by an explicit conversion (DEVELOPERS.md).
func TestNothingDecidesByAFusedSum(t *testing.T) {
	free := []string{
		"watchdog/pose/bound.go", // the uncertainty of an alignment: worked out once, by align, and then a number in a file
	}
	for _, line := range fused(t, "./zones", "./watchdog", "./watchdog/pose", "./watchdog/pose/trig") {
		name, at, _ := strings.Cut(line, ":")
		if !slices.Contains(free, name) && !meant(t, name, at) {
			t.Errorf("%s: a fused product and sum on arm64; write float64(a*b) + c", line)
		}
	}
}

// meant says whether the line itself asks for one rounding, by math.FMA, which
// every processor then gives.
func meant(t *testing.T, name, at string) bool {
	t.Helper()
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	n, err := strconv.Atoi(at)
	lines := strings.Split(string(text), "\n")
	return err == nil && n >= 1 && n <= len(lines) && strings.Contains(lines[n-1], "math.FMA(")
}

// TestFusedIsSeen: the free file is found, so the test above sees what it looks for.
func TestFusedIsSeen(t *testing.T) {
	if len(fused(t, "./watchdog/pose")) == 0 {
		t.Error("no fused product and sum is seen where one is known to be")
	}
}
