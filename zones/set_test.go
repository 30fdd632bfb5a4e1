package zones

import (
	"math"
	"testing"
)

func rect(x0, y0, x1, y1 float64) []XY { return []XY{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}} }

func box(name string, k Kind, x0, y0, x1, y1, lo, hi float64) Shape {
	return Shape{Name: name, Kind: k, Floor: lo, Ceiling: hi, Rings: [][]XY{rect(x0, y0, x1, y1)}}
}

func mustNew(t testing.TB, shapes ...Shape) *Set {
	t.Helper()
	s, err := New(shapes)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func point(x, y, z float64) *Sweep { return &Sweep{From: XYZ{x, y, z}, To: XYZ{x, y, z}} }

func near0(a, b, tol float64) bool { return a == b || math.Abs(a-b) <= tol }
