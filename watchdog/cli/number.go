package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/alecthomas/kong"
)

// kong takes a value below zero for another flag, and would want it behind an
// equals sign: coordinates and headings are often below zero.

// number is a flag of one finite number.
type number struct {
	Value float64
	Given bool
}

// Decode takes the next word, also where it begins with a minus.
func (n *number) Decode(ctx *kong.DecodeContext) (err error) {
	n.Value, err = finite(word(ctx))
	n.Given = true
	return err
}

// triple is a flag of three finite numbers, like 1,-2.5,0.3.
type triple struct {
	X, Y, Z float64
	Given   bool
}

// Decode takes the next word, also where it begins with a minus.
func (p *triple) Decode(ctx *kong.DecodeContext) (err error) {
	text := word(ctx)
	cells := strings.Split(text, ",")
	if len(cells) != 3 {
		return fmt.Errorf("%q is not three numbers: write it like 1.5,-2,0.06", text)
	}
	for i, v := range []*float64{&p.X, &p.Y, &p.Z} {
		if *v, err = finite(strings.TrimSpace(cells[i])); err != nil {
			return err
		}
	}
	p.Given = true
	return nil
}

// word is the next word of the command line; empty where there is none.
func word(ctx *kong.DecodeContext) string {
	if t := ctx.Scan.Pop(); !t.IsEOL() {
		return fmt.Sprint(t.Value)
	}
	return ""
}

func finite(text string) (float64, error) {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is not a number", text)
	}
	return v, nil
}
