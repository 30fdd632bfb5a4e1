package wire

// Bounds of the wire. A message beyond one is refused when decoded; the
// encoders cut text for people (TextMax) and lists (ListMax), and turn a permit
// that would break a bound into a withdrawal.
const (
	PermitMax  = 1 << 10  // bytes of a permit
	CommandMax = 2 << 10  // bytes of a command
	AckMax     = 1 << 10  // bytes of an ack
	RequestMax = 1 << 10  // bytes of a request
	StateMax   = 64 << 10 // bytes of a state

	NameMax = 64  // bytes of a name, an id, a session, a nonce or a trail head, decoded
	TextMax = 256 // bytes of a sentence for people, decoded
	ListMax = 16  // entries of causes, latched and blocked

	MembersMax = 48 // members of one object, unknown ones included
)

// MaxValid is the longest validity of a permit that is ever written or taken,
// in seconds. At 1 m/s it is a metre of blind travel.
const MaxValid = 1.0

// MaxStamp bounds every stamp, ns: the difference of any two then fits int64.
// As seconds since 1970 it ends in the year 2116.
const MaxStamp int64 = 4_611_686_018_000_000_000

// MaxSeq is the largest sequence number, the largest integer that every JSON
// reader holds exactly (RFC 8259 §6): at 200 a second, 1.4 million years.
const MaxSeq uint64 = 1<<53 - 1
