package rehearse

import (
	"fmt"
	"strconv"
	"strings"
)

// Line is what a run is told by: the seed it was drawn from and, for one that was
// bred, how each child came of the one before. 4711.3.x905.2 is the second child
// of what came of crossing, with seed 905, the third child of seed 4711. It says
// all there is to say, whatever else ran.
type Line string

// MaxSteps bounds how far a run may be bred from its seed, and with it how long
// its line is.
const MaxSteps = 16

// step is how a child comes of its parent.
type step struct {
	cross bool
	n     uint64 // the how manieth child; with cross the seed that is crossed with
}

// lineOf is the line of a seed.
func lineOf(seed uint64) Line { return Line(strconv.FormatUint(seed, 10)) }

// child is the line one step on.
func (l Line) child(s step) Line {
	if s.cross {
		return l + Line(".x"+strconv.FormatUint(s.n, 10))
	}
	return l + Line("."+strconv.FormatUint(s.n, 10))
}

// Bred says whether the run was bred, and not drawn by chance.
func (l Line) Bred() bool { return strings.Contains(string(l), ".") }

// ParseLine reads what a run is told by.
func ParseLine(text string) (Line, error) {
	if _, _, err := Line(text).steps(); err != nil {
		return "", fmt.Errorf("%q is no run (%w); give one as the report has it, like 4711 or 4711.3.x905.2", text, err)
	}
	return Line(text), nil
}

// steps takes a line apart.
func (l Line) steps() (seed uint64, all []step, err error) {
	parts := strings.Split(string(l), ".")
	if len(parts) > 1+MaxSteps {
		return 0, nil, fmt.Errorf("more than %d steps", MaxSteps)
	}
	if seed, err = number(parts[0]); err != nil {
		return 0, nil, err
	}
	for _, p := range parts[1:] {
		digits, cross := strings.CutPrefix(p, "x")
		n, err := number(digits)
		if err != nil {
			return 0, nil, err
		}
		all = append(all, step{cross, n})
	}
	return seed, all, nil
}

// number reads digits, written in the one way they are printed.
func number(digits string) (uint64, error) {
	n, err := strconv.ParseUint(digits, 10, 64)
	if err != nil || strconv.FormatUint(n, 10) != digits {
		return 0, fmt.Errorf("%q is no number of a run", digits)
	}
	return n, nil
}
