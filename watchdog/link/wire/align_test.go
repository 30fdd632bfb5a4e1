package wire

import (
	"bytes"
	"errors"
	"strings"
	"testing"
)

// The file comes through byte for byte, the longest one too.
func TestAlignCarriesTheFileAsItIs(t *testing.T) {
	for _, file := range []string{"", "{}\n", "\t\"ä\u2028\\\r\n", strings.Repeat("{\"x\":1}\n", AlignFileMax/9)} {
		m := Align{By: "hall lead", Nonce: "n", File: file}
		b := m.Append(nil)
		if len(b) > AlignMax {
			t.Fatalf("%d bytes of file make a message of %d", len(file), len(b))
		}
		got, err := DecodeAlign(b)
		if err != nil || got != m {
			t.Errorf("%d bytes: %v; the same: %v", len(file), err, got.File == file)
		}
	}
}

func TestAlignIsReadStrictly(t *testing.T) {
	const good = `{"by":"","nonce":"n","file":"{}"}`
	for _, c := range []struct {
		old, new string
		kind     Kind
	}{
		{`"n"`, `null`, Null}, {`"n"`, `1`, WrongType}, {`"nonce":"n",`, ``, Missing}, {`"file"`, `"File"`, WrongCase},
		{`"n"`, `"n","nonce":"m"`, Duplicate}, {`"{}"`, `{}`, WrongType}, {`"n"`, `"` + strings.Repeat("n", NameMax+1) + `"`, TooLong},
		{`"{}"`, `"` + strings.Repeat("x", AlignFileMax+1) + `"`, TooLong}, {good, strings.Repeat(" ", AlignMax) + good, TooLarge}, {`}"}`, ``, NotJSON},
	} {
		m, err := DecodeAlign([]byte(strings.Replace(good, c.old, c.new, 1)))
		var e *Error
		if !errors.As(err, &e) || e.Kind != c.kind || m != (Align{}) {
			t.Errorf("%.40s for %s: %+v, %v", c.new, c.old, m, err)
		}
	}
	if _, err := DecodeAlign([]byte(good)); err != nil {
		t.Error(err)
	}
}

// A state of a guard that has no alignment says nothing of one, and one of
// before this could be said is still read.
func TestStateWithoutAlignment(t *testing.T) {
	s, err := DecodeState([]byte(goodState))
	if err != nil || s.Aligned != "" || bytes.Contains(s.Append(nil), []byte("align")) {
		t.Errorf("%+v, %v", s, err)
	}
}
