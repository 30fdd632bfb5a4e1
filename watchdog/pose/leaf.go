package pose

import (
	"math"
	"strconv"
	"time"
)

// word reads true, false or null, and refuses anything else.
func (d *Decoder) word(n *node) *Fault {
	c := &d.in
	start := c.i
	switch {
	case c.literal("null"):
		if n == nil {
			return nil
		}
		return &Fault{Kind: Missing, Field: n.pointer, Detail: "null"}
	case c.literal("true"), c.literal("false"):
		if n == nil {
			return nil
		}
		return &Fault{Kind: WrongType, Field: n.pointer, Detail: string(c.b[start:c.i])}
	case c.notFinite():
		f := &Fault{Kind: NotFinite, Detail: textDetail(c.b[start:c.i])}
		if n != nil {
			f.Field = n.pointer
		}
		return f
	}
	return d.notJSON("a value was due at ")
}

// digits reads a number into the leaf n.
func (d *Decoder) digits(n *node) *Fault {
	c := &d.in
	num, size := scanNumber(c.b[c.i:])
	if size == 0 {
		return d.word(n) // -Infinity, or not JSON
	}
	c.i += size
	if n == nil {
		return nil
	}
	return d.number(n, &num)
}

// number stores a number in the leaf n, checked for its range.
func (d *Decoder) number(n *node, num *number) *Fault {
	switch n.leaf {
	case noLeaf:
		return n.wrong("a number where more levels were due: ", num.text)
	case leafStamp:
		return d.stampNumber(n, num)
	case leafNanos:
		v, exact, ok := num.scaled(0)
		if !ok || !exact || v > 999999999 {
			return n.outside("not whole nanoseconds 0..999999999: ", num.text)
		}
		d.nanos = v
	case leafSeq:
		v, exact, ok := num.scaled(0)
		if !ok || !exact {
			return n.outside("not a whole number 0..9223372036854775807: ", num.text)
		}
		d.seq = uint64(v)
	case leafTracker:
		if _, exact, ok := num.scaled(0); !ok || !exact {
			return n.outside("a tracker id that is a number must be whole: ", num.text)
		}
		return d.setTracker(n, num.text)
	default:
		v, ok := num.float()
		if !ok {
			return &Fault{Kind: NotFinite, Field: n.pointer, Detail: textDetail(num.text)}
		}
		return d.setFloat(n, v)
	}
	d.has |= 1 << n.leaf
	return nil
}

// stampNumber stores a stamp, exact to the nanosecond from its decimal text.
func (d *Decoder) stampNumber(n *node, num *number) *Fault {
	shift := 9 - 3*int(d.fields.StampUnit)
	if d.fields.StampUnit == RFC3339 {
		return n.wrong("a number, an RFC 3339 string was due: ", num.text)
	}
	v, exact, ok := num.scaled(shift)
	if !ok {
		return n.outside("not within 0..4611686018 s: ", num.text)
	}
	if d.fields.StampNanos != "" && (!exact || v%int64(time.Second) != 0) {
		return n.outside("the seconds of a pair must be whole: ", num.text)
	}
	d.stamp = v
	d.has |= 1 << leafStamp
	return nil
}

// setFloat stores a finite number, checked for its range.
func (d *Decoder) setFloat(n *node, v float64) *Fault {
	limit := math.Inf(1) // quaternion: its norm is checked
	switch n.leaf {
	case leafX, leafY, leafZ:
		limit = MaxCoordinate
	case leafVX, leafVY, leafVZ:
		limit = MaxSpeed
	case leafRoll, leafPitch, leafYaw:
		limit = MaxAngle
	case leafConfidence:
		limit = 1
		if d.fields.Percent {
			v /= 100
		}
	}
	if !(math.Abs(v) <= limit) || n.leaf == leafConfidence && v < 0 {
		return &Fault{Kind: OutOfRange, Field: n.pointer, Detail: strconv.FormatFloat(v, 'g', -1, 64)}
	}
	d.found[n.leaf] = v
	d.has |= 1 << n.leaf
	return nil
}

// text stores a string in the leaf n.
func (d *Decoder) text(n *node, s []byte) *Fault {
	switch {
	case n == nil:
		return nil
	case n.leaf == leafTracker:
		return d.setTracker(n, s)
	case n.leaf == leafStamp && d.fields.StampUnit == RFC3339:
		return d.stampText(n, s)
	case n.leaf == leafConfidence && len(d.fields.Words) > 0:
		for _, w := range d.fields.Words {
			if w.Word == string(s) {
				d.found[leafConfidence] = w.Value
				d.has |= 1 << leafConfidence
				return nil
			}
		}
		return n.outside("no such word is configured: ", s)
	}
	return n.wrong("a string: ", s)
}

// stampText stores a stamp of RFC 3339. A leap second (:60) is refused.
func (d *Decoder) stampText(n *node, s []byte) *Fault {
	var t time.Time
	err := t.UnmarshalText(s) // without allocation
	// fill refuses what is beyond MaxStamp; until then it must fit an int64.
	if err != nil || !strict3339(s) || t.Unix() < 0 || t.Unix() > MaxStamp/int64(time.Second) {
		return n.outside("not an RFC 3339 time of 1970 to 2116: ", s)
	}
	d.stamp = t.UnixNano()
	d.has |= 1 << leafStamp
	return nil
}

// strict3339 refuses what package time takes for a time of RFC 3339 beyond its
// grammar: an hour of one digit, a comma before the fraction, and an offset of
// more than 23:59.
func strict3339(s []byte) bool {
	const upTo = len("2006-01-02T15:04:05")
	if len(s) <= upTo || s[10] != 'T' || s[13] != ':' || s[upTo] == ',' {
		return false
	}
	if s[len(s)-1] == 'Z' {
		return true
	}
	zone := s[len(s)-len("+07:00"):]
	return string(zone[1:3]) < "24" && string(zone[4:6]) < "60"
}

func (d *Decoder) setTracker(n *node, id []byte) *Fault {
	if len(id) > MaxTrackerID || len(id) == 0 {
		return n.outside("an id has 1 to 64 bytes: ", id)
	}
	if d.tracker != string(id) {
		d.tracker = string(id)
	}
	d.has |= 1 << leafTracker
	return nil
}

func (n *node) wrong(why string, text []byte) *Fault {
	return &Fault{Kind: WrongType, Field: n.pointer, Detail: why + textDetail(text)}
}

func (n *node) outside(why string, text []byte) *Fault {
	return &Fault{Kind: OutOfRange, Field: n.pointer, Detail: why + textDetail(text)}
}
