package recording

import (
	"strconv"
	"time"

	"pinfold/watchdog/pose"
)

// Payload appends s to dst as a JSON pose message of pose.DefaultFields, and
// returns the whole. The decoder of those fields reads it back to the very
// same sample, bit for bit: floats are written in the shortest form that does,
// the stamp with all nine decimals of its nanoseconds.
//
// s must be a checked sample (finite, unit, stamp >= 0, seq within an int64):
// of any other comes a message that the decoder refuses.
func Payload(dst []byte, s *pose.Sample) []byte {
	dst = appendStamp(append(dst, `{"stamp":`...), s.Stamp)
	if s.HasSeq {
		dst = strconv.AppendUint(append(dst, `,"seq":`...), s.Seq, 10)
	}
	dst = appendVec(dst, `,"position":{"x":`, s.Position)
	q := s.Orientation
	dst = appendFloat(append(dst, `,"orientation":{"w":`...), q.W)
	dst = appendFloat(append(dst, `,"x":`...), q.X)
	dst = appendFloat(append(dst, `,"y":`...), q.Y)
	dst = append(appendFloat(append(dst, `,"z":`...), q.Z), '}')
	if s.HasVelocity {
		dst = appendVec(dst, `,"velocity":{"x":`, s.Velocity)
	}
	if s.HasConfidence {
		dst = appendFloat(append(dst, `,"confidence":`...), s.Confidence)
	}
	if s.Tracker != "" {
		dst = appendText(append(dst, `,"tracker":`...), s.Tracker)
	}
	return append(dst, '}')
}

func appendVec(dst []byte, begin string, v pose.Vec) []byte {
	dst = appendFloat(append(dst, begin...), v.X)
	dst = appendFloat(append(dst, `,"y":`...), v.Y)
	return append(appendFloat(append(dst, `,"z":`...), v.Z), '}')
}

func appendFloat(dst []byte, f float64) []byte { return strconv.AppendFloat(dst, f, 'g', -1, 64) }

// appendStamp writes whole nanoseconds as seconds with nine decimals.
func appendStamp(dst []byte, ns int64) []byte {
	dst = strconv.AppendInt(dst, ns/int64(time.Second), 10)
	var digits [9]byte
	for i, rest := len(digits)-1, ns%int64(time.Second); i >= 0; i-- {
		digits[i] = byte('0' + rest%10)
		rest /= 10
	}
	return append(append(dst, '.'), digits[:]...)
}

// appendText writes a JSON string.
func appendText(dst []byte, text string) []byte {
	const hex = "0123456789abcdef"
	dst = append(dst, '"')
	for i := range len(text) {
		switch c := text[i]; {
		case c == '"' || c == '\\':
			dst = append(dst, '\\', c)
		case c < ' ':
			dst = append(dst, '\\', 'u', '0', '0', hex[c>>4], hex[c&15])
		default:
			dst = append(dst, c)
		}
	}
	return append(dst, '"')
}
