package review

import (
	"encoding/json"
	"html/template"
	"math"

	"pinfold/watchdog"
	"pinfold/watchdog/draw"
)

const (
	chartW = 900
	chartH = 120
)

// chart is one value over time.
type chart struct {
	name, unit string
	data       []Range
	lines      []mark
}

// mark is a level line across a chart.
type mark struct {
	value float64
	class string // limit or caution
}

// chartsOf draws height, speed, tilt and clearance over time, with their limits
// and cautions, the levels, and when stops were called.
func chartsOf(v *Vehicle) template.HTML {
	t := &v.Track
	all := []chart{
		{"height", "m", t.Height, marksOf(&v.Limits[watchdog.LimitHeight])},
		{"speed", "m/s", t.Speed, marksOf(&v.Limits[watchdog.LimitSpeed])},
		{"tilt", "deg", t.Tilt, marksOf(&v.Limits[watchdog.LimitTilt])},
		{"clearance", "m", t.Clearance, []mark{{0, "limit"}, {v.Declared.Caution, "caution"}}},
	}
	var d draw.Drawing
	d.F(`<div class="charts" data-end="%g">`, t.Width*Buckets)
	for i := range all {
		all[i].draw(&d, v)
	}
	d.F(`<p class="read" aria-live="polite"></p></div>`)
	return template.HTML(d.String())
}

func marksOf(l *LimitUse) (out []mark) {
	if l.On {
		out = append(out, mark{l.Max, "limit"})
		if l.Caution < l.Max {
			out = append(out, mark{l.Caution, "caution"})
		}
	}
	return out
}

// span of values shown: what was measured, and the lines to measure it by.
func (c *chart) ends() (lo, hi float64) {
	lo, hi = 0, 0.1
	for _, r := range c.data {
		if !r.None {
			lo, hi = min(lo, r.Min), max(hi, r.Max)
		}
	}
	for _, m := range c.lines {
		hi = max(hi, min(m.value, 3*hi))
	}
	return lo, hi * 1.05
}

// draw puts the curve into a window of its own, in seconds and the value's
// unit, so that the script zooms by moving the window.
func (c *chart) draw(d *draw.Drawing, v *Vehicle) {
	lo, hi := c.ends()
	end := v.Track.Width * Buckets
	d.F(`<figure><figcaption>%s, %s</figcaption><svg class="chart" viewBox="0 0 %d %d" role="img" aria-label="%s over time">`,
		c.name, c.unit, chartW, chartH+16, c.name)
	d.F(`<svg class="win" x="40" y="4" width="%d" height="%d" viewBox="0 %.4g %.6g %.4g" preserveAspectRatio="none">`,
		chartW-44, chartH-8, -hi, end, hi-lo)
	c.bands(d, v, hi, hi-lo)
	for _, m := range c.lines {
		d.F(`<line class="%s" x1="0" x2="%.6g" y1="%.4g" y2="%.4g"/>`, m.class, end, -m.value, -m.value)
	}
	for i := range v.Stops {
		d.F(`<line class="when" x1="%.6g" x2="%.6g" y1="%.4g" y2="%.4g"/>`, v.Stops[i].At, v.Stops[i].At, -hi, -lo)
	}
	c.curve(d, v.Track.Width)
	d.F(`</svg>`)
	for _, y := range []float64{lo, (lo + hi) / 2, hi} {
		d.F(`<text class="tick" x="36" y="%.1f" text-anchor="end">%.*f</text>`, 4+(hi-y)/(hi-lo)*(chartH-8)+4, decimals(hi-lo), y+0)
	}
	for i := range 5 {
		d.F(`<text class="tick time" x="%d" y="%d" text-anchor="middle">%.*f s</text>`, 40+i*(chartW-64)/4, chartH+12, decimals(end), end*float64(i)/4)
	}
	d.F(`<line class="cursor" x1="-9" x2="-9" y1="4" y2="%d"/></svg>`, chartH-4)
	if raw, err := json.Marshal(c.numbers()); err == nil { // numbers() holds nothing but finite numbers
		d.F(`<script type="application/json" class="d" data-name="%s" data-unit="%s">%s</script>`, c.name, c.unit, raw)
	}
	d.F(`</figure>`)
}

// decimals are those that tell quarters of a span apart; page.js has the same.
func decimals(span float64) int {
	for i, most := range []float64{0.1, 1, 10, 100} {
		if span < most {
			return 4 - i
		}
	}
	return 0
}

// bands shades the time at stop and land, and at caution.
func (c *chart) bands(d *draw.Drawing, v *Vehicle, hi, tall float64) {
	at := v.Track.LevelAt
	for i := range at {
		end := v.Track.Width * Buckets
		if i+1 < len(at) {
			end = at[i+1].T
		}
		if at[i].Level >= watchdog.Caution && end > at[i].T {
			d.F(`<rect class="band %s" x="%.6g" width="%.5g" y="%.4g" height="%.4g"/>`, at[i].Level, at[i].T, end-at[i].T, -hi, tall)
		}
	}
}

// curve draws every bucket from its smallest to its largest, and breaks where
// nothing is known.
func (c *chart) curve(d *draw.Drawing, width float64) {
	d.F(`<path class="curve" d="`)
	pen := false
	for i, r := range c.data {
		if r.None {
			pen = false
			continue
		}
		x := (float64(i) + 0.5) * width
		d.F("%s%.6g %.4g", map[bool]string{true: "L", false: "M"}[pen], x, -r.Min)
		pen = true
		if r.Max > r.Min {
			d.F("V%.4g", -r.Max)
		}
	}
	d.F(`"/>`)
}

// numbers are the buckets' extremes for reading off, to a thousandth; null
// where nothing is known.
func (c *chart) numbers() []any {
	out := make([]any, 0, 2*len(c.data))
	for _, r := range c.data {
		if r.None {
			out = append(out, nil, nil)
			continue
		}
		out = append(out, math.Round(r.Min*1000)/1000, math.Round(r.Max*1000)/1000)
	}
	return out
}
