package review

import (
	"html/template"

	"pinfold/watchdog"
	"pinfold/watchdog/draw"
	"pinfold/zones"
)

// frame is a picture of a session.
type frame struct{ draw.Frame }

// planOf is the plan view: zones, the track by level, stops with their
// predicted and their actual rest.
func planOf(v *Vehicle) template.HTML {
	b := draw.NoBox()
	b.AddPlan(v.Shapes)
	for _, p := range v.Track.Path {
		b.Add(p.X, p.Y)
	}
	f := frame{draw.NewFrame(b, 620)}
	var d draw.Drawing
	f.Begin(&d, "plan", "plan view of "+v.Name)
	for i := range v.Shapes {
		f.Zone(&d, v.Shapes[i].Kind.String(), &v.Shapes[i])
	}
	for i := range v.Slow {
		f.Zone(&d, "slow", &v.Slow[i])
	}
	f.path(&d, v.Track.Path, func(p *Point) float64 { return p.Y })
	for i := range v.Stops {
		f.stop(&d, i+1, &v.Stops[i], v.Declared.Radius, func(p zones.XYZ) float64 { return p.Y })
	}
	for i := range v.Near {
		n := &v.Near[i]
		d.F(`<path class="near" d="M%.1f %.1fl5 8h-10z"><title>near miss at %.2f s, %.2f m left</title></path>`,
			f.X(n.Place.X), f.Y(n.Place.Y)-5, n.At, n.Clearance)
	}
	f.Ruler(&d)
	d.F("</svg>")
	return template.HTML(d.String())
}

// path draws the track, one line for each stretch of one level.
func (f *frame) path(d *draw.Drawing, path []Point, up func(*Point) float64) {
	for i := 0; i < len(path); {
		level := path[i].Level
		d.F(`<path class="t %s" d="M%.1f %.1f`, level, f.X(path[i].X), f.Y(up(&path[i])))
		i++
		for ; i < len(path); i++ {
			d.F("L%.1f %.1f", f.X(path[i].X), f.Y(up(&path[i])))
			if path[i].Level != level {
				break // drawn to where the next stretch begins
			}
		}
		d.F(`"/>`)
	}
}

// stop marks where a stop was called, where it would have come to rest at
// worst, and where it did.
func (f *frame) stop(d *draw.Drawing, n int, s *Chain, radius float64, up func(zones.XYZ) float64) {
	x, y := f.X(s.From.X), f.Y(up(s.From))
	px, py := f.X(s.Predicted.X), f.Y(up(s.Predicted))
	d.F(`<g class="mark"><line class="pred" x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f"/>`, x, y, px, py)
	d.F(`<circle class="pred" cx="%.1f" cy="%.1f" r="%.1f"/>`, px, py, max(3, min(radius*f.Scale, 40)))
	d.F(`<rect class="call" x="%.1f" y="%.1f" width="8" height="8"/>`, x-4, y-4)
	if s.AtRest {
		ax, ay := f.X(s.Actual.X), f.Y(up(s.Actual))
		d.F(`<path class="rest" d="M%.1f %.1fl10 10m-10 0l10 -10"/>`, ax-5, ay-5)
	}
	d.F(`<text x="%.1f" y="%.1f">%d</text><title>stop %d at %.2f s: %s</title></g>`, x+6, y-6, n, n, s.At, draw.Text(s.Cause.Text))
}

// sideOf is the side view along x: height bands, limit, track and stops.
func sideOf(v *Vehicle) template.HTML {
	b := draw.NoBox()
	for i := range v.Shapes {
		z := &v.Shapes[i]
		for _, p := range z.Rings[0] {
			b.Add(p.X, max(z.Floor, -2))
			b.Add(p.X, min(z.Ceiling, 200))
		}
	}
	for _, p := range v.Track.Path {
		b.Add(p.X, p.Z)
	}
	f := frame{draw.NewFrame(b, 420)}
	var d draw.Drawing
	f.Begin(&d, "side", "side view of "+v.Name+", along x")
	for i := range v.Shapes {
		z := &v.Shapes[i]
		w := draw.NoBox()
		for _, p := range z.Rings[0] {
			w.Add(p.X, 0)
		}
		top := min(f.Y(z.Floor), f.H)
		d.F(`<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f"><title>%s</title></rect>`, z.Kind, f.X(w.X0),
			max(f.Y(z.Ceiling), 0), (w.X1-w.X0)*f.Scale, max(top-max(f.Y(z.Ceiling), 0), 0), draw.Text(z.Name))
	}
	if l := v.Limits[watchdog.LimitHeight]; l.On {
		d.F(`<line class="limit" x1="0" x2="%.1f" y1="%.1f" y2="%.1f"/><text class="tag" x="4" y="%.1f">height limit %g m</text>`,
			f.W, f.Y(l.Max), f.Y(l.Max), f.Y(l.Max)-4, l.Max)
	}
	d.F(`<line class="floor" x1="0" x2="%.1f" y1="%.1f" y2="%.1f"/>`, f.W, f.Y(0), f.Y(0))
	f.path(&d, v.Track.Path, func(p *Point) float64 { return p.Z })
	for i := range v.Stops {
		f.stop(&d, i+1, &v.Stops[i], 0, func(p zones.XYZ) float64 { return p.Z })
	}
	f.Ruler(&d)
	d.F("</svg>")
	return template.HTML(d.String())
}
