package wire

import "strconv"

// second is one second in nanoseconds.
const second = 1_000_000_000

// AppendStamp appends ns nanoseconds as decimal seconds, exactly: no exponent,
// no trailing zeros, at most nine decimals.
func AppendStamp(b []byte, ns int64) []byte {
	u := uint64(ns)
	if ns < 0 {
		b = append(b, '-')
		u = -u
	}
	b = strconv.AppendUint(b, u/second, 10)
	frac := u % second
	if frac == 0 {
		return b
	}
	b = append(b, '.')
	for unit := uint64(second / 10); frac > 0; unit /= 10 {
		b = append(b, byte('0'+frac/unit))
		frac %= unit
	}
	return b
}

// ParseStamp reads a JSON number of seconds as nanoseconds, exactly. Digits
// below a nanosecond are dropped towards the past, so that a stamp never
// becomes younger by being read. ok is false for what is not a JSON number and
// for what lies outside ±MaxStamp.
func ParseStamp(number []byte) (ns int64, ok bool) {
	d, ok := scanDecimal(number)
	if !ok {
		return 0, false
	}
	return d.nanoseconds()
}

// decimal is a JSON number taken apart: mantissa digits (bounded), and the
// power of ten of the last digit.
type decimal struct {
	negative bool
	digits   uint64 // leading digits, no more than fit
	exp      int    // power of ten that scales digits
	lost     bool   // non-zero digits beyond those kept
}

// scanDecimal reads the grammar of RFC 8259 §6 and nothing else.
func scanDecimal(s []byte) (d decimal, ok bool) {
	i := 0
	if i < len(s) && s[i] == '-' {
		d.negative = true
		i++
	}
	whole := i
	for ; i < len(s) && isDigit(s[i]); i++ {
		d.push(s[i], false)
	}
	if n := i - whole; n == 0 || (n > 1 && s[whole] == '0') {
		return d, false
	}
	if i < len(s) && s[i] == '.' {
		i++
		from := i
		for ; i < len(s) && isDigit(s[i]); i++ {
			d.push(s[i], true)
		}
		if i == from {
			return d, false
		}
	}
	if i < len(s) && (s[i] == 'e' || s[i] == 'E') {
		return d.scanExponent(s[i+1:])
	}
	return d, i == len(s)
}

// scanExponent reads what follows the e. Exponents are clamped, not overflowed:
// beyond a few hundred the result is zero or out of range either way.
func (d decimal) scanExponent(s []byte) (decimal, bool) {
	sign := 1
	if len(s) > 0 && (s[0] == '+' || s[0] == '-') {
		if s[0] == '-' {
			sign = -1
		}
		s = s[1:]
	}
	if len(s) == 0 {
		return d, false
	}
	e := 0
	for _, c := range s {
		if !isDigit(c) {
			return d, false
		}
		e = min(e*10+int(c-'0'), 1_000_000)
	}
	d.exp += sign * e
	return d, true
}

// push takes one digit more, or notes its loss once the mantissa is full.
func (d *decimal) push(c byte, fraction bool) {
	const full = (1<<64 - 1 - 9) / 10
	if d.digits > full {
		d.lost = d.lost || c != '0'
		if !fraction {
			d.exp++
		}
		return
	}
	d.digits = d.digits*10 + uint64(c-'0')
	if fraction {
		d.exp--
	}
}

// nanoseconds scales to 1e-9 s, rounding towards the past.
func (d decimal) nanoseconds() (int64, bool) {
	v, e := d.digits, d.exp+9
	for ; e > 0 && v != 0; e-- {
		if v > uint64(MaxStamp)/10 {
			return 0, false
		}
		v *= 10
	}
	for ; e < 0 && v != 0; e++ {
		d.lost = d.lost || v%10 != 0
		v /= 10
	}
	if d.negative && d.lost {
		v++
	}
	if v > uint64(MaxStamp) {
		return 0, false
	}
	if d.negative {
		return -int64(v), true
	}
	return int64(v), true
}

func isDigit(c byte) bool { return '0' <= c && c <= '9' }
