package main

import (
	"math"
	"testing"
)

// The line is Anscombe's first set (Anscombe 1973, Graphs in Statistical
// Analysis, table of his page 19): slope 0.5001, its standard error 0.118.
func TestLineIsAnscombes(t *testing.T) {
	slope, noise := line([]float64{10, 8, 13, 9, 11, 14, 6, 4, 12, 7, 5},
		[]float64{8.04, 6.95, 7.58, 8.81, 8.33, 9.96, 7.24, 4.26, 10.84, 4.82, 5.68})
	if math.Abs(slope-0.5001) > 0.0001 || math.Abs(noise-0.118) > 0.0005 {
		t.Errorf("slope %.4f ± %.4f", slope, noise)
	}
}

// The line is from package runtime's own description of gctrace.
func TestPausesAreRead(t *testing.T) {
	worst, n := pauses("gc 1 @0.012s 2%: 0.024+1.2+0.031 ms clock, 0.097+0.5/1.1/0.2+0.12 ms cpu, 4->4->1 MB, 4 MB goal, 0 MB stacks, 0 MB globals, 4 P\n" +
		"watching\ngc 2 @0.5s 0%: 0.5+1.2+0.1 ms clock, 1+1/1/1+1 ms cpu, 4->4->1 MB, 4 MB goal, 4 P\n")
	if worst != 0.5 || n != 2 {
		t.Errorf("%v in %d", worst, n)
	}
}
