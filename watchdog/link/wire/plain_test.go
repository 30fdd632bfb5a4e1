package wire

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"pgregory.net/rapid"
)

// Whatever a person may get to read of a request, an ack or a state is refused
// where it holds a control character.
func TestControlCharactersAreRefused(t *testing.T) {
	state := strings.NewReplacer(`"nonce":""`, `"nonce":"n"`, `"trail":""`, `"trail":"t"`, `"causes":[]`,
		`"causes":[{"cause":"c","name":"m","value":1,"limit":1,"unit":"u","text":"x"}]`, `"blocked":[]`, `"blocked":["b"]`).Replace(goodState)
	for _, bad := range []string{`\u001b[2J`, `a\nb`, `\u0000`, `\u007f`, `\u0085`, `\u2028`, `\u202e`, `\u2066`, `\ufeff`, "\u202e", "\u009b"} {
		for _, c := range []change{
			{goodRequest, `"by":""`, `"by":"` + bad + `"`, Control, "/by"},
			{goodRequest, `"n"`, `"` + bad + `"`, Control, "/nonce"},
			{goodAck, `"i"`, `"` + bad + `"`, Control, "/id"},
			{goodState, `"vehicle":"v"`, `"vehicle":"` + bad + `"`, Control, "/vehicle"},
			{goodState, `"guard":"g"`, `"guard":"` + bad + `"`, Control, "/guard"},
			{goodState, `"session":"s"`, `"session":"` + bad + `"`, Control, "/session"},
			{state, `"n"`, `"` + bad + `"`, Control, "/nonce"},
			{state, `"t"`, `"` + bad + `"`, Control, "/trail"},
			{state, `"b"`, `"` + bad + `"`, Control, "/blocked/0"},
			{state, `"c"`, `"` + bad + `"`, Control, "/causes/0/cause"},
			{state, `"m"`, `"` + bad + `"`, Control, "/causes/0/name"},
			{state, `"u"`, `"` + bad + `"`, Control, "/causes/0/unit"},
			{state, `"x"`, `"` + bad + `"`, Control, "/causes/0/text"},
		} {
			refused(t, c)
		}
	}
	refused(t, change{goodRequest, `"by":""`, `"by":"` + strings.Repeat("x", NameMax+1) + `"`, TooLong, "/by"})
}

// What is plain stays as it is, whatever the script.
func TestPlainTextIsTaken(t *testing.T) {
	for _, by := range []string{"hall lead", "Zaunkönig", "хозяин", "責任者", "a\u0301", "🙂", "\u00a0x", "\u200d"} {
		r := Request{Ask: "start", By: by, Nonce: "n"}
		if got, err := DecodeRequest(r.Append(nil)); err != nil || got.By != by {
			t.Errorf("%q: %+v, %v", by, got, err)
		}
	}
}

// The list agrees with Unicode's own category of control characters (Cc) and
// its property Bidi_Control, from the tables of package unicode.
func TestControlsAgainstUnicode(t *testing.T) {
	for r := rune(0); r <= unicode.MaxRune; r++ {
		want := unicode.Is(unicode.Cc, r) || unicode.Is(unicode.Bidi_Control, r) ||
			unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r) || r == 0xfeff
		if controls(r) != want {
			t.Errorf("U+%04X: controls says %v", r, controls(r))
		}
	}
}

func TestPrintable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")) + rapid.String().Draw(t, "text")
		got := Printable(s)
		if !utf8.ValidString(got) || strings.ContainsFunc(got, controls) {
			t.Fatalf("%q came out as %q", s, got)
		}
		if utf8.ValidString(s) && !strings.ContainsFunc(s, controls) && got != s {
			t.Fatalf("%q was changed to %q", s, got)
		}
		if p := plain(s); len(p) > len(strings.ToValidUTF8(s, "\uFFFD")) && utf8.ValidString(s) {
			t.Fatalf("%q grew to %q", s, p)
		}
	})
	if got := Printable("a\x1b[2Jb\nc"); got != `a\u001b[2Jb\u000ac` {
		t.Errorf("got %q", got)
	}
}

// TestAStopNeedsNoName: a stop or a land whose name or nonce cannot be taken is a
// stop or a land all the same; a start or a reset is refused, and so is a stop
// that is broken in any other way.
func TestAStopNeedsNoName(t *testing.T) {
	for _, ask := range []string{Stop, Land, "start", "reset"} {
		for _, bad := range []string{
			`{"ask":"` + ask + `","by":"\u001b[2J","nonce":"n"}`,
			`{"by":"` + strings.Repeat("x", NameMax+1) + `","ask":"` + ask + `","nonce":"n"}`,
			`{"ask":"` + ask + `","by":7,"nonce":null}`,
		} {
			r, err := DecodeRequest([]byte(bad))
			if halt := ask == Stop || ask == Land; halt && (err != nil || r != Request{Ask: ask, By: Unnamed}) || !halt && err == nil {
				t.Errorf("%s: %+v, %v", bad, r, err)
			}
		}
	}
	for _, bad := range []string{`{"ask":"stop","by":"\u0000","nonce":"n"`, `{"by":"\u0000","nonce":"n"}`, `{"ask":"stop","by":"\u0000","by":"a","nonce":"n"}`} {
		if r, err := DecodeRequest([]byte(bad)); err == nil {
			t.Errorf("%s: %+v", bad, r)
		}
	}
}
