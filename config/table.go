package config

import (
	"fmt"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"
)

// reader collects what is wrong while a site file is read.
type reader struct {
	file  string // as problems name it
	probs Problems
	bad   map[*place]bool // places something is wrong with
}

// table is one table of the site file. Every key is asked for by one of its
// methods; done reports those nobody asked for.
type table struct {
	r     *reader
	path  string // "vehicle.pose"; empty for the file
	m     map[string]any
	at    *place
	given bool // false: the file has no such table
	wrong bool // what stands there is no table, which was reported
	asked []string
}

// span is a closed range and its unit.
type span struct {
	lo, hi float64
	unit   string
}

func (s span) String() string {
	u := s.unit
	if u != "" {
		u = " " + u
	}
	return "from " + num(s.lo) + " to " + num(s.hi) + u
}

// num writes a number as a person would.
func num(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

// name is the full key.
func (t *table) name(key string) string {
	if t.path == "" {
		return key
	}
	return t.path + "." + key
}

// report notes a problem with key, at its line, or at the table's where the
// key is not there.
func (t *table) report(key, what, next string) {
	at := t.at.key(key)
	v := ""
	if val, ok := t.m[key]; ok {
		v = show(val)
	}
	t.r.add(at, t.name(key), v, what, next)
}

func (r *reader) add(at *place, key, value, what, next string) {
	r.bad[at] = true
	r.probs = append(r.probs, Problem{File: r.file, Line: at.line, Key: key, Value: value, What: what, Next: next})
}

// fine says whether the key is there and nothing is wrong with it.
func (t *table) fine(key string) bool { return t.has(key) && !t.r.bad[t.at.key(key)] }

// has asks for the key and says whether the file has it.
func (t *table) has(key string) bool {
	t.ask(key)
	_, ok := t.m[key]
	return ok
}

func (t *table) ask(key string) {
	for _, k := range t.asked {
		if k == key {
			return
		}
	}
	t.asked = append(t.asked, key)
}

// missing notes that the file lacks the key, unless the whole table is wrong.
func (t *table) missing(key, next string) {
	if !t.wrong {
		t.report(key, "is missing", next)
	}
}

// sub is the table below key; an empty one where the file has none.
func (t *table) sub(key string) *table {
	s := &table{r: t.r, path: t.name(key), at: t.at.key(key), m: map[string]any{}}
	if !t.has(key) {
		return s
	}
	m, ok := t.m[key].(map[string]any)
	if !ok {
		next := "write it as [" + s.path + "] with its keys below"
		if _, list := t.m[key].([]map[string]any); list {
			next = "write [" + s.path + "] with one pair of brackets: there is only one"
		}
		t.report(key, "must be a table", next)
		s.wrong = true
		return s
	}
	s.m, s.given = m, true
	return s
}

// tables is the list of tables below key.
func (t *table) tables(key string) (all []*table) {
	if !t.has(key) {
		return nil
	}
	list, ok := t.m[key].([]map[string]any)
	if !ok {
		raw, isList := t.m[key].([]any)
		for _, v := range raw {
			m, isTable := v.(map[string]any)
			isList = isList && isTable
			list = append(list, m)
		}
		if ok = isList; !ok {
			t.report(key, "must be a list of tables", "write [["+t.name(key)+"]] with two pairs of brackets, once for each")
			return nil
		}
	}
	for i, m := range list {
		all = append(all, &table{r: t.r, path: t.name(key), m: m, at: t.at.key(key).item(i), given: true})
	}
	return all
}

// number reads a number within s, or gives def where there is none.
func (t *table) number(key string, def float64, s span) float64 {
	if !t.has(key) {
		return def
	}
	v, ok := float(t.m[key])
	switch {
	case !ok:
		t.report(key, "must be a number"+inUnit(s.unit), "write it without quotes, "+s.String())
	case math.IsNaN(v) || math.IsInf(v, 0):
		t.report(key, "is not a finite number, and would switch the check off", "write a number "+s.String())
	case v < s.lo || v > s.hi:
		t.report(key, "is out of range", "write a number "+s.String())
	default:
		return v
	}
	return def
}

func inUnit(unit string) string {
	if unit == "" {
		return ""
	}
	return " in " + unit
}

// need is number for a key that must be there.
func (t *table) need(key string, s span, next string) float64 {
	if !t.has(key) {
		t.missing(key, next)
	}
	return t.number(key, 0, s)
}

// whole reads a whole number within s, or gives def where there is none.
func (t *table) whole(key string, def int, s span) int {
	v := t.number(key, float64(def), s)
	if t.fine(key) && v != math.Trunc(v) {
		t.report(key, "must be a whole number", "write a whole number "+s.String())
		return def
	}
	return int(v)
}

// duration reads a duration between lo and hi, or gives def.
func (t *table) duration(key string, def, lo, hi time.Duration) time.Duration {
	if !t.has(key) {
		return def
	}
	text, ok := t.m[key].(string)
	if !ok {
		t.report(key, "must be a duration, a text with its unit", `write it like "150ms" or "2s", in quotes`)
		return def
	}
	d, err := time.ParseDuration(strings.TrimSpace(text))
	switch {
	case err != nil:
		t.report(key, "is not a duration", `write a number and its unit, like "150ms" or "2s"`)
	case d < lo || d > hi:
		t.report(key, "is out of range", fmt.Sprintf("write a duration from %v to %v", lo, hi))
	default:
		return d
	}
	return def
}

// flag reads true or false.
func (t *table) flag(key string, def bool) bool {
	if !t.has(key) {
		return def
	}
	v, ok := t.m[key].(bool)
	if !ok {
		t.report(key, "must be true or false", "write true or false, without quotes")
		return def
	}
	return v
}

// text reads a text of at most most bytes without control characters.
func (t *table) text(key, def string, most int) string {
	if !t.has(key) {
		return def
	}
	v, ok := t.m[key].(string)
	switch {
	case !ok:
		t.report(key, "must be a text", "write it in quotes")
	case len(v) > most:
		t.report(key, fmt.Sprintf("has %d bytes, more than %d", len(v), most), "shorten it")
	case strings.TrimSpace(v) == "":
		t.report(key, "is blank", "write something, or leave the key out where it may be left out")
	case strings.ContainsFunc(v, func(r rune) bool { return r < ' ' && r != '\n' && r != '\t' || r == 0x7f }):
		t.report(key, "holds a control character", "write plain text")
	default:
		return v
	}
	return def
}

// word reads one of words, and gives its index, or def.
func (t *table) word(key string, def int, words ...string) int {
	if !t.has(key) {
		return def
	}
	v, ok := t.m[key].(string)
	for i, w := range words {
		if ok && v == w {
			return i
		}
	}
	next := "write one of " + strings.Join(words, ", ")
	if w, near := nearest(v, words); near {
		next = fmt.Sprintf("did you mean %q?", w)
	}
	t.report(key, "is not a word known here", next)
	return def
}

// texts reads a list of texts, or a single one.
func (t *table) texts(key string) (all []string, at []*place) {
	if !t.has(key) {
		return nil, nil
	}
	p := t.at.key(key)
	if v, ok := t.m[key].(string); ok {
		return []string{v}, []*place{p}
	}
	list, ok := t.m[key].([]any)
	for i, v := range list {
		s, isText := v.(string)
		ok = ok && isText
		all, at = append(all, s), append(at, p.item(i))
	}
	if !ok {
		t.report(key, "must be a text or a list of texts", `write it like ["one", "two"]`)
		return nil, nil
	}
	return all, at
}

// numbers reads a list of exactly n finite numbers within s.
func (t *table) numbers(key string, n int, s span) ([]float64, bool) {
	if !t.has(key) {
		return make([]float64, n), false
	}
	list, ok := floats(t.m[key], n)
	if !ok {
		t.report(key, fmt.Sprintf("must be a list of %d finite numbers%s", n, inUnit(s.unit)), "write it like ["+strings.Repeat("0.0, ", n-1)+"0.0]")
		return make([]float64, n), false
	}
	for _, v := range list {
		if v < s.lo || v > s.hi {
			t.report(key, "is out of range", "write numbers "+s.String())
			return make([]float64, n), false
		}
	}
	return list, true
}

// done reports every key nobody asked for.
func (t *table) done() {
	var extra []string
	for k := range t.m {
		known := false
		for _, a := range t.asked {
			known = known || a == k
		}
		if !known {
			extra = append(extra, k)
		}
	}
	sort.Strings(extra)
	for _, k := range extra {
		next := "remove it, or use one of " + strings.Join(t.asked, ", ")
		if w, ok := nearest(k, t.asked); ok {
			next = fmt.Sprintf("did you mean %q?", w)
		}
		t.report(k, "is not a key known here", next)
	}
}
