package recording

import (
	"bytes"
	"fmt"
	"math"
	"strconv"

	"pinfold/watchdog/pose"
)

// column is what a field of a line means.
type column int8

const (
	colStamp column = iota
	colX
	colY
	colZ
	colQW
	colQX
	colQY
	colQZ
	colVX
	colVY
	colVZ
	colConfidence
	columns

	required = colVX // the columns from here on are optional
)

// names are the header words, in the order of the constants.
func names() [columns]string {
	return [...]string{"t_ns", "x", "y", "z", "qw", "qx", "qy", "qz", "vx", "vy", "vz", "confidence"}
}

// layout says which column stands where in a line.
type layout struct {
	order []column
	comma bool // separated by commas, stamp in ns; else by white space, in s
	has   uint // bits of the columns
}

// tumLayout is "stamp x y z qx qy qz qw".
func tumLayout() layout {
	return layout{order: []column{colStamp, colX, colY, colZ, colQX, colQY, colQZ, colQW}}
}

// csvLayout reads a header.
func csvLayout(header []byte) (layout, error) {
	l := layout{comma: true}
	known := names()
	for _, word := range bytes.Split(header, []byte(",")) {
		word = bytes.TrimSpace(word)
		c := column(-1)
		for i, name := range known {
			if string(word) == name {
				c = column(i)
			}
		}
		switch {
		case c < 0 && len(l.order) == 0 && looksNumeric(word):
			return l, fmt.Errorf("%.40q where the header was due: begin the file with a line such as t_ns,x,y,z,qw,qx,qy,qz", word)
		case c < 0:
			return l, fmt.Errorf("column %.40q is unknown: rename it to one of %v, or take it out", word, known)
		case l.has&(1<<c) != 0:
			return l, fmt.Errorf("column %q stands twice: take one out", word)
		}
		l.has |= 1 << c
		l.order = append(l.order, c)
	}
	return l, l.complete()
}

// complete reports the first column that is missing.
func (l *layout) complete() error {
	const velocity = 1<<colVX | 1<<colVY | 1<<colVZ
	need := uint(1<<required - 1)
	if l.has&velocity != 0 {
		need |= velocity
	}
	for i, name := range names() {
		if need&^l.has&(1<<i) != 0 {
			return fmt.Errorf("header has no column %q: it needs t_ns,x,y,z,qw,qx,qy,qz, and of vx,vy,vz all or none", name)
		}
	}
	return nil
}

func looksNumeric(word []byte) bool {
	return len(word) > 0 && bytes.IndexByte([]byte("0123456789+-."), word[0]) >= 0
}

// sample reads one line.
func (l *layout) sample(text []byte) (pose.Sample, error) {
	var v [columns]float64
	var s pose.Sample
	known := names()
	for i, c := range l.order {
		word, rest, more := l.cut(text)
		if more == (i == len(l.order)-1) {
			return s, fmt.Errorf("%d fields where %d are due: %.60q", l.fields(i, text), len(l.order), text)
		}
		text = rest
		if c == colStamp {
			if err := l.stamp(word, &s); err != nil {
				return s, err
			}
			continue
		}
		f, ok := number(word)
		if !ok {
			return s, fmt.Errorf("%s %.40q is not a finite number: correct the line or take it out", known[c], word)
		}
		v[c] = f
	}
	return s, l.fill(&s, &v)
}

// cut takes the next field off the line; more says whether another follows.
func (l *layout) cut(text []byte) (word, rest []byte, more bool) {
	if l.comma {
		end := bytes.IndexByte(text, ',')
		if end < 0 {
			return bytes.TrimSpace(text), nil, false
		}
		return bytes.TrimSpace(text[:end]), text[end+1:], true
	}
	text = bytes.TrimLeft(text, " \t")
	end := bytes.IndexAny(text, " \t")
	if end < 0 {
		return text, nil, false
	}
	return text[:end], text[end:], true
}

// fields is how many fields a line has, i of which are taken off already.
func (l *layout) fields(i int, text []byte) int {
	for more := true; more; i++ {
		_, text, more = l.cut(text)
	}
	return i
}

func (l *layout) stamp(word []byte, s *pose.Sample) (err error) {
	ok := false
	if l.comma {
		s.Stamp, err = strconv.ParseInt(string(word), 10, 64)
		ok = err == nil && s.Stamp >= 0
	} else {
		s.Stamp, ok = pose.ParseStamp(word, pose.Seconds)
	}
	switch {
	case ok:
		return nil
	case l.comma:
		return fmt.Errorf("t_ns %.40q is not a whole number of nanoseconds from 0: correct the line or take it out", word)
	}
	return fmt.Errorf("stamp %.40q is not a number of seconds from 0: correct the line or take it out", word)
}

// number reads a finite decimal number; hexadecimal ones and words are none. Most
// are as JSON has them, which is read sooner; +1, .5, 1. and 01 are numbers too.
func number(word []byte) (float64, bool) {
	if f, ok := pose.ParseNumber(word); ok {
		return f, true
	}
	for _, c := range word {
		switch {
		case c >= '0' && c <= '9', c == '+', c == '-', c == '.', c == 'e', c == 'E':
		default:
			return 0, false
		}
	}
	f, err := strconv.ParseFloat(string(word), 64)
	return f, err == nil && !math.IsInf(f, 0)
}

// fill checks the numbers' ranges and makes them a sample.
func (l *layout) fill(s *pose.Sample, v *[columns]float64) error {
	for _, c := range []column{colX, colY, colZ} {
		if math.Abs(v[c]) > pose.MaxCoordinate {
			return fmt.Errorf("%s %v is beyond ±%g m: is the unit metres?", names()[c], v[c], float64(pose.MaxCoordinate))
		}
	}
	for _, c := range []column{colVX, colVY, colVZ} {
		if math.Abs(v[c]) > pose.MaxSpeed {
			return fmt.Errorf("%s %v is beyond ±%g m/s: is the unit m/s?", names()[c], v[c], float64(pose.MaxSpeed))
		}
	}
	if c := v[colConfidence]; c < 0 || c > 1 {
		return fmt.Errorf("confidence %v is not within 0..1: divide percentages by 100", c)
	}
	raw := pose.Quat{W: v[colQW], X: v[colQX], Y: v[colQY], Z: v[colQZ]}
	q, ok := raw.Unit()
	if !ok {
		return fmt.Errorf("quaternion w,x,y,z %v,%v,%v,%v has norm %.6g, off 1 by more than 1 %%: check the order of the columns",
			raw.W, raw.X, raw.Y, raw.Z, raw.Norm())
	}
	s.Orientation = q
	s.Position = pose.Vec{X: v[colX], Y: v[colY], Z: v[colZ]}
	s.Velocity = pose.Vec{X: v[colVX], Y: v[colVY], Z: v[colVZ]}
	s.HasVelocity = l.has&(1<<colVX) != 0
	s.Confidence, s.HasConfidence = v[colConfidence], l.has&(1<<colConfidence) != 0
	return nil
}
