package config

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// maxShown bounds the letters of a value in a problem.
const maxShown = 48

// show writes a value of the site file as it would be written there, short.
func show(v any) string {
	switch v := v.(type) {
	case string:
		return short(strconv.Quote(v))
	case float64:
		text := strconv.FormatFloat(v, 'g', -1, 64)
		return strings.ToLower(strings.TrimPrefix(text, "+")) // TOML writes nan and inf
	case int64, bool:
		return fmt.Sprint(v)
	case time.Time:
		return v.Format(time.RFC3339)
	case []any:
		parts := make([]string, 0, 4)
		for i, e := range v {
			if i == 4 {
				parts = append(parts, "…")
				break
			}
			parts = append(parts, show(e))
		}
		return short("[" + strings.Join(parts, ", ") + "]")
	case []map[string]any:
		return "[{…}]"
	case map[string]any:
		return "{…}"
	}
	return short(fmt.Sprint(v))
}

func short(s string) string {
	r := []rune(s)
	if len(r) <= maxShown {
		return s
	}
	return string(r[:maxShown-1]) + "…"
}

// metres writes a computed length, m, rounded up to the centimetre.
func metres(v float64) string {
	return strconv.FormatFloat(math.Ceil(v*100-1e-6)/100, 'f', 2, 64) + " m"
}

// float is a TOML number, whole or not. It may be NaN or infinite.
func float(v any) (float64, bool) {
	switch v := v.(type) {
	case float64:
		return v, true
	case int64:
		return float64(v), true
	}
	return 0, false
}

// floats is a list of exactly n finite numbers.
func floats(v any, n int) ([]float64, bool) {
	list, ok := v.([]any)
	if !ok || len(list) != n {
		return nil, false
	}
	out := make([]float64, n)
	for i, e := range list {
		f, ok := float(e)
		if !ok || math.IsNaN(f) || math.IsInf(f, 0) {
			return nil, false
		}
		out[i] = f
	}
	return out, true
}

// trimPrefix is an error's text without a prefix the reader need not see.
func trimPrefix(err error, prefix string) string {
	return strings.TrimPrefix(err.Error(), prefix)
}
