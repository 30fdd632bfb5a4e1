package zones

import (
	"fmt"
	"math"
	"strings"
	"testing"
)

func TestFaults(t *testing.T) {
	sq := rect(0, 0, 10, 10)
	nan, inf := math.NaN(), math.Inf(1)
	for name, c := range map[string]struct {
		rings [][]XY
		want  Fault
		ring  int
		at    int // corner; -1 none, -2 any
	}{
		"no rings":             {nil, TooFewPoints, -1, -1},
		"empty ring":           {[][]XY{{}}, TooFewPoints, 0, -1},
		"two corners":          {[][]XY{{{0, 0}, {1, 0}, {0, 0}}}, TooFewPoints, 0, -1},
		"one corner, repeated": {[][]XY{{{1, 1}, {1, 1}, {1, 1}, {1, 1}}}, TooFewPoints, 0, -1},
		"line":                 {[][]XY{{{0, 0}, {1, 1}, {3, 3}, {2, 2}}}, ZeroArea, 0, -1},
		"NaN":                  {[][]XY{{{0, 0}, {1, 0}, {nan, 1}}}, NotFinite, 0, 2},
		"Inf":                  {[][]XY{sq, {{1, 1}, {2, inf}, {2, 2}}}, NotFinite, 1, 1},
		"far":                  {[][]XY{{{0, 0}, {1e6, 0}, {0, 1}}}, TooFar, 0, 1},
		"spike":                {[][]XY{{{0, 0}, {4, 0}, {4, 2}, {4, 8}, {4, 2}, {0, 4}}}, Spike, 0, 3},
		"inward spike":         {[][]XY{{{0, 0}, {4, 0}, {2, 0}, {4, 4}, {0, 4}}}, Spike, 0, 1},
		"bow tie":              {[][]XY{{{0, 0}, {4, 4}, {4, 0}, {0, 4}}}, SelfCrossing, 0, -2},
		"touches itself":       {[][]XY{{{0, 0}, {8, 0}, {8, 8}, {4, 0}, {0, 8}}}, SelfCrossing, 0, -2},
		"corner twice":         {[][]XY{{{0, 0}, {4, 4}, {8, 0}, {8, 8}, {4, 4}, {0, 8}}}, SelfCrossing, 0, -2},
		"hole outside":         {[][]XY{sq, rect(20, 20, 21, 21)}, HoleOutside, 1, 0},
		"hole around":          {[][]XY{sq, rect(-1, -1, 11, 11)}, HoleOutside, 1, 0},
		"hole touches outside": {[][]XY{sq, {{10, 5}, {12, 4}, {12, 6}}}, HoleOutside, 1, 0},
		"hole inscribed out":   {[][]XY{{{0, 0}, {8, 0}, {4, 2}, {8, 8}, {0, 8}}, {{8, 0}, {4, 2}, {8, 8}}}, RingsOverlap, 1, -2},
		"hole crosses":         {[][]XY{sq, rect(8, 4, 12, 6)}, RingsCross, 1, -2},
		"crosses in corners":   {[][]XY{{{0, 0}, {8, 0}, {6, 4}, {8, 8}, {0, 8}}, {{2, 4}, {4, 2}, {10, 4}, {4, 6}}}, RingsCross, 1, -2},
		"through a tooth":      {[][]XY{{{0, 0}, {20, 0}, {20, 10}, {11, 10}, {12, 5}, {10, 3}, {8, 5}, {9, 10}, {0, 10}}, {{2, 5}, {18, 5}, {10, 1}}}, RingsCross, 1, -2},
		"shares an edge":       {[][]XY{sq, rect(8, 4, 10, 6)}, RingsOverlap, 1, -2},
		"same twice":           {[][]XY{sq, sq}, RingsOverlap, 1, -2},
		"holes cross":          {[][]XY{sq, rect(1, 1, 5, 5), rect(4, 4, 8, 8)}, RingsCross, 2, -2},
		"hole in hole":         {[][]XY{sq, rect(1, 1, 8, 8), rect(3, 3, 5, 5)}, HoleInHole, 2, 0},
		"cut by touching":      {[][]XY{sq, {{0, 5}, {5, 4}, {10, 5}, {5, 6}}}, CutApart, 1, -1},
		"ring of holes": {[][]XY{sq, {{2, 5}, {5, 2}, {4, 5}}, {{5, 2}, {8, 5}, {5, 3}}, {{8, 5}, {5, 9}, {2, 5}, {5, 8}}},
			CutApart, -2, -1},
	} {
		p := faults(t, c.rings...)
		ok := false
		for _, q := range p {
			ok = ok || q.Fault == c.want && (c.ring == -2 || q.Ring == c.ring) && (c.at == -2 || q.Vertex == c.at) && q.Says != "" && q.Try != "" && q.Name == "z"
		}
		if !ok {
			t.Errorf("%s: want fault %d in ring %d at %d, got %v", name, c.want, c.ring, c.at, p)
		}
	}
}

func TestValid(t *testing.T) {
	sq := rect(0, 0, 10, 10)
	for name, rings := range map[string][][]XY{
		"plain":                   {sq},
		"closed":                  {append(rect(0, 0, 1, 1), XY{0, 0})},
		"straight corners":        {{{0, 0}, {5, 0}, {10, 0}, {10, 10}, {0, 10}, {0, 5}}},
		"hole touches in a point": {sq, {{0, 5}, {3, 4}, {3, 6}}},
		"holes touch in a point":  {sq, {{1, 1}, {5, 5}, {1, 5}}, {{5, 5}, {8, 8}, {5, 8}}},
		"hole corner at corner":   {sq, {{0, 0}, {3, 1}, {1, 3}}},
		"sliver":                  {{{0, 0}, {1e-15, 0}, {0, 1e5}}},
		"in the notch":            {{{0, 0}, {10, 0}, {10, 10}, {5, 5}, {0, 10}}, {{5, 5}, {4, 2}, {6, 2}}},
	} {
		if p := faults(t, rings...); p != nil {
			t.Errorf("%s: %v", name, p)
		}
	}
}

func TestHeads(t *testing.T) {
	good := func() Shape { return box("a", KeepIn, 0, 0, 1, 1, 0, 1) }
	for name, c := range map[string]struct {
		mend func(*Shape)
		want Fault
	}{
		"no name":      {func(s *Shape) { s.Name = " " }, BadName},
		"long name":    {func(s *Shape) { s.Name = strings.Repeat("x", MaxName+1) }, BadName},
		"no kind":      {func(s *Shape) { s.Kind = 0 }, NoKind},
		"unknown kind": {func(s *Shape) { s.Kind = 9 }, NoKind},
		"flat":         {func(s *Shape) { s.Ceiling = 0 }, BadBand},
		"upside down":  {func(s *Shape) { s.Ceiling = -1 }, BadBand},
		"NaN floor":    {func(s *Shape) { s.Floor = math.NaN() }, NotFinite},
		"Inf ceiling":  {func(s *Shape) { s.Ceiling = math.Inf(1) }, NotFinite},
		"high ceiling": {func(s *Shape) { s.Ceiling = 1e9 }, TooFar},
		"many rings":   {func(s *Shape) { s.Rings = make([][]XY, MaxRings+1) }, TooMuch},
		"many corners": {func(s *Shape) { s.Rings = [][]XY{make([]XY, MaxVertices+2)} }, TooMuch},
	} {
		s := good()
		c.mend(&s)
		_, err := New([]Shape{s})
		if err == nil || len(err.(*Invalid).Problems) != 1 || err.(*Invalid).Problems[0].Fault != c.want {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := New([]Shape{good(), good()}); err == nil || err.(*Invalid).Problems[0].Fault != DuplicateName {
		t.Errorf("same name twice: %v", err)
	}
	if _, err := New(make([]Shape, MaxZones+1)); err == nil || err.(*Invalid).Problems[0].Fault != TooMuch {
		t.Errorf("too many zones: %v", err)
	}
}

// MaxVertices is what is taken, closing corners aside, and not one more.
func TestVertexBound(t *testing.T) {
	for n, want := range map[int]Fault{MaxVertices: NoFault, MaxVertices + 1: TooMuch} {
		for _, rings := range [][][]XY{
			{smooth(rng(1), 10, n)},
			{rect(0, 0, 9, 9), smooth(rng(1), 1, n-4)},
		} {
			for i := range rings {
				rings[i] = append(rings[i], rings[i][0])
			}
			c := checker{}
			c.counts([]Shape{zoneOf(rings)})
			if got := len(c.found) > 0; got != (want == TooMuch) {
				t.Errorf("%d corners in %d rings: %v", n, len(rings), c.found)
			}
		}
	}
}

// Everything wrong is told at once, in order, with its place; and there is a
// bound on how much.
func TestAllProblemsAtOnce(t *testing.T) {
	bow := Shape{Name: "bow", Kind: KeepOut, Floor: 2, Ceiling: 1, Rings: [][]XY{{{0, 0}, {4, 4}, {4, 0}, {0, 4}}}}
	nan := Shape{Name: "nan", Kind: KeepIn, Floor: 0, Ceiling: 1, Rings: [][]XY{{{0, 0}, {math.NaN(), 4}, {4, 0}}}}
	_, err := New([]Shape{bow, box("fine", KeepIn, 0, 0, 1, 1, 0, 1), nan})
	want := `3 problems with the zones:
  zone "bow": its ceiling (1 m) is not above its floor (2 m). Try: swap or mend the two
  zone "bow", outer ring, corner 2 at (4, 0): the edge from this corner meets the edge from corner 0 of the same ring at (2, 2). Try: put the corners in order round the outline, or split the zone in two
  zone "nan", outer ring, corner 1 at (NaN, 4): a coordinate is not a number. Try: give both in metres`
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
	many := make([]Shape, 300)
	for i := range many {
		many[i] = Shape{Name: fmt.Sprint(i), Kind: KeepIn, Ceiling: 1}
	}
	_, err = New(many)
	p := err.(*Invalid).Problems
	if len(p) != MaxProblems || p[MaxProblems-1].Fault != TooMuch || p[MaxProblems-1].Shape != -1 {
		t.Errorf("%d problems, last %v", len(p), p[len(p)-1])
	}
}

// What New was given may change afterwards: the Set has its own copy.
func TestSetKeepsItsOwnCopy(t *testing.T) {
	in := []Shape{box("a", KeepIn, 0, 0, 10, 10, 0, 10)}
	in[0].Vehicles = []string{"mole"}
	s := mustNew(t, in...)
	in[0].Rings[0][0] = XY{9, 9}
	in[0].Vehicles[0] = "wren"
	if s.Shapes()[0].Rings[0][0] != (XY{0, 0}) || s.Shapes()[0].Vehicles[0] != "mole" || !s.Inside(XYZ{5, 5, 5}) {
		t.Error("the Set changed with its input")
	}
}
