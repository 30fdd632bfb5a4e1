package wire

import (
	"bytes"
	"errors"
	"io"
	"math/bits"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
)

// object reads the members of one JSON object, one at a time. The syntax is
// jsontext's business (RFC 8259, UTF-8, no name twice); presence, case and
// count are judged here. After warming up it does not allocate.
type object struct {
	dec     jsontext.Decoder
	buf     bytes.Buffer
	scratch []byte // an unquoted text; valid until the next text
	message string // for errors
	path    string // JSON pointer of the object inside its message
	fields  []string
	spare   int // how many of fields, the last ones, may be missing
	seen    uint64
	count   int
}

// begin starts on a message of at most limit bytes.
func (o *object) begin(message, path string, b []byte, limit int, fields []string) error {
	o.message, o.path, o.fields, o.spare, o.seen, o.count = message, path, fields, 0, 0, 0
	if len(b) > limit {
		return o.refuse(TooLarge, "", strconv.Itoa(len(b))+" bytes, at most "+strconv.Itoa(limit))
	}
	o.buf = *bytes.NewBuffer(b)
	o.dec.Reset(&o.buf)
	switch kind := o.dec.PeekKind(); kind {
	case '{':
	case 0:
		_, err := o.dec.ReadToken()
		return o.syntax(err)
	default:
		return o.refuse(WrongType, "", "want an object")
	}
	_, err := o.dec.ReadToken()
	return err
}

// next returns the index of the next known member and its value, valid until
// the call after. Unknown members are passed over: a newer sender may add some.
// At the end it returns -1 after checking that every field that must be was there.
func (o *object) next() (int, jsontext.Value, error) {
	for o.dec.PeekKind() == '"' {
		name, err := o.dec.ReadValue()
		if err != nil {
			return -1, nil, o.syntax(err)
		}
		if o.count++; o.count > MembersMax {
			return -1, nil, o.refuse(TooLong, "", "more than "+strconv.Itoa(MembersMax)+" members")
		}
		i, err := o.lookup(name)
		if err != nil {
			return -1, nil, err
		}
		value, err := o.dec.ReadValue()
		if err != nil {
			return -1, nil, o.syntax(err)
		}
		if i >= 0 {
			o.seen |= 1 << i
			return i, value, nil
		}
	}
	if _, err := o.dec.ReadToken(); err != nil {
		return -1, nil, o.syntax(err)
	}
	if _, err := o.dec.ReadToken(); err != io.EOF {
		return -1, nil, o.refuse(NotJSON, "", "more than one value")
	}
	if missing := ^o.seen & (1<<(len(o.fields)-o.spare) - 1); missing != 0 {
		return -1, nil, o.refuse(Missing, o.fields[bits.TrailingZeros64(missing)], "add it")
	}
	return -1, nil, nil
}

// lookup finds a member's index, -1 for an unknown one.
func (o *object) lookup(quoted jsontext.Value) (int, error) {
	var err error
	o.scratch, err = jsontext.AppendUnquote(o.scratch[:0], quoted)
	if err != nil {
		return -1, o.syntax(err)
	}
	for i, field := range o.fields {
		if string(o.scratch) == field {
			return i, nil
		}
	}
	for _, field := range o.fields {
		if len(field) == len(o.scratch) && strings.EqualFold(string(o.scratch), field) {
			return -1, o.refuse(WrongCase, string(o.scratch), "write "+field)
		}
	}
	return -1, nil
}

// text reads a string of at most limit bytes. Where it equals last, last itself
// is returned, which spares an allocation for names that never change.
func (o *object) text(field string, v jsontext.Value, limit int, last string) (string, error) {
	if err := o.kind(field, v, '"', "a string"); err != nil {
		return "", err
	}
	var err error
	o.scratch, err = jsontext.AppendUnquote(o.scratch[:0], v)
	switch {
	case err != nil:
		return "", o.refuse(NotJSON, field, "not UTF-8")
	case len(o.scratch) > limit:
		return "", o.refuse(TooLong, field, strconv.Itoa(len(o.scratch))+" bytes, at most "+strconv.Itoa(limit))
	case string(o.scratch) == last:
		return last, nil
	}
	return string(o.scratch), nil
}

// id reads a text that may not be empty.
func (o *object) id(field string, v jsontext.Value, last string) (string, error) {
	s, err := o.text(field, v, NameMax, last)
	if err == nil && s == "" {
		return "", o.refuse(OutOfRange, field, "empty")
	}
	return s, err
}

// word reads a text that must be one of words.
func (o *object) word(field string, v jsontext.Value, words ...string) (string, error) {
	s, err := o.text(field, v, NameMax, "")
	if err != nil {
		return "", err
	}
	for _, w := range words {
		if s == w {
			return w, nil
		}
	}
	return "", o.refuse(OutOfRange, field, strconv.Quote(s)+", want "+strings.Join(words, ", "))
}

// flag reads true or false.
func (o *object) flag(field string, v jsontext.Value) (bool, error) {
	switch v.Kind() {
	case 't':
		return true, nil
	case 'f':
		return false, nil
	}
	return false, o.kind(field, v, 't', "true or false")
}

// seq reads an integer 0..MaxSeq, written without fraction or exponent.
func (o *object) seq(field string, v jsontext.Value) (uint64, error) {
	if err := o.kind(field, v, '0', "a number"); err != nil {
		return 0, err
	}
	n, err := strconv.ParseUint(string(v), 10, 64)
	if err != nil || n > MaxSeq {
		return 0, o.refuse(OutOfRange, field, excerpt(v)+", want an integer 0 to 2^53-1 in plain digits")
	}
	return n, nil
}

// stamp reads seconds as nanoseconds.
func (o *object) stamp(field string, v jsontext.Value) (int64, error) {
	if err := o.kind(field, v, '0', "a number"); err != nil {
		return 0, err
	}
	ns, ok := ParseStamp(v)
	if !ok {
		return 0, o.refuse(OutOfRange, field, excerpt(v)+" s is beyond any clock")
	}
	return ns, nil
}

// number reads a number of lo..hi.
func (o *object) number(field string, v jsontext.Value, lo, hi float64) (float64, error) {
	if err := o.kind(field, v, '0', "a number"); err != nil {
		return 0, err
	}
	f, err := strconv.ParseFloat(string(v), 64)
	if err != nil || !(lo <= f && f <= hi) {
		return 0, o.refuse(OutOfRange, field, excerpt(v)+", want "+
			strconv.FormatFloat(lo, 'g', -1, 64)+" to "+strconv.FormatFloat(hi, 'g', -1, 64))
	}
	return f, nil
}

// kind refuses a value of another JSON type than want.
func (o *object) kind(field string, v jsontext.Value, want jsontext.Kind, words string) error {
	switch v.Kind() {
	case want:
		return nil
	case 'n':
		return o.refuse(Null, field, "want "+words)
	}
	return o.refuse(WrongType, field, excerpt(v)+", want "+words)
}

// syntax tells a name that stands twice from all other faults of syntax.
func (o *object) syntax(err error) error {
	if errors.Is(err, jsontext.ErrDuplicateName) {
		return o.refuse(Duplicate, "", excerpt([]byte(err.Error())))
	}
	if err == nil || err == io.EOF {
		return o.refuse(NotJSON, "", "empty")
	}
	return o.refuse(NotJSON, "", excerpt([]byte(err.Error())))
}

func (o *object) refuse(kind Kind, field, detail string) error {
	if field != "" {
		field = o.path + "/" + excerpt([]byte(field))
	} else {
		field = o.path
	}
	return &Error{Message: o.message, Kind: kind, Field: field, Detail: detail}
}

// excerpt bounds what an error repeats of a message.
func excerpt(v []byte) string {
	const most = 80
	if len(v) <= most {
		return strings.ToValidUTF8(string(v), "\uFFFD")
	}
	end := most
	for end > 0 && !utf8.RuneStart(v[end]) {
		end--
	}
	return strings.ToValidUTF8(string(v[:end]), "\uFFFD") + "…"
}
