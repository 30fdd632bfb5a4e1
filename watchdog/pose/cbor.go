package pose

import (
	"encoding/binary"
	"math"
	"strconv"
	"unicode/utf8"
)

// CBOR (RFC 8949) is read into the same tree of pointers as JSON. A map's text
// keys are the members' names; members under other keys are passed over. Tags
// are passed through: what they enclose is taken by its own type. Null and
// undefined are Missing. A float stamp means the shortest decimal that is that
// float.

// Major types of RFC 8949 §3.1.
const (
	cborUint = iota
	cborNegative
	cborBytes
	cborText
	cborArray
	cborMap
	cborTag
	cborSimple
)

// indefinite is the length of what ends with a break (RFC 8949 §3.2).
const indefinite = math.MaxUint64

const cborBreak = 0xff

// cborHead is the head of a data item: its major type, additional information
// and argument, which is the length, the value or the bits of a float.
type cborHead struct {
	major byte
	info  byte
	arg   uint64
}

// cborHead takes the head that is next.
func (c *cursor) cborHead() (h cborHead, ok bool) {
	if c.i >= len(c.b) {
		return h, false
	}
	h.major, h.info = c.b[c.i]>>5, c.b[c.i]&31
	c.i++
	switch {
	case h.info < 24:
		h.arg = uint64(h.info)
		return h, true
	case h.info == 31:
		h.arg = indefinite
		return h, h.major >= cborBytes && h.major <= cborMap
	case h.info > 27:
		return h, false
	}
	size := 1 << (h.info - 24)
	if len(c.b)-c.i < size {
		return h, false
	}
	var wide [8]byte
	copy(wide[8-size:], c.b[c.i:c.i+size])
	h.arg = binary.BigEndian.Uint64(wide[:])
	c.i += size
	if h.major >= cborBytes && h.major <= cborMap {
		return h, h.arg != indefinite // a length no message has
	}
	// §3.3: a simple value below 32 must not take two bytes.
	return h, h.major != cborSimple || h.info != 24 || h.arg >= 32
}

// cborEnds takes the break of something indefinite, or counts down.
func (c *cursor) cborEnds(left *uint64) bool {
	if *left != indefinite {
		*left--
		return *left == indefinite // it was zero
	}
	if c.i < len(c.b) && c.b[c.i] == cborBreak {
		c.i++
		return true
	}
	return false
}

// cborString takes the body of a byte or text string, valid until the next.
func (c *cursor) cborString(h cborHead) ([]byte, bool) {
	if h.arg != indefinite {
		if h.arg > uint64(len(c.b)-c.i) {
			return nil, false
		}
		s := c.b[c.i : c.i+int(h.arg)]
		c.i += int(h.arg)
		return s, h.major == cborBytes || utf8.Valid(s)
	}
	out := c.scratch[:0]
	for left := h.arg; !c.cborEnds(&left); {
		part, ok := c.cborHead()
		if !ok || part.major != h.major || part.arg == indefinite {
			return nil, false
		}
		s, ok := c.cborString(part)
		if !ok {
			return nil, false
		}
		out = append(out, s...)
	}
	c.scratch = out
	return out, true
}

func (d *Decoder) cborDocument() *Fault {
	if f := d.cborValue(d.root, 0); f != nil {
		return f
	}
	if d.in.i < len(d.in.b) {
		return d.notCBOR("more after the value")
	}
	return nil
}

func (d *Decoder) notCBOR(why string) *Fault {
	return &Fault{Kind: NotJSON, Detail: "CBOR, before byte " + strconv.Itoa(d.in.i+1) + ": " + why}
}

// cborValue reads the data item that is next; n is where it stands in the tree
// of pointers, nil where no pointer leads.
func (d *Decoder) cborValue(n *node, depth int) *Fault {
	if depth > MaxDepth {
		return tooDeep()
	}
	h, ok := d.in.cborHead()
	if !ok {
		return d.notCBOR("broken or missing item")
	}
	single := n != nil && n.leaf != noLeaf
	switch h.major {
	case cborUint, cborNegative:
		return d.cborInt(n, h)
	case cborBytes, cborText:
		s, ok := d.in.cborString(h)
		if !ok {
			return d.notCBOR("broken string")
		}
		if h.major == cborBytes && n != nil {
			return n.wrong("a byte string: ", s)
		}
		return d.text(n, s)
	case cborArray, cborMap:
		if single {
			return &Fault{Kind: WrongType, Field: n.pointer, Detail: "an array or a map"}
		}
		if h.major == cborMap {
			return d.cborMap(n, h.arg, depth+1)
		}
		return d.cborArray(n, h.arg, depth+1)
	case cborTag:
		return d.cborValue(n, depth+1)
	}
	return d.cborSimple(n, h)
}

func (d *Decoder) cborArray(n *node, left uint64, depth int) *Fault {
	for i := 0; !d.in.cborEnds(&left); i++ {
		var kid *node
		if n != nil {
			kid = n.element(i)
		}
		if f := d.cborEnter(kid, depth); f != nil {
			return f
		}
	}
	return nil
}

func (d *Decoder) cborMap(n *node, left uint64, depth int) *Fault {
	for guess := 0; !d.in.cborEnds(&left); {
		var kid *node
		if n != nil && d.in.i < len(d.in.b) && d.in.b[d.in.i]>>5 == cborText {
			h, ok := d.in.cborHead()
			if !ok {
				return d.notCBOR("broken key")
			}
			key, ok := d.in.cborString(h)
			if !ok {
				return d.notCBOR("broken key")
			}
			kid, guess = n.member(key, guess)
		} else if f := d.cborValue(nil, depth); f != nil {
			return f
		}
		if f := d.cborEnter(kid, depth); f != nil {
			return f
		}
	}
	return nil
}

// cborEnter reads the value of a member or element: a second time is a
// duplicate.
func (d *Decoder) cborEnter(kid *node, depth int) *Fault {
	if kid != nil {
		if f := d.walk(kid); f != nil {
			return f
		}
	}
	return d.cborValue(kid, depth)
}

// cborInt stores a whole number.
func (d *Decoder) cborInt(n *node, h cborHead) *Fault {
	if n == nil {
		return nil
	}
	var space [24]byte
	text := space[:0]
	if h.major == cborNegative { // −1 − arg
		if h.arg == math.MaxUint64 {
			text = append(text, "-18446744073709551616"...)
		} else {
			text = strconv.AppendUint(append(text, '-'), h.arg+1, 10)
		}
	} else {
		text = strconv.AppendUint(text, h.arg, 10)
	}
	num, _ := scanNumber(text)
	return d.number(n, &num)
}

// cborSimple reads a float, or false, true, null, undefined.
func (d *Decoder) cborSimple(n *node, h cborHead) *Fault {
	var f float64
	switch h.info {
	case 25:
		f = half(uint16(h.arg))
	case 26:
		f = float64(math.Float32frombits(uint32(h.arg)))
	case 27:
		f = math.Float64frombits(h.arg)
	default:
		switch {
		case n == nil:
			return nil
		case h.arg == 22 || h.arg == 23:
			return &Fault{Kind: Missing, Field: n.pointer, Detail: "null"}
		}
		return &Fault{Kind: WrongType, Field: n.pointer, Detail: "simple value " + strconv.FormatUint(h.arg, 10)}
	}
	if n == nil {
		return nil // well-formed, and nothing to us
	}
	if !finite(f) {
		return &Fault{Kind: NotFinite, Field: n.pointer, Detail: floatDetail(f)}
	}
	if n.leaf >= leafX && n.leaf <= leafConfidence {
		return d.setFloat(n, f)
	}
	var space [32]byte
	num, _ := scanNumber(strconv.AppendFloat(space[:0], f, 'g', -1, 64))
	return d.number(n, &num)
}

// half is a binary16 number (IEEE 754) as a float64, which holds all of them.
func half(bits uint16) float64 {
	sign, exp, mant := 1.0, int(bits>>10&31), float64(bits&1023)
	if bits>>15 != 0 {
		sign = -1
	}
	switch exp {
	case 0:
		return sign * math.Ldexp(mant, -24)
	case 31:
		if mant != 0 {
			return math.NaN()
		}
		return math.Inf(int(sign))
	}
	return sign * math.Ldexp(mant+1024, exp-25)
}
