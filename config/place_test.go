package config

import (
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

func TestPlaces(t *testing.T) {
	text := strings.Join([]string{
		"a = 1 # comment with = and [",   // 1
		"b.c = \"x # no comment\"",       // 2
		"list = [",                       // 3
		"  [1, 2],",                      // 4
		"  # between",                    // 5
		"  [3, '''",                      // 6
		"]]]'''],",                       // 7
		"]",                              // 8
		"long = \"\"\"",                  // 9
		"[not.a.table]",                  // 10
		"quoted \\\"\"\" and on\"\"\"\"", // 11
		"after = 5",                      // 12
		"[[v]]",                          // 13
		"\"odd key\" = 'it'",             // 14
		"inline = { x = 1, y = [",        // 15
		"  7 ], z = {w = 2} }",           // 16
		"[v.sub]",                        // 17
		"k = 1979-05-27 07:32:00",        // 18
		"[[v]]",                          // 19
		"[v . sub]",                      // 20
		"k = -inf",                       // 21
		"[[v.sub.deep]]",                 // 22
		"n = 1",                          // 23
		"[[v.sub.deep]]",                 // 24
		"n = 2",                          // 25
		"\"k\\u0065y\" = 3",              // 26
		"fold = \"\"\"one \\",            // 27
		"   two\"\"\"",                   // 28
		"last = 1",                       // 29
	}, "\n")
	if _, err := toml.Decode(text, &map[string]any{}); err != nil {
		t.Fatalf("the text itself is not TOML: %v", err)
	}
	root, deep := scanPlaces(text)
	if deep {
		t.Fatal("not deep at all")
	}
	v := root.key("v")
	sub := v.item(1).key("sub")
	for name, c := range map[string]struct{ got, want int }{
		"a": {root.key("a").line, 1}, "b.c": {root.key("b").key("c").line, 2},
		"list": {root.key("list").line, 3}, "list[0]": {root.key("list").item(0).line, 4},
		"list[1]": {root.key("list").item(1).line, 6}, "list[1][1]": {root.key("list").item(1).item(1).line, 6},
		"long": {root.key("long").line, 9}, "v[0]": {v.item(0).line, 13}, "odd key": {v.item(0).key("odd key").line, 14},
		"inline": {v.item(0).key("inline").line, 15}, "inline.y[0]": {v.item(0).key("inline").key("y").item(0).line, 16},
		"inline.z.w": {v.item(0).key("inline").key("z").key("w").line, 16},
		"v[0].sub.k": {v.item(0).key("sub").key("k").line, 18}, "v[1]": {v.item(1).line, 19},
		"v[1].sub": {sub.line, 20}, "v[1].sub.k": {sub.key("k").line, 21},
		"deep[0].n": {sub.key("deep").item(0).key("n").line, 23}, "deep[1].n": {sub.key("deep").item(1).key("n").line, 25},
		"escaped key": {sub.key("deep").item(1).key("key").line, 26},
		"last":        {sub.key("deep").item(1).key("last").line, 29},
		"unknown":     {sub.key("nothing").line, 20}, "beyond": {v.item(7).line, 13},
	} {
		if c.got != c.want {
			t.Errorf("%s stands on line %d, found on %d", name, c.want, c.got)
		}
	}
}

// TestPlacesOfBrokenText sees that the scanner ends, whatever it is given.
func TestPlacesOfBrokenText(t *testing.T) {
	for _, text := range []string{"", "=", "[", "[[", "]", "a", "a=", "a=[", "a=[[", "a={", "a={b", "a={b=", `a="`, `a="""`, `a='''x''`, `"`, `"\`, "a.b.", "a..b=1", "[a]]]]]b", "\r\n\r\n", "a=}", "a=[}", "a={]", ",", "a = 1,,", "\\"} {
		if root, _ := scanPlaces(text); root == nil {
			t.Errorf("%q: no places", text)
		}
	}
	for _, text := range []string{"a = " + strings.Repeat("[", 1000), "a = " + strings.Repeat("{b=", 1000), strings.Repeat("a.", 1000) + "a = 1", "[" + strings.Repeat("a.", 1000) + "a]"} {
		if _, deep := scanPlaces(text); !deep {
			t.Errorf("%.20q… is not called deep", text)
		}
	}
}

func TestNearest(t *testing.T) {
	known := []string{"speed", "climb", "max_age", "deceleration"}
	for word, want := range map[string]string{"sped": "speed", "speeed": "speed", "pseed": "speed", "maxage": "max_age", "max-age": "max_age", "decelaration": "deceleration", "colour": "", "": "", "x": "", "spend_it": ""} {
		if got, ok := nearest(word, known); got != want || ok != (want != "") {
			t.Errorf("nearest to %q: %q, want %q", word, got, want)
		}
	}
}

func TestEditDistance(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"a", "", 1}, {"kitten", "sitting", 3}, {"ab", "ba", 1}, {"abcd", "acbd", 1}, {"speed", "speed", 0}} {
		if got := editDistance(c.a, c.b, 9); got != c.want {
			t.Errorf("%q to %q: %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

func TestParseSize(t *testing.T) {
	for text, want := range map[string]float64{"2GB": 2e9, "1.5 GB": 1.5e9, "500MB": 5e8, "2GiB": 2 << 30, "10kB": 1e4, "10KB": 1e4, "1KiB": 1024, "1TB": 1e12, "7B": 7} {
		if got, ok := parseSize(text); !ok || got != want {
			t.Errorf("%q: %v, %v, want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "GB", "2", "2 G", "2gb", "-2GB", "nanGB", "infGB", "0x2GB", "1e3GB", "2GBB", "2iB", "1e999GB", "2 GB x"} {
		if got, ok := parseSize(text); ok {
			t.Errorf("%q is taken for %v", text, got)
		}
	}
}

func TestPlaceholders(t *testing.T) {
	for _, text := range []string{"TODO", "to do: tbd", "n/a", "none", "...", "-", "FIXME later please", "<write the rules here>", "Local rules", "your local rules", "xxx xxx xxx"} {
		if !isPlaceholder(text) {
			t.Errorf("%q passes", text)
		}
	}
	for _, text := range []string{"Indoors, netted; hall safety plan applies, checked by the hall lead", "Halle, Betriebsanweisung 7, geprüft vom Hallenwart", "屋内のみ。安全計画に従い、責任者が確認済み"} {
		if isPlaceholder(text) {
			t.Errorf("%q does not pass", text)
		}
	}
}
