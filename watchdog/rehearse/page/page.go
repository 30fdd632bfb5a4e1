package page

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"pinfold/watchdog/draw"
	"pinfold/watchdog/rehearse"
	"pinfold/zones"
)

//go:embed page.tmpl
var pageText string

// Most bounds the bytes of a page.
const Most = 3 << 20

// Write writes the report as one page that needs nothing beside it.
func Write(w io.Writer, rep *rehearse.Report) error {
	t, err := template.New("page").Funcs(template.FuncMap{
		"plan": planOf, "bars": barsOf, "m": metres,
		"cm": func(x float64) string { return fmt.Sprintf("%.1f cm", 100*x) },
	}).Parse(pageText)
	if err != nil {
		return fmt.Errorf("rehearse: the page: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, rep); err != nil {
		return fmt.Errorf("rehearse: the page: %w", err)
	}
	if b.Len() > Most {
		return fmt.Errorf("rehearse: the page came to %d bytes, more than %d: rehearse one vehicle at a time, with --vehicle", b.Len(), Most)
	}
	_, err = w.Write(b.Bytes())
	return err
}

func metres(x float64) string { return fmt.Sprintf("%.3f m", x) }

// planOf is the plan view: zones, and where the runs ended.
func planOf(v rehearse.Vehicle) template.HTML {
	b := draw.NoBox()
	b.AddPlan(v.Shapes)
	for i := range v.Spots {
		b.Add(v.Spots[i].At.X, v.Spots[i].At.Y)
	}
	f := draw.NewFrame(b, 620)
	var d draw.Drawing
	f.Begin(&d, "plan", "plan view: where "+v.Name+" came to rest")
	for _, kind := range []zones.Kind{zones.KeepIn, zones.KeepOut} { // a keep-out is drawn over the pen it stands in
		for i := range v.Shapes {
			if v.Shapes[i].Kind == kind {
				f.Zone(&d, kind.String(), &v.Shapes[i])
			}
		}
	}
	for _, bad := range []bool{false, true} { // what went wrong lies on top
		for i := range v.Spots {
			if s := &v.Spots[i]; s.Bad == bad {
				spot(&d, &f, s)
			}
		}
	}
	closest(&d, &f, &v)
	f.Ruler(&d)
	d.F("</svg>")
	return template.HTML(d.String())
}

// spot marks where a run ended: a ring by chance, a cross bred, a large filled
// square where it should not have.
func spot(d *draw.Drawing, f *draw.Frame, s *rehearse.Spot) {
	x, y := f.X(s.At.X), f.Y(s.At.Y)
	switch {
	case s.Bad:
		d.F(`<rect class="bad" x="%.1f" y="%.1f" width="9" height="9"><title>run %s: %.3f m</title></rect>`, x-4.5, y-4.5, draw.Text(string(s.Run)), s.Room)
	case s.Run.Bred():
		d.F(`<path class="bred" d="M%.1f %.1fh6m-3 -3v6"/>`, x-3, y)
	default:
		d.F(`<circle class="chance" cx="%.1f" cy="%.1f" r="2"/>`, x, y)
	}
}

// closest draws the whole body of the run that came closest.
func closest(d *draw.Drawing, f *draw.Frame, v *rehearse.Vehicle) {
	for i := range v.Spots {
		s := &v.Spots[i]
		if s.Run == v.Outcome.Run {
			x, y := f.X(s.At.X), f.Y(s.At.Y)
			d.F(`<circle class="body" cx="%.1f" cy="%.1f" r="%.1f"><title>the closest: run %s, %.3f m</title></circle><text class="tag" x="%.1f" y="%.1f">closest</text>`,
				x, y, v.Radius*f.Scale, draw.Text(string(s.Run)), v.Outcome.Closest, x+4, y-4)
			return
		}
	}
}

// The bar chart: a row for every declaration, bars in shares of its runs.
const (
	barRow   = 30
	barLeft  = 235 // where bars begin
	barWide  = 420 // of all runs
	barThick = 18
)

// barsOf shows of how many runs each broken declaration made a leak, and of how
// many it used up the margin.
func barsOf(v rehearse.Vehicle) template.HTML {
	var d draw.Drawing
	h := barRow*len(v.WhatIf) + 34
	d.F(`<svg class="bars" viewBox="0 0 %d %d" role="img" aria-label="share of runs that left, or used up the margin, for each declaration that does not hold">`, draw.Width, h)
	d.F(`<defs><pattern id="hatch" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="6" height="6" class="paper"/><path class="hatch" d="M0 0V6"/></pattern></defs>`)
	for i := 0; i <= 4; i++ {
		x := barLeft + i*barWide/4
		d.F(`<path class="grid" d="M%d 4V%d"/><text class="tick" x="%d" y="%d" text-anchor="middle">%d %%</text>`, x, h-26, x, h-8, 25*i)
	}
	for i := range v.WhatIf {
		w := &v.WhatIf[i]
		o := &w.Outcome
		y, left := 8+i*barRow, o.Left+o.Over
		share := func(n int) float64 { return barWide * float64(n) / float64(max(1, o.Runs)) }
		d.F(`<text x="%d" y="%d" text-anchor="end">%s</text>`, barLeft-8, y+13, draw.Text(w.Break))
		d.F(`<rect class="left" x="%d" y="%d" width="%.1f" height="%d"/>`, barLeft, y, share(left), barThick)
		d.F(`<rect class="short" x="%.1f" y="%d" width="%.1f" height="%d"/>`, barLeft+share(left), y, share(o.Short), barThick)
		d.F(`<text class="count" x="%.1f" y="%d">%d left, %d short of %d</text>`, barLeft+share(min(o.Runs, left+o.Short))+6, y+13, left, o.Short, o.Runs)
	}
	d.F("</svg>")
	return template.HTML(d.String())
}
