package draw

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"

	"pinfold/zones"
)

// TestFrameFits: everything that was added is on the picture, north up, also
// where nothing was, or no number.
func TestFrameFits(t *testing.T) {
	b := NoBox()
	for _, p := range [][2]float64{{-3, 1}, {4, 9}, {0, -2}} {
		b.Add(p[0], p[1])
	}
	f := NewFrame(b, 620)
	if f.W > Width+1e-9 || f.H > 620+1e-9 || f.X(-3) < 0 || f.X(4) > f.W || f.Y(9) < 0 || f.Y(-2) > f.H || f.Y(9) > f.Y(-2) {
		t.Errorf("%+v", f)
	}
	for _, b := range []Box{NoBox(), {1, 1, 1, 1}, {math.NaN(), 0, 1, 1}} {
		if f := NewFrame(b, 100); !(f.W > 0) || !(f.H > 0) || math.IsInf(f.X(0)+f.Y(0), 0) {
			t.Errorf("%+v comes to %+v", b, f)
		}
	}
}

// TestPictureIsWellFormed: whatever a zone is called, the picture is markup.
func TestPictureIsWellFormed(t *testing.T) {
	z := zones.Shape{Name: `a "<b>" & c`, Ceiling: 2, Rings: [][]zones.XY{{{X: 0, Y: 0}, {X: 4, Y: 0}, {X: 4, Y: 3}}, {{X: 2, Y: 1}, {X: 3, Y: 1}, {X: 3, Y: 2}}}}
	b := NoBox()
	b.AddPlan([]zones.Shape{z})
	f := NewFrame(b, 400)
	var d Drawing
	f.Begin(&d, "plan", z.Name)
	f.Zone(&d, "keep-in", &z)
	f.Ruler(&d)
	d.F("</svg>")
	dec := xml.NewDecoder(strings.NewReader(d.String()))
	paths := 0
	for {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "path" {
			paths++
		}
	}
	if paths != 2 || strings.Count(d.String(), "z\"") != 1 || strings.Count(d.String(), "M") < 3 {
		t.Errorf("%d paths in %s", paths, d.String())
	}
}
