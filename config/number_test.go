package config

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
)

// numberAt is one number of a fixture.
type numberAt struct{ from, to, line int }

// numbersOf finds every number of a TOML text outside of texts and comments.
func numbersOf(text string) (all []numberAt) {
	quoted := regexp.MustCompile(`"[^"]*"|#[^\n]*|\[+[a-z._]+\]+\n`)
	blank := quoted.ReplaceAllStringFunc(text, func(s string) string {
		return regexp.MustCompile(`[^\n]`).ReplaceAllString(s, " ")
	})
	for _, m := range regexp.MustCompile(`-?\b\d+(\.\d+)?\b`).FindAllStringIndex(blank, -1) {
		all = append(all, numberAt{m[0], m[1], 1 + strings.Count(text[:m[0]], "\n")})
	}
	return all
}

// TestNoNumberMayBeNaNOrInfinite puts nan, inf, -inf and a text into the place
// of every number of a file that has every key, one at a time: each must be
// refused on its own line. TOML itself lets them through, and every comparison
// with NaN is false: a NaN limit is a limit switched off.
func TestNoNumberMayBeNaNOrInfinite(t *testing.T) {
	full := text(t, "full.toml")
	all := numbersOf(full)
	if len(all) < 70 {
		t.Fatalf("only %d numbers found in full.toml", len(all))
	}
	for _, n := range all {
		for _, bad := range []string{"nan", "+nan", "-nan", "inf", "-inf", `"7"`, "true", "1979-05-27", "[]", "{}"} {
			text := full[:n.from] + bad + full[n.to:]
			s, err := quickly(text)
			ps, ok := err.(Problems)
			if !ok || s != nil {
				t.Errorf("line %d: %s in the place of %s is taken", n.line, bad, full[n.from:n.to])
				continue
			}
			if want := fmt.Sprintf("site.toml:%d: ", n.line); !strings.Contains(ps.Error(), want) {
				t.Errorf("line %d: %s in the place of %s is reported elsewhere: %v", n.line, bad, full[n.from:n.to], ps)
			}
		}
	}
}

// TestNoNumberMayBeHuge puts numbers at the ends of the floats into every
// place: refused, or accepted because the place has no such bound, but never a
// Site with an error, and never a panic.
func TestNoNumberMayBeHuge(t *testing.T) {
	full := text(t, "full.toml")
	for _, n := range numbersOf(full) {
		for _, bad := range []string{"1e308", "-1e308", "9223372036854775807"} {
			if _, err := quickly(full[:n.from] + bad + full[n.to:]); err == nil {
				t.Errorf("line %d: %s in the place of %s is taken", n.line, bad, full[n.from:n.to])
			}
		}
	}
}

// TestEveryKeyIsChecked misspells every key of a file that has every key, one
// at a time: each must be noticed on its own line.
func TestEveryKeyIsChecked(t *testing.T) {
	full := text(t, "full.toml")
	keys := regexp.MustCompile(`(?m)^([a-z_]+) =`).FindAllStringSubmatchIndex(full, -1)
	if len(keys) < 90 {
		t.Fatalf("only %d keys found in full.toml", len(keys))
	}
	for _, m := range keys {
		line := 1 + strings.Count(full[:m[0]], "\n")
		text := full[:m[2]] + "zz_" + full[m[2]:]
		_, err := quickly(text)
		if want := fmt.Sprintf("site.toml:%d: ", line); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("a misspelt %s on line %d: %v", full[m[2]:m[3]], line, err)
		}
	}
}

// TestFullHasEveryKey sees that the file with every key has every key: what
// the reader asks for stands in it.
func TestFullHasEveryKey(t *testing.T) {
	full := text(t, "full.toml")
	headers := regexp.MustCompile(`(?m)^\[.*\]\n`)
	first := strings.Index(full, "[site]")
	odd := "wholly_unknown_word = 1\n"
	all := odd + full[:first] + headers.ReplaceAllString(full[first:], "${0}"+odd)
	all += "[vehicle.permit]\n" + odd + "[vehicle.timing]\n" + odd
	all = strings.ReplaceAll(all, `{ max = 30.0`, `{ wholly_unknown_word = 1, max = 30.0`)
	all = strings.ReplaceAll(all, `{ w = "/pose/q/3"`, `{ wholly_unknown_word = 1, w = "/pose/q/3"`)
	_, err := quickly(all)
	if err == nil {
		t.Fatal("unknown keys are taken")
	}
	asked := regexp.MustCompile(`use one of ([a-z_, ]+)`).FindAllStringSubmatch(err.Error(), -1)
	if len(asked) < 20 {
		t.Fatalf("only %d lists of keys: %v", len(asked), err)
	}
	doc, err := os.ReadFile("doc.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, list := range asked {
		for _, key := range strings.Split(list[1], ", ") {
			if !regexp.MustCompile(`(?m)(^|[{,] *)` + key + ` =|\b` + key + `\]`).MatchString(full) {
				t.Errorf("full.toml lacks %s", key)
			}
			if !regexp.MustCompile(`\b` + key + `\b`).Match(doc) {
				t.Errorf("doc.go does not explain %s", key)
			}
		}
	}
}
