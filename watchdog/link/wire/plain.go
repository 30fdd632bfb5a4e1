package wire

import (
	"fmt"
	"strings"

	"github.com/go-json-experiment/json/jsontext"
)

// What people read of a message, in a log, on a terminal, on a page, must not
// move the cursor, begin a line of its own or turn the direction of the text
// around it. So a request, an ack and a state with such a character are
// refused, and the encoders put a question mark in its place. Permits and
// commands are read as they are: a vehicle shows them to nobody, and its
// receivers in every language take the same ones.

// controls says whether r is a control character (Unicode category Cc), ends a
// line or a paragraph, or only sets the direction of text. The list is written
// out, and not taken from a table that grows with Unicode, so that a recorded
// message is judged the same by every build.
func controls(r rune) bool {
	switch {
	case r < 0x20, 0x7f <= r && r < 0xa0: // C0, DEL, C1
	case r == 0x2028 || r == 0x2029: // line and paragraph separator
	case r == 0x061c, r == 0x200e, r == 0x200f, 0x202a <= r && r <= 0x202e, 0x2066 <= r && r <= 0x2069: // direction
	case r == 0xfeff: // byte order mark
	default:
		return false
	}
	return true
}

// Printable is s with every control character written out, as \u001b, so that
// it can be printed wherever it came from; what is not UTF-8 becomes U+FFFD.
func Printable(s string) string {
	s = strings.ToValidUTF8(s, "\uFFFD")
	if !strings.ContainsFunc(s, controls) {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if controls(r) {
			fmt.Fprintf(&b, `\u%04x`, r)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// plain puts a question mark in the place of every control character. It never
// makes s longer, so that no bound is broken by it.
func plain(s string) string {
	if !strings.ContainsFunc(s, controls) {
		return s
	}
	return strings.Map(func(r rune) rune {
		if controls(r) {
			return '?'
		}
		return r
	}, s)
}

// plainText reads a text as o.text does, and refuses control characters.
func (o *object) plainText(field string, v jsontext.Value, limit int) (string, error) {
	s, err := o.text(field, v, limit, "")
	if err != nil {
		return "", err
	}
	for at, r := range s {
		if controls(r) {
			return "", o.refuse(Control, field, fmt.Sprintf("U+%04X at byte %d; write plain text on one line", r, at))
		}
	}
	return s, nil
}

// plainID reads a plain text that may not be empty.
func (o *object) plainID(field string, v jsontext.Value) (string, error) {
	s, err := o.plainText(field, v, NameMax)
	if err == nil && s == "" {
		return "", o.refuse(OutOfRange, field, "empty")
	}
	return s, err
}
