package zones

import (
	"fmt"
	"strings"
)

// Fault is the kind of a Problem.
type Fault uint8

const (
	NoFault       Fault = iota
	NotFinite           // a number is NaN or infinite
	TooFar              // a number is beyond MaxCoordinate
	TooMuch             // a bound of this package is met
	TooFewPoints        // a ring has fewer than three different corners
	ZeroArea            // all corners of a ring lie on one line
	Spike               // a ring runs back along itself
	SelfCrossing        // two edges of one ring cross or touch
	RingsCross          // two rings of one zone cross
	RingsOverlap        // two rings of one zone run along the same line
	HoleOutside         // a hole is not inside the outer ring
	HoleInHole          // a hole lies inside another hole
	CutApart            // holes that touch cut the zone into parts
	BadBand             // the ceiling is not above the floor
	NoKind              // neither keep-in nor keep-out
	BadName             // no name, or one too long
	DuplicateName       // two zones share a name
)

// Problem is one thing wrong with a shape, with its place, the value found and
// the next step.
type Problem struct {
	Shape  int    // index into the slice given to New; -1 for the site as a whole
	Name   string // the shape's name
	Ring   int    // 0 the outer ring, then the holes; -1 where no ring is meant
	Vertex int    // index into the ring as given, before merging; -1 where none is meant
	At     XY     // m, where it shows, site frame
	Fault  Fault
	Says   string // what is wrong, in plain words
	Try    string // the next step
}

// String is the problem on one line.
func (p Problem) String() string {
	var b strings.Builder
	if p.Shape >= 0 {
		fmt.Fprintf(&b, "zone %q", p.Name)
		if p.Name == "" {
			fmt.Fprintf(&b, " (number %d)", p.Shape+1)
		}
	} else {
		b.WriteString("site")
	}
	switch {
	case p.Ring == 0:
		b.WriteString(", outer ring")
	case p.Ring > 0:
		fmt.Fprintf(&b, ", hole %d", p.Ring)
	}
	if p.Vertex >= 0 {
		fmt.Fprintf(&b, ", corner %d at (%g, %g)", p.Vertex, p.At.X, p.At.Y)
	}
	fmt.Fprintf(&b, ": %s. Try: %s", p.Says, p.Try)
	return b.String()
}

// Invalid is the error of New: everything that is wrong with the shapes, at
// once, in the order of the shapes.
type Invalid struct{ Problems []Problem }

func (e *Invalid) Error() string {
	if len(e.Problems) == 1 {
		return e.Problems[0].String()
	}
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		lines[i] = "  " + p.String()
	}
	return fmt.Sprintf("%d problems with the zones:\n%s", len(e.Problems), strings.Join(lines, "\n"))
}
