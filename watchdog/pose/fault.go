package pose

// FaultKind says why a message was refused. The zero value is no fault kind.
type FaultKind uint8

// Kinds of refused messages; each is counted and reported once.
const (
	TooLarge    FaultKind = iota + 1 // longer than MaxPayload, or nested deeper than MaxDepth
	NotJSON                          // not one JSON (or, if so configured, CBOR) value
	Missing                          // a field is absent or null
	WrongType                        // a field has another JSON type
	Duplicate                        // a key on the way to a field stands twice
	NotFinite                        // NaN, infinite, or a number no float64 holds
	OutOfRange                       // finite, but not a possible value
	NotUnit                          // the quaternion's norm is off by more than 1 %
	StampBack                        // stamp not after the last kept one
	SeqBack                          // seq not after the last kept one
	RetainedMsg                      // delivered as retained: old by definition
)

// FaultKinds is the number of kinds: kinds run from 1 to FaultKinds, so that
// an array of FaultKinds+1 counters holds them all.
const FaultKinds = int(RetainedMsg)

// Bounds of one message. Reaching one is a TooLarge fault.
const (
	MaxPayload = 16 << 10 // the longest message taken, bytes
	MaxDepth   = 64       // the deepest nesting taken, levels
)

// maxDetail bounds what of a message may find its way into a fault, bytes.
const maxDetail = 48

// Fault is a refused message: which kind, which field, and what stood there.
// It implements error.
type Fault struct {
	Kind   FaultKind
	Field  string // JSON pointer, or empty where the message as a whole is refused
	Detail string // what stood there, bounded and printable
}

// String is the kind's stable name, as it stands in the trail and in metrics.
func (k FaultKind) String() string {
	switch k {
	case TooLarge:
		return "too-large"
	case NotJSON:
		return "not-json"
	case Missing:
		return "missing"
	case WrongType:
		return "wrong-type"
	case Duplicate:
		return "duplicate"
	case NotFinite:
		return "not-finite"
	case OutOfRange:
		return "out-of-range"
	case NotUnit:
		return "not-unit"
	case StampBack:
		return "stamp-back"
	case SeqBack:
		return "seq-back"
	case RetainedMsg:
		return "retained"
	}
	return "unknown"
}

// Error gives kind, place and value on one line.
func (f *Fault) Error() string {
	s := "pose message " + f.Kind.String()
	if f.Field != "" {
		s += " at " + f.Field
	}
	if f.Detail != "" {
		s += ": " + f.Detail
	}
	return s
}
