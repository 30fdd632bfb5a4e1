package review

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"math"
)

//go:embed page.tmpl
var pageText string

//go:embed page.js
var pageScript string

// MaxPage bounds the bytes of a report's page.
const MaxPage = 3 << 20

// WritePage writes the report as one page that needs nothing beside it: it
// opens offline, prints, and says everything without its script too.
func (rep *Report) WritePage(w io.Writer) error {
	t, err := template.New("page").Funcs(template.FuncMap{
		"plan": func(v Vehicle) template.HTML { return planOf(&v) }, "side": func(v Vehicle) template.HTML { return sideOf(&v) }, "charts": func(v Vehicle) template.HTML { return chartsOf(&v) }, "ms": millis, "micro": fine, "m": metres, "span": span,
		"script": func() template.JS { return template.JS(pageScript) },
		"raised": raised, "unraised": unraised, "levels": levelShares, "share": share, "inc": func(i int) int { return i + 1 },
		"deg":  func(rad float64) float64 { return rad * 180 / math.Pi },
		"inms": func(s float64) float64 { return 1000 * s },
	}).Parse(pageText)
	if err != nil {
		return fmt.Errorf("review: the page: %w", err)
	}
	var b bytes.Buffer
	if err := t.Execute(&b, rep); err != nil {
		return fmt.Errorf("review: the page: %w", err)
	}
	if b.Len() > MaxPage {
		return fmt.Errorf("review: the page came to %d bytes, more than %d: review fewer vehicles at once", b.Len(), MaxPage)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// WriteJSON writes the report's numbers.
func (rep *Report) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(rep)
}

// Keys are the levels in the order of the page's key.
func (rep *Report) Keys() []string { return []string{"waiting", "clear", "caution", "stop", "land"} }

// Span is how long the episode went on, s.
func (r Row) Span() float64 { return r.To - r.From }

// millis gives seconds as milliseconds; -1 stands for what never happened.
func millis(s float64) string {
	if s == -1 {
		return "–"
	}
	return fmt.Sprintf("%.0f ms", math.Round(1000*s)+0) // + 0: no minus before zero
}

// fine is millis to a hundredth.
func fine(s float64) string {
	if s == -1 {
		return "–"
	}
	return fmt.Sprintf("%.2f ms", 1000*s)
}

// metres gives a length; -1 stands for what cannot be told.
func metres(v float64) string {
	if v == -1 {
		return "–"
	}
	return fmt.Sprintf("%.2f m", v)
}

// share says what part of the declared a value is.
func share(v, of float64) string {
	if v < 0 || of <= 0 {
		return "–"
	}
	return fmt.Sprintf("%.0f %%", 100*v/of)
}

// raised are the episodes that meant something: while waiting nothing is
// raised.
func raised(rows []Row) []Row { return pick(rows, true) }

// unraised are the others.
func unraised(rows []Row) []Row { return pick(rows, false) }

func pick(rows []Row, raised bool) (out []Row) {
	for i := range rows {
		if (rows[i].Level != "waiting" || rows[i].Answer != nil) == raised {
			out = append(out, rows[i])
		}
	}
	return out
}

type levelShare struct {
	Level   string
	Seconds float64
}

func levelShares(v Vehicle) (out []levelShare) {
	for _, l := range []string{"waiting", "clear", "caution", "stop", "land"} {
		if s := v.Levels[l]; s > 0 {
			out = append(out, levelShare{l, s})
		}
	}
	return out
}
