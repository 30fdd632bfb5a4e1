package review

import (
	"html/template"
	"math"

	"pinfold/watchdog"
	"pinfold/zones"
)

// box is what a picture shows, in metres.
type box struct{ x0, y0, x1, y1 float64 }

func (b *box) add(x, y float64) {
	b.x0, b.y0, b.x1, b.y1 = min(b.x0, x), min(b.y0, y), max(b.x1, x), max(b.y1, y)
}

func noBox() box { return box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)} }

const picture = 900 // width of a plan in its own units

// frame places metres on a picture of at most most units high.
type frame struct {
	box
	scale float64
	w, h  float64
}

func newFrame(b box, most float64) frame {
	if !(b.x1 > b.x0) || !(b.y1 > b.y0) {
		b = box{b.x0 - 1, b.y0 - 1, b.x0 + 1, b.y0 + 1}
	}
	if math.IsInf(b.x0, 0) || math.IsNaN(b.x0+b.x1+b.y0+b.y1) {
		b = box{0, 0, 1, 1}
	}
	pad := 0.04 * max(b.x1-b.x0, b.y1-b.y0)
	b = box{b.x0 - pad, b.y0 - pad, b.x1 + pad, b.y1 + pad}
	f := frame{box: b, scale: min(picture/(b.x1-b.x0), most/(b.y1-b.y0))}
	f.w, f.h = f.scale*(b.x1-b.x0), f.scale*(b.y1-b.y0)
	return f
}

func (f *frame) x(v float64) float64 { return f.scale * (v - f.x0) }
func (f *frame) y(v float64) float64 { return f.scale * (f.y1 - v) }

// begin opens the picture, with the name that is read aloud.
func (f *frame) begin(d *drawing, class, title string) {
	d.f(`<svg class="%s" viewBox="0 0 %.1f %.1f" role="img" aria-label="%s">`, class, f.w, f.h, text(title))
}

// planOf is the plan view: zones, the track by level, stops with their
// predicted and their actual rest.
func planOf(v *Vehicle) template.HTML {
	b := noBox()
	for i := range v.Shapes {
		for _, ring := range v.Shapes[i].Rings {
			for _, p := range ring {
				b.add(p.X, p.Y)
			}
		}
	}
	for _, p := range v.Track.Path {
		b.add(p.X, p.Y)
	}
	f := newFrame(b, 620)
	var d drawing
	f.begin(&d, "plan", "plan view of "+v.Name)
	for i := range v.Shapes {
		f.zone(&d, v.Shapes[i].Kind.String(), &v.Shapes[i])
	}
	for i := range v.Slow {
		f.zone(&d, "slow", &v.Slow[i])
	}
	f.path(&d, v.Track.Path, func(p *Point) float64 { return p.Y })
	for i := range v.Stops {
		f.stop(&d, i+1, &v.Stops[i], v.Declared.Radius, func(p zones.XYZ) float64 { return p.Y })
	}
	for i := range v.Near {
		n := &v.Near[i]
		d.f(`<path class="near" d="M%.1f %.1fl5 8h-10z"><title>near miss at %.2f s, %.2f m left</title></path>`,
			f.x(n.Place.X), f.y(n.Place.Y)-5, n.At, n.Clearance)
	}
	f.ruler(&d)
	d.f("</svg>")
	return template.HTML(d.String())
}

func (f *frame) zone(d *drawing, kind string, z *zones.Shape) {
	d.f(`<path class="%s" fill-rule="evenodd" d="`, kind)
	for _, ring := range z.Rings {
		for i, p := range ring {
			d.f("%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], f.x(p.X), f.y(p.Y))
		}
		d.f("z")
	}
	d.f(`"><title>%s %s, %.2f m to %.2f m high</title></path>`, kind, text(z.Name), z.Floor, z.Ceiling)
	if len(z.Rings) > 0 && len(z.Rings[0]) > 0 {
		at := z.Rings[0][0]
		for _, p := range z.Rings[0] {
			if p.Y > at.Y || (p.Y == at.Y && p.X < at.X) {
				at = p
			}
		}
		d.f(`<text class="tag" x="%.1f" y="%.1f">%s</text>`, f.x(at.X)+4, f.y(at.Y)+14, text(z.Name))
	}
}

// path draws the track, one line for each stretch of one level.
func (f *frame) path(d *drawing, path []Point, up func(*Point) float64) {
	for i := 0; i < len(path); {
		level := path[i].Level
		d.f(`<path class="t %s" d="M%.1f %.1f`, level, f.x(path[i].X), f.y(up(&path[i])))
		i++
		for ; i < len(path); i++ {
			d.f("L%.1f %.1f", f.x(path[i].X), f.y(up(&path[i])))
			if path[i].Level != level {
				break // drawn to where the next stretch begins
			}
		}
		d.f(`"/>`)
	}
}

// stop marks where a stop was called, where it would have come to rest at
// worst, and where it did.
func (f *frame) stop(d *drawing, n int, s *Chain, radius float64, up func(zones.XYZ) float64) {
	x, y := f.x(s.From.X), f.y(up(s.From))
	px, py := f.x(s.Predicted.X), f.y(up(s.Predicted))
	d.f(`<g class="mark"><line class="pred" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, x, y, px, py)
	d.f(`<circle class="pred" cx="%.1f" cy="%.1f" r="%.1f"/>`, px, py, max(3, min(radius*f.scale, 40)))
	d.f(`<rect class="call" x="%.1f" y="%.1f" width="8" height="8"/>`, x-4, y-4)
	if s.AtRest {
		ax, ay := f.x(s.Actual.X), f.y(up(s.Actual))
		d.f(`<path class="rest" d="M%.1f %.1fl10 10m-10 0l10 -10"/>`, ax-5, ay-5)
	}
	d.f(`<text x="%.1f" y="%.1f">%d</text><title>stop %d at %.2f s: %s</title></g>`, x+6, y-6, n, n, s.At, text(s.Cause.Text))
}

// ruler draws a length to measure by.
func (f *frame) ruler(d *drawing) {
	l := math.Pow(10, math.Floor(math.Log10((f.x1-f.x0)/3)))
	d.f(`<path class="ruler" d="M8 %.1fv-6h%.1fv6"/><text class="tag" x="12" y="%.1f">%g m</text>`, f.h-6, l*f.scale, f.h-16, l)
}

// sideOf is the side view along x: height bands, limit, track and stops.
func sideOf(v *Vehicle) template.HTML {
	b := noBox()
	for i := range v.Shapes {
		z := &v.Shapes[i]
		for _, p := range z.Rings[0] {
			b.add(p.X, max(z.Floor, -2))
			b.add(p.X, min(z.Ceiling, 200))
		}
	}
	for _, p := range v.Track.Path {
		b.add(p.X, p.Z)
	}
	f := newFrame(b, 420)
	var d drawing
	f.begin(&d, "side", "side view of "+v.Name+", along x")
	for i := range v.Shapes {
		z := &v.Shapes[i]
		w := noBox()
		for _, p := range z.Rings[0] {
			w.add(p.X, 0)
		}
		top := min(f.y(z.Floor), f.h)
		d.f(`<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f"><title>%s</title></rect>`, z.Kind, f.x(w.x0),
			max(f.y(z.Ceiling), 0), (w.x1-w.x0)*f.scale, max(top-max(f.y(z.Ceiling), 0), 0), text(z.Name))
	}
	if l := v.Limits[watchdog.LimitHeight]; l.On {
		d.f(`<line class="limit" x1="0" x2="%.1f" y1="%.1f" y2="%.1f"/><text class="tag" x="4" y="%.1f">height limit %g m</text>`,
			f.w, f.y(l.Max), f.y(l.Max), f.y(l.Max)-4, l.Max)
	}
	d.f(`<line class="floor" x1="0" x2="%.1f" y1="%.1f" y2="%.1f"/>`, f.w, f.y(0), f.y(0))
	f.path(&d, v.Track.Path, func(p *Point) float64 { return p.Z })
	for i := range v.Stops {
		f.stop(&d, i+1, &v.Stops[i], 0, func(p zones.XYZ) float64 { return p.Z })
	}
	f.ruler(&d)
	d.f("</svg>")
	return template.HTML(d.String())
}
