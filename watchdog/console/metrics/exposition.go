package metrics

import (
	"bytes"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
)

// contentType is that of the text exposition format of Prometheus, version 0.0.4
// (prometheus.io, "Exposition formats"). Its client library for Go would write it
// too, and brings the protocol-buffer form along: 2.2 MB of a program that is to
// have 15. The tests read what is written here by that library's parser and linter,
// and by Prometheus itself.
const contentType = "text/plain; version=0.0.4; charset=utf-8"

// kind of a metric, as the format writes it.
type kind string

const (
	gauge   kind = "gauge"
	counter kind = "counter"
	summary kind = "summary"
	buckets kind = "histogram"
)

// family is all that one metric says: its name, one sentence of help, and a line for
// each value of its labels.
type family struct {
	name, help string
	kind       kind
	labels     []string // of add's values, in the order in which they are written
	lines      []byte
}

// add is one value.
func (f *family) add(v float64, values ...string) { f.line("", v, f.pairs(values)) }

// pairs writes labels with their values.
func (f *family) pairs(values []string) []byte {
	var b []byte
	for i, v := range values {
		b = label(b, f.labels[i], v)
	}
	return b
}

func label(b []byte, name, value string) []byte {
	if len(b) > 0 {
		b = append(b, ',')
	}
	b = append(append(b, name...), `="`...)
	return append(append(b, escaped.Replace(strings.ToValidUTF8(value, "\uFFFD"))...), '"')
}

var (
	escaped     = strings.NewReplacer(`\`, `\\`, "\n", `\n`, `"`, `\"`) // of label values
	escapedHelp = strings.NewReplacer(`\`, `\\`, "\n", `\n`)
)

// line is a sample, whose name may have an ending.
func (f *family) line(ending string, v float64, pairs []byte) {
	f.lines = append(append(f.lines, f.name...), ending...)
	if len(pairs) > 0 {
		f.lines = append(append(append(f.lines, '{'), pairs...), '}')
	}
	f.lines = append(appendNumber(append(f.lines, ' '), v), '\n')
}

// appendNumber writes a value as Go does, and the others as the format asks.
func appendNumber(b []byte, v float64) []byte {
	switch {
	case math.IsInf(v, 1):
		return append(b, "+Inf"...)
	case math.IsNaN(v):
		return append(b, "NaN"...)
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}

// appendFamilies writes all that say something, by their names.
func appendFamilies(b []byte, all []*family) []byte {
	slices.SortFunc(all, func(x, y *family) int { return strings.Compare(x.name, y.name) })
	var out bytes.Buffer
	for _, f := range all {
		if len(f.lines) == 0 {
			continue
		}
		out.WriteString("# HELP " + f.name + " " + escapedHelp.Replace(f.help) + "\n# TYPE " + f.name + " " + string(f.kind) + "\n")
		out.Write(f.lines)
	}
	return append(b, out.Bytes()...)
}

// histogram counts durations by upper bounds.
type histogram struct {
	counts [len(judgedWithin) + 1]atomic.Uint64 // the last is of those beyond all bounds
	sum    atomic.Int64                         // ns
}

// judgedWithin are the upper bounds, in seconds.
var judgedWithin = [...]float64{25e-6, 50e-6, 100e-6, 250e-6, 500e-6, 1e-3, 2e-3, 5e-3, 10e-3, 20e-3, 50e-3, 100e-3, 250e-3}

func (h *histogram) observe(d time.Duration) {
	i, _ := slices.BinarySearch(judgedWithin[:], d.Seconds())
	h.counts[i].Add(1)
	h.sum.Add(int64(d))
}

// tell adds what was counted, cumulative as the format has it.
func (h *histogram) tell(f *family, values ...string) {
	pairs, n := f.pairs(values), uint64(0)
	for i := range h.counts {
		n += h.counts[i].Load()
		bound := math.Inf(1)
		if i < len(judgedWithin) {
			bound = judgedWithin[i]
		}
		f.line("_bucket", float64(n), label(slices.Clone(pairs), "le", string(appendNumber(nil, bound))))
	}
	f.line("_sum", time.Duration(h.sum.Load()).Seconds(), pairs)
	f.line("_count", float64(n), pairs)
}
