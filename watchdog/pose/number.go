package pose

import (
	"math"
	"math/bits"
	"strconv"
)

// number is a JSON number as it stands in the text: ±mant·10^exp, exact as
// long as cut is false. With cut, digits beyond the 19th were left out of
// mant, so that it is too small by less than one unit of its last place.
type number struct {
	text []byte
	mant uint64
	exp  int
	neg  bool
	cut  bool
}

// maxExponent is where a written exponent is no longer counted: nothing this
// large or small is a pose.
const maxExponent = 1 << 20

// scanNumber reads the number at the front of b by the grammar of RFC 8259,
// and how many bytes it takes; 0 where none stands there.
func scanNumber(b []byte) (n number, size int) {
	i := 0
	if i < len(b) && b[i] == '-' {
		n.neg = true
		i++
	}
	first := i
	i, digits := n.digits(b, i, 0, false)
	if i == first || b[first] == '0' && i > first+1 {
		return n, 0
	}
	if i < len(b) && b[i] == '.' {
		first = i + 1
		if i, _ = n.digits(b, first, digits, true); i == first {
			return n, 0
		}
	}
	if i < len(b) && b[i]|0x20 == 'e' {
		e, size := scanExponent(b[i+1:])
		if size == 0 {
			return n, 0
		}
		n.exp += e
		i += 1 + size
	}
	n.text = b[:i]
	return n, i
}

// digits takes the digits from b[i] on, before or after the point, as many of
// which as are in count so far; it gives where they end and how many are.
func (n *number) digits(b []byte, i, count int, fraction bool) (end, counted int) {
	mant, over, from := n.mant, 0, i
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		switch {
		case count == 0 && b[i] == '0': // a leading zero
		case count == 19:
			n.cut = n.cut || b[i] != '0'
			over++
		default:
			mant = mant*10 + uint64(b[i]-'0')
			count++
		}
	}
	n.mant, n.exp = mant, n.exp+over
	if fraction {
		n.exp -= i - from
	}
	return i, count
}

// scanExponent reads what follows the e: an optional sign and digits.
func scanExponent(b []byte) (e, size int) {
	i, neg := 0, false
	if i < len(b) && (b[i] == '+' || b[i] == '-') {
		neg = b[i] == '-'
		i++
	}
	first := i
	for ; i < len(b) && b[i]-'0' <= 9; i++ {
		if e < maxExponent {
			e = e*10 + int(b[i]-'0')
		}
	}
	if i == first {
		return 0, 0
	}
	if neg {
		e = -e
	}
	return e, i
}

// float is the nearest float64, and whether it is finite.
//
// Where mant and the power of ten are both exact in float64 a single rounded
// operation gives the nearest (Clinger 1990): up to 10^22. strconv does the rest.
func (n *number) float() (float64, bool) {
	if !n.cut && n.mant <= 1<<53 && n.exp >= -22 && n.exp <= 22 {
		f := float64(n.mant)
		if n.exp < 0 {
			f /= math.Pow10(-n.exp)
		} else {
			f *= math.Pow10(n.exp)
		}
		if n.neg {
			f = -f
		}
		return f, true
	}
	f, err := strconv.ParseFloat(string(n.text), 64)
	return f, err == nil && finite(f)
}

// ParseNumber is the nearest float64 to the decimal number text; false where text
// is no JSON number (RFC 8259), or is beyond a float64.
func ParseNumber(text []byte) (f float64, ok bool) {
	n, size := scanNumber(text)
	if size == 0 || size != len(text) {
		return 0, false
	}
	return n.float()
}

// scaled is the whole part of n·10^shift, computed exactly, and whether n has
// no part below it. ok is false where n is negative or the result is beyond
// an int64.
func (n *number) scaled(shift int) (whole int64, exact, ok bool) {
	if n.mant == 0 {
		return 0, true, true
	}
	if n.neg {
		return 0, false, false
	}
	e := n.exp + shift
	m, exact := n.mant, !n.cut
	for ; e < 0 && m != 0; e++ {
		exact = exact && m%10 == 0
		m /= 10
	}
	if m == 0 {
		return 0, exact, true
	}
	for ; e > 0; e-- {
		hi, lo := bits.Mul64(m, 10)
		if hi != 0 {
			return 0, exact, false
		}
		m = lo
	}
	if m > math.MaxInt64 || n.cut && n.exp+shift > 0 {
		return 0, exact, false
	}
	return int64(m), exact, true
}

// ParseStamp is the decimal number text, in the given unit, in nanoseconds,
// exact to the nanosecond; what is finer is cut off. false where text is no
// JSON number, is negative, or is beyond an int64 of nanoseconds.
func ParseStamp(text []byte, unit StampUnit) (ns int64, ok bool) {
	n, size := scanNumber(text)
	if size == 0 || size != len(text) || unit >= RFC3339 {
		return 0, false
	}
	ns, _, ok = n.scaled(9 - 3*int(unit))
	return ns, ok
}
