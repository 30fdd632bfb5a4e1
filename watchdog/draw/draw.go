package draw

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"pinfold/zones"
)

// Drawing gathers a picture. Its numbers are rounded to what shows.
type Drawing struct{ strings.Builder }

// F adds what fmt.Fprintf makes of it.
func (d *Drawing) F(format string, a ...any) { fmt.Fprintf(&d.Builder, format, a...) }

// Text is s safe inside the markup.
func Text(s string) string { return template.HTMLEscapeString(s) }

// Box is what a picture shows, in metres.
type Box struct{ X0, Y0, X1, Y1 float64 }

// NoBox shows nothing yet.
func NoBox() Box { return Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)} }

// Add makes it show a point too.
func (b *Box) Add(x, y float64) {
	b.X0, b.Y0, b.X1, b.Y1 = min(b.X0, x), min(b.Y0, y), max(b.X1, x), max(b.Y1, y)
}

// AddPlan makes it show zones, seen from above.
func (b *Box) AddPlan(all []zones.Shape) {
	for i := range all {
		for _, ring := range all[i].Rings {
			for _, p := range ring {
				b.Add(p.X, p.Y)
			}
		}
	}
}

// Width of a picture in its own units.
const Width = 900

// Frame places metres on a picture.
type Frame struct {
	Box
	Scale float64 // units for a metre
	W, H  float64
}

// NewFrame is a frame for what is in b and a little around it, at most Width
// wide and most units high.
func NewFrame(b Box, most float64) Frame {
	if !(b.X1 > b.X0) || !(b.Y1 > b.Y0) {
		b = Box{b.X0 - 1, b.Y0 - 1, b.X0 + 1, b.Y0 + 1}
	}
	if math.IsInf(b.X0, 0) || math.IsNaN(b.X0+b.X1+b.Y0+b.Y1) {
		b = Box{0, 0, 1, 1}
	}
	pad := 0.04 * max(b.X1-b.X0, b.Y1-b.Y0)
	b = Box{b.X0 - pad, b.Y0 - pad, b.X1 + pad, b.Y1 + pad}
	f := Frame{Box: b, Scale: min(Width/(b.X1-b.X0), most/(b.Y1-b.Y0))}
	f.W, f.H = f.Scale*(b.X1-b.X0), f.Scale*(b.Y1-b.Y0)
	return f
}

// X is where x m is, from the left.
func (f *Frame) X(v float64) float64 { return f.Scale * (v - f.X0) }

// Y is where y m is, from the top.
func (f *Frame) Y(v float64) float64 { return f.Scale * (f.Y1 - v) }

// Begin opens the picture, with the name that is read aloud.
func (f *Frame) Begin(d *Drawing, class, title string) {
	d.F(`<svg class="%s" viewBox="0 0 %.1f %.1f" role="img" aria-label="%s">`, class, f.W, f.H, Text(title))
}

// Zone draws a zone from above, holes left open, as a path of class kind with
// its name.
func (f *Frame) Zone(d *Drawing, kind string, z *zones.Shape) {
	d.F(`<path class="%s" fill-rule="evenodd" d="`, kind)
	for _, ring := range z.Rings {
		for i, p := range ring {
			d.F("%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], f.X(p.X), f.Y(p.Y))
		}
		d.F("z")
	}
	d.F(`"><title>%s %s, %.2f m to %.2f m high</title></path>`, kind, Text(z.Name), z.Floor, z.Ceiling)
	if len(z.Rings) > 0 && len(z.Rings[0]) > 0 {
		at := z.Rings[0][0]
		for _, p := range z.Rings[0] {
			if p.Y > at.Y || (p.Y == at.Y && p.X < at.X) {
				at = p
			}
		}
		d.F(`<text class="tag" x="%.1f" y="%.1f">%s</text>`, f.X(at.X)+4, f.Y(at.Y)+14, Text(z.Name))
	}
}

// Ruler draws a length to measure by.
func (f *Frame) Ruler(d *Drawing) {
	l := math.Pow(10, math.Floor(math.Log10((f.X1-f.X0)/3)))
	d.F(`<path class="ruler" d="M8 %.1fv-6h%.1fv6"/><text class="tag" x="12" y="%.1f">%g m</text>`, f.H-6, l*f.Scale, f.H-16, l)
}
