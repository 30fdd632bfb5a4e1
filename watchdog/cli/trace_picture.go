package cli

import (
	"bytes"
	"fmt"
	"html"
	"math"

	"pinfold/watchdog/survey"
	"pinfold/zones"
)

// picture is a walk as an SVG (W3C Scalable Vector Graphics 1.1): what was
// walked, what was kept of it, where it was closed, a scale, and the site's
// other zones for the place.
type picture struct {
	title  string
	path   []zones.XY
	others []zones.Shape
	trace  *survey.Trace     // nil where it was refused
	fault  *survey.WalkError // why
}

// pictureMark begins every picture: only a file that begins so is replaced
// without being told to.
const pictureMark = "<!-- drawn by pinfold trace -->\n"

const (
	pictureWidth  = 900.0 // px, of the plan
	pictureMargin = 40.0  // px, around it
	pictureFoot   = 90.0  // px, for the words below
)

// plan turns metres into pixels, y upwards.
type plan struct {
	minX, maxY, scale float64
	width, height     float64 // px
}

func planOf(points []zones.XY) plan {
	lo, hi := zones.XY{X: math.Inf(1), Y: math.Inf(1)}, zones.XY{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, p := range points {
		lo.X, lo.Y, hi.X, hi.Y = math.Min(lo.X, p.X), math.Min(lo.Y, p.Y), math.Max(hi.X, p.X), math.Max(hi.Y, p.Y)
	}
	w, h := math.Max(hi.X-lo.X, 0.1), math.Max(hi.Y-lo.Y, 0.1)
	scale := pictureWidth / math.Max(w, h)
	return plan{lo.X, hi.Y, scale, math.Max(w*scale, 420) + 2*pictureMargin, h*scale + 2*pictureMargin + pictureFoot}
}

func (p *plan) at(q zones.XY) (x, y float64) {
	return pictureMargin + (q.X-p.minX)*p.scale, pictureMargin + (p.maxY-q.Y)*p.scale
}

// line is the d attribute of a path through points.
func (p *plan) line(points []zones.XY, closed bool) string {
	var b bytes.Buffer
	for i, q := range points {
		x, y := p.at(q)
		word := "L"
		if i == 0 {
			word = "M"
		}
		fmt.Fprintf(&b, "%s%.1f %.1f", word, x, y)
	}
	if closed && len(points) > 0 {
		b.WriteString("Z")
	}
	return b.String()
}

// svg draws it.
func (p *picture) svg() []byte {
	points := append([]zones.XY(nil), p.path...)
	if p.trace != nil {
		points = append(points, p.trace.Shape.Rings[0]...)
	}
	for i := range p.others {
		points = append(points, p.others[i].Rings[0]...)
	}
	m := planOf(points)
	var b bytes.Buffer
	b.WriteString(pictureMark)
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" font-family="sans-serif" font-size="14">`+"\n", m.width, m.height)
	fmt.Fprintf(&b, "<title>%s</title>\n<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n", html.EscapeString(p.title))
	for i := range p.others {
		o := &p.others[i]
		if o.Name == p.title {
			continue
		}
		x, y := m.at(o.Rings[0][0])
		for _, r := range o.Rings {
			fmt.Fprintf(&b, `<path d="%s" fill="none" stroke="#999" stroke-width="1" stroke-dasharray="6 4"/>`+"\n", m.line(r, true))
		}
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" fill="#777">%s</text>`+"\n", x+4, y-4, html.EscapeString(o.Name))
	}
	if p.trace != nil {
		p.kept(&b, &m)
	}
	fmt.Fprintf(&b, `<path class="walk" d="%s" fill="none" stroke="#24527a" stroke-width="1.2"/>`+"\n", m.line(p.path, false))
	p.places(&b, &m)
	p.foot(&b, &m)
	b.WriteString("</svg>\n")
	return b.Bytes()
}

// kept draws the zone.
func (p *picture) kept(b *bytes.Buffer, m *plan) {
	fill, stroke := "#cfe8cf", "#2f7d32"
	if p.trace.Shape.Kind == zones.KeepOut {
		fill, stroke = "#f3cfcf", "#a02020"
	}
	fmt.Fprintf(b, `<path class="zone" d="%s" fill="%s" stroke="%s" stroke-width="3" stroke-linejoin="round"/>`+"\n", m.line(p.trace.Shape.Rings[0], true), fill, stroke)
}

// places marks the begin, the closing, and what was refused.
func (p *picture) places(b *bytes.Buffer, m *plan) {
	dot := func(q zones.XY, colour, word string, dy float64) {
		x, y := m.at(q)
		fmt.Fprintf(b, `<circle cx="%.1f" cy="%.1f" r="5" fill="none" stroke="%s" stroke-width="2"/><text x="%.1f" y="%.1f" fill="%s">%s</text>`+"\n", x, y, colour, x+8, y+dy, colour, word)
	}
	if len(p.path) > 0 {
		dot(p.path[0], "#24527a", "walk begins", -8)
	}
	if t := p.trace; t != nil {
		fmt.Fprintf(b, `<path class="closed" d="%s" stroke="#c06000" stroke-width="4"/>`+"\n", m.line(t.Closed[:], false))
		dot(t.Closed[0], "#c06000", "closed here", 18)
	}
	if f := p.fault; f != nil && f.Place {
		x, y := m.at(f.At)
		fmt.Fprintf(b, `<path class="fault" d="M%.1f %.1fl20 20m0 -20l-20 20" stroke="#c00000" stroke-width="3"/>`+"\n", x-10, y-10)
	}
}

// foot is the scale and the words.
func (p *picture) foot(b *bytes.Buffer, m *plan) {
	y := m.height - pictureFoot
	bar := scaleBar(m.width / 4 / m.scale)
	fmt.Fprintf(b, `<path class="scale" d="M%.1f %.1fv-6m0 6h%.1fv-6" fill="none" stroke="#000" stroke-width="2"/><text x="%.1f" y="%.1f">%g m</text>`+"\n",
		pictureMargin, y, bar*m.scale, pictureMargin+bar*m.scale+8, y+2, bar)
	words := []string{p.title, "thin: as it was walked"}
	if t := p.trace; t != nil {
		s := &t.Shape
		words = []string{fmt.Sprintf("%s, %s, %.2f m², %.2f to %.2f m high", s.Name, s.Kind, t.Area, s.Floor, s.Ceiling),
			fmt.Sprintf("thin: as it was walked; thick: the outline kept, %d corners; dashed: other zones", len(s.Rings[0]))}
	}
	if p.fault != nil {
		words = []string{p.title, p.fault.Says}
	}
	for i, w := range words {
		fmt.Fprintf(b, `<text x="%.1f" y="%.1f">%s</text>`+"\n", pictureMargin, y+30+20*float64(i), html.EscapeString(w))
	}
}

// scaleBar is the greatest of 1, 2 and 5 times a power of ten up to most, m.
func scaleBar(most float64) float64 {
	ten := math.Pow(10, math.Floor(math.Log10(most)))
	for _, k := range []float64{5, 2} {
		if k*ten <= most {
			return k * ten
		}
	}
	return ten
}
