package wire

import "fmt"

// Kind says why a message was refused. The zero value is no kind.
type Kind uint8

// Kinds of refused messages.
const (
	TooLarge   Kind = iota + 1 // longer than the bound of its message
	NotJSON                    // not one JSON value, or not UTF-8
	WrongType                  // a member, or the whole, has another JSON type
	Missing                    // a member is absent
	Null                       // a member is null that may not be
	Duplicate                  // a member stands twice
	WrongCase                  // a member is spelt in another case
	OutOfRange                 // a number or a word beyond what it may be
	TooLong                    // a text, a list or an object longer than its bound
	Control                    // a text that a person reads holds a control character
)

var kindNames = [...]string{"", "too large", "not JSON", "wrong type", "missing", "null",
	"twice", "wrong case", "out of range", "too long", "control character"}

func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// Error is a refused message: which message, why, where, and what is wanted.
type Error struct {
	Message string // permit, command, ack, request or state
	Kind    Kind
	Field   string // JSON pointer of the place, empty for the whole
	Detail  string // what stood there and what may stand there
}

func (e *Error) Error() string {
	s := e.Message + " refused"
	if e.Field != "" {
		s += " at " + e.Field
	}
	s += ": " + e.Kind.String()
	if e.Detail != "" {
		s += ": " + e.Detail
	}
	return s
}
