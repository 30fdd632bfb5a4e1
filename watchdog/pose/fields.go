package pose

import "fmt"

// Ranges of a possible value. Beyond them a message is refused as OutOfRange.
const (
	MaxCoordinate = 1e6 // m, either way
	MaxSpeed      = 1e4 // m/s, per component, either way
	MaxAngle      = 1e3 // the angle's unit, either way
	MaxTrackerID  = 64  // bytes
)

// StampUnit is how a message writes its stamp. The zero value is seconds.
type StampUnit uint8

// Stamp units. A number may have a fraction and an exponent in any of them;
// what is finer than a nanosecond is cut off, never rounded up.
const (
	Seconds StampUnit = iota
	Milliseconds
	Microseconds
	Nanoseconds
	RFC3339 // a string, "1996-12-19T16:39:57-08:00", as nanoseconds since 1970
)

// String is the word of the config.
func (u StampUnit) String() string {
	switch u {
	case Seconds:
		return "s"
	case Milliseconds:
		return "ms"
	case Microseconds:
		return "us"
	case Nanoseconds:
		return "ns"
	case RFC3339:
		return "rfc3339"
	}
	return "unknown"
}

// ParseStampUnit reads the word of the config: s, ms, us, ns or rfc3339.
func ParseStampUnit(word string) (StampUnit, error) {
	for u := Seconds; u <= RFC3339; u++ {
		if u.String() == word {
			return u, nil
		}
	}
	return 0, fmt.Errorf("stamp unit %q: not one of s, ms, us, ns, rfc3339", word)
}

// Word is a confidence given as a word, and the number it stands for.
type Word struct {
	Word  string
	Value float64 // 0..1
}

// Fields says where in a message each value stands, as JSON pointers
// (RFC 6901), and how it is written. An empty pointer means the message has no
// such value: "" would be the whole document, which is no number.
//
// Stamp, X, Y, Z and an attitude (QW to QZ, or Roll, Pitch and Yaw) must be
// configured and present in every message. Seq, velocity, confidence and
// tracker may be configured and absent; but absent as a whole (a velocity of
// two components is refused), and never null.
type Fields struct {
	CBOR bool // messages are CBOR (RFC 8949), not JSON; the pointers mean the same

	Stamp      string
	StampUnit  StampUnit
	StampNanos string // second half of a pair: whole nanoseconds 0..999999999 on top of whole seconds at Stamp

	Seq string // whole number >= 0

	X, Y, Z string // m, tracker frame

	QW, QX, QY, QZ   string // Hamilton, body to world
	Roll, Pitch, Yaw string // instead of a quaternion, by ZYX; see Degrees
	Degrees          bool   // Roll, Pitch and Yaw are degrees, not radians

	VX, VY, VZ   string // m/s
	BodyVelocity bool   // velocity is along the tracker's own axes, not the tracker frame's

	Confidence string // number 0..1, or one of Words
	Words      []Word
	Percent    bool // confidence is a number 0..100

	Tracker string // string of at most MaxTrackerID bytes, or a whole number
}

// DefaultFields is Pinfold's own contract: stamp in seconds, seq,
// position{x,y,z}, orientation{w,x,y,z}, optional velocity{x,y,z}, confidence
// and tracker.
func DefaultFields() Fields {
	return Fields{
		Stamp: "/stamp", Seq: "/seq",
		X: "/position/x", Y: "/position/y", Z: "/position/z",
		QW: "/orientation/w", QX: "/orientation/x", QY: "/orientation/y", QZ: "/orientation/z",
		VX: "/velocity/x", VY: "/velocity/y", VZ: "/velocity/z",
		Confidence: "/confidence", Tracker: "/tracker",
	}
}

// check says what is wrong with f taken as a whole; the pointers themselves
// are checked as they are compiled.
func (f *Fields) check() error {
	quat := count(f.QW, f.QX, f.QY, f.QZ)
	euler := count(f.Roll, f.Pitch, f.Yaw)
	vel := count(f.VX, f.VY, f.VZ)
	switch {
	case f.Stamp == "":
		return fmt.Errorf("pose fields: no pointer for stamp: without one an old pose cannot be told from a new one")
	case count(f.X, f.Y, f.Z) != 3:
		return fmt.Errorf("pose fields: x, y and z need a pointer each")
	case quat != 0 && quat != 4:
		return fmt.Errorf("pose fields: a quaternion needs all of w, x, y, z; %d of 4 are given", quat)
	case euler != 0 && euler != 3:
		return fmt.Errorf("pose fields: an attitude needs all of roll, pitch, yaw; %d of 3 are given", euler)
	case (quat == 0) == (euler == 0):
		return fmt.Errorf("pose fields: give either a quaternion (w, x, y, z) or roll, pitch and yaw")
	case vel != 0 && vel != 3:
		return fmt.Errorf("pose fields: a velocity needs all of x, y, z; %d of 3 are given", vel)
	case f.StampUnit > RFC3339:
		return fmt.Errorf("pose fields: stamp unit %d is unknown", f.StampUnit)
	case f.StampNanos != "" && f.StampUnit != Seconds:
		return fmt.Errorf("pose fields: a nanosecond part goes with a stamp in s, not in %v", f.StampUnit)
	case f.Percent && len(f.Words) > 0:
		return fmt.Errorf("pose fields: confidence is either a percentage or words, not both")
	}
	return f.checkWords()
}

func (f *Fields) checkWords() error {
	for i, w := range f.Words {
		if !(w.Value >= 0 && w.Value <= 1) || w.Word == "" {
			return fmt.Errorf("pose fields: confidence word %q = %v: needs a word and a value 0..1", w.Word, w.Value)
		}
		for _, o := range f.Words[:i] {
			if o.Word == w.Word {
				return fmt.Errorf("pose fields: confidence word %q stands twice", w.Word)
			}
		}
	}
	return nil
}

// count is how many of the pointers are given.
func count(pointers ...string) int {
	n := 0
	for _, p := range pointers {
		if p != "" {
			n++
		}
	}
	return n
}
