package pose

import (
	"strconv"
	"unicode/utf8"
)

// cursor walks a JSON text (RFC 8259), strictly: no comments, no trailing
// commas, no control characters or broken UTF-8 in strings.
type cursor struct {
	b       []byte
	i       int
	scratch []byte // holds strings that had escapes in them
}

// blank is the byte of a text's end: no JSON token begins with it.
const blank = 0

// next is the next byte that is not white space, not yet taken; 0 at the end.
func (c *cursor) next() byte {
	for c.i < len(c.b) {
		switch ch := c.b[c.i]; ch {
		case ' ', '\t', '\n', '\r':
			c.i++
		default:
			return ch
		}
	}
	return blank
}

// take takes the byte want if it is next.
func (c *cursor) take(want byte) bool {
	if c.i < len(c.b) && c.b[c.i] == want { // compact text: the usual case
		c.i++
		return true
	}
	if c.next() == want && c.i < len(c.b) {
		c.i++
		return true
	}
	return false
}

// literal takes the word if it stands next.
func (c *cursor) literal(word string) bool {
	if len(c.b)-c.i < len(word) || string(c.b[c.i:c.i+len(word)]) != word {
		return false
	}
	c.i += len(word)
	return true
}

// str takes a string and gives its unescaped bytes, which stay valid until the
// next call. The opening quote must be next.
func (c *cursor) str() ([]byte, bool) {
	c.i++
	start, wide := c.i, false
	for c.i < len(c.b) {
		ch := c.b[c.i]
		switch {
		case ch == '"':
			s := c.b[start:c.i]
			c.i++
			return s, !wide || utf8.Valid(s)
		case ch == '\\':
			return c.escaped(start)
		case ch < ' ':
			return nil, false
		case ch >= utf8.RuneSelf:
			wide = true
		}
		c.i++
	}
	return nil, false
}

// escaped goes on with a string that began at start and has an escape at c.i.
func (c *cursor) escaped(start int) ([]byte, bool) {
	out := append(c.scratch[:0], c.b[start:c.i]...)
	defer func() { c.scratch = out }()
	for c.i < len(c.b) {
		ch := c.b[c.i]
		c.i++
		switch {
		case ch == '"':
			return out, utf8.Valid(out)
		case ch < ' ':
			return nil, false
		case ch == '\\':
			r, ok := c.escape()
			if !ok {
				return nil, false
			}
			out = utf8.AppendRune(out, r)
		default:
			out = append(out, ch)
		}
	}
	return nil, false
}

// escape reads what follows a backslash. Half a surrogate pair is refused.
func (c *cursor) escape() (rune, bool) {
	if c.i == len(c.b) {
		return 0, false
	}
	ch := c.b[c.i]
	c.i++
	switch ch {
	case '"', '\\', '/':
		return rune(ch), true
	case 'b':
		return '\b', true
	case 'f':
		return '\f', true
	case 'n':
		return '\n', true
	case 'r':
		return '\r', true
	case 't':
		return '\t', true
	case 'u':
		r, ok := c.hex()
		if !ok || r < 0xD800 || r > 0xDFFF {
			return r, ok
		}
		if r > 0xDBFF || !c.literal(`\u`) {
			return 0, false
		}
		low, ok := c.hex()
		if !ok || low < 0xDC00 || low > 0xDFFF {
			return 0, false
		}
		return 0x10000 + (r-0xD800)<<10 + (low - 0xDC00), true
	}
	return 0, false
}

// hex reads four hexadecimal digits.
func (c *cursor) hex() (r rune, ok bool) {
	if len(c.b)-c.i < 4 {
		return 0, false
	}
	for _, ch := range c.b[c.i : c.i+4] {
		switch {
		case ch-'0' <= 9:
			r = r<<4 + rune(ch-'0')
		case ch|0x20 >= 'a' && ch|0x20 <= 'f':
			r = r<<4 + rune(ch|0x20-'a'+10)
		default:
			return 0, false
		}
	}
	c.i += 4
	return r, true
}

// notFinite takes a word that some senders write for a number that is none.
// It is not JSON; knowing it by name makes the fault say what is wrong.
func (c *cursor) notFinite() bool {
	if c.i < len(c.b) && c.b[c.i] == '-' {
		c.i++
	}
	return c.literal("NaN") || c.literal("nan") || c.literal("Infinity") || c.literal("inf")
}

// rest is what stands at the cursor, bounded and printable.
func (c *cursor) rest() string {
	if c.i >= len(c.b) {
		return "end of message at byte " + strconv.Itoa(len(c.b))
	}
	return "byte " + strconv.Itoa(c.i+1) + ": " + textDetail(c.b[c.i:])
}

// textDetail quotes the front of b.
func textDetail(b []byte) string {
	if len(b) > maxDetail {
		return strconv.QuoteToASCII(string(b[:maxDetail])) + "…"
	}
	return strconv.QuoteToASCII(string(b))
}

func floatDetail(f float64) string { return strconv.FormatFloat(f, 'g', 6, 64) }

func sizeDetail(size int) string {
	return strconv.Itoa(size) + " bytes, at most " + strconv.Itoa(MaxPayload) + " are taken"
}
