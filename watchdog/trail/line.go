package trail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Kinds of the lines that the trail itself writes. A caller's record of the same
// name gets the prefix "app." in front.
const (
	KindSession   = "session"   // Body is Meta: the first line
	KindIntake    = "intake"    // Body is FrameRef: a frame of the intake
	KindGap       = "gap"       // Body is Gap: what was lost here
	KindLate      = "late"      // Body is Late: an earlier line was answered as failed
	KindRecovered = "recovered" // Body is Recovered: what an unsealed session looked like
	KindRemoved   = "removed"   // Body is Removed: a session that is about to be removed
	KindSpace     = "space"     // Body is Space: the warning about space changed
	KindClock     = "clock"     // Body is Clock: the wall clock was stepped
	KindSigned    = "signed"    // Body is Signed: a record of the caller's, signed at once
	KindSeal      = "seal"      // Body is Seal: the last line
)

const (
	noHash    = "0000000000000000000000000000000000000000000000000000000000000000"
	appPrefix = "app."
)

// FrameRef puts a frame of intake.pfi into the chain.
type FrameRef struct {
	Frame  int           `json:"frame"`  // from 0
	Offset int64         `json:"offset"` // of its length prefix
	Length int           `json:"length"` // bytes of the zstd frame after the prefix
	SHA256 string        `json:"sha256"` // of those bytes
	First  uint64        `json:"first"`  // items before this frame
	Items  int           `json:"items"`
	From   time.Duration `json:"from"` // At of the first item, ns
	To     time.Duration `json:"to"`   // At of the last item, ns
	Wall   time.Time     `json:"wall"` // wall clock when the frame was formed
}

// Gap says what was given and is not in the trail.
type Gap struct {
	Items      uint64        `json:"items"`       // items lost
	AfterItems uint64        `json:"after_items"` // items in the intake before the first lost one
	Events     uint64        `json:"events"`      // records lost
	From       time.Duration `json:"from"`        // At of the first lost, ns
	To         time.Duration `json:"to"`          // At of the last lost, ns
	Why        string        `json:"why"`
}

// Late says that a durable record was answered as failed and then written all
// the same: what waited for it did not take effect.
type Late struct {
	Line uint64 `json:"line"`
	Kind string `json:"kind"`
}

// Clock says that the wall clock was stepped against the session's clock.
type Clock struct {
	Stepped float64   `json:"stepped_s"` // positive: ahead
	Wall    time.Time `json:"wall"`      // after the step
}

// appendLine appends the one form in which a line is written, without newline.
func appendLine(b []byte, seq uint64, prev string, at time.Duration, vehicle, kind string, body []byte) []byte {
	b = append(b, `{"seq":`...)
	b = strconv.AppendUint(b, seq, 10)
	b = append(b, `,"prev":"`...)
	b = append(b, prev...)
	b = append(b, `","at":`...)
	b = strconv.AppendInt(b, int64(at), 10)
	b = append(b, `,"vehicle":`...)
	b = appendText(b, vehicle)
	b = append(b, `,"kind":`...)
	b = appendText(b, kind)
	b = append(b, `,"body":`...)
	b = append(b, body...)
	return append(b, '}')
}

func appendText(b []byte, s string) []byte {
	q, err := json.Marshal(s)
	if err != nil { // a string always encodes
		return append(b, `""`...)
	}
	return append(b, q...)
}

// parseLine reads one line, strictly: the bytes must be the ones that
// appendLine writes.
func parseLine(raw []byte) (Line, error) {
	var in struct {
		Seq     uint64          `json:"seq"`
		Prev    string          `json:"prev"`
		At      int64           `json:"at"`
		Vehicle string          `json:"vehicle"`
		Kind    string          `json:"kind"`
		Body    json.RawMessage `json:"body"`
	}
	if len(raw) > MaxLine {
		return Line{}, fmt.Errorf("longer than %d bytes", MaxLine)
	}
	if err := json.Unmarshal(raw, &in); err != nil {
		return Line{}, fmt.Errorf("not a line of a trail: %w", err)
	}
	if !isHash(in.Prev) {
		return Line{}, fmt.Errorf("prev %.80q is not a SHA-256 in hex", in.Prev)
	}
	at := time.Duration(in.At)
	if !bytes.Equal(raw, appendLine(nil, in.Seq, in.Prev, at, in.Vehicle, in.Kind, in.Body)) {
		return Line{}, fmt.Errorf("not in the form a trail writes")
	}
	return Line{Seq: in.Seq, Prev: in.Prev, At: at, Vehicle: in.Vehicle, Kind: in.Kind,
		Body: in.Body, Hash: hashOf(raw)}, nil
}

func hashOf(raw []byte) string {
	sum := sha256.Sum256(raw)
	return hex.EncodeToString(sum[:])
}

// isHash says whether s is a SHA-256 in lower-case hex.
func isHash(s string) bool {
	if len(s) != 2*sha256.Size {
		return false
	}
	for i := range len(s) {
		if c := s[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// cutName bounds a name and makes it valid UTF-8.
func cutName(s string) string { return cutText(s, MaxName) }

func cutText(s string, limit int) string {
	if len(s) > limit {
		for limit > 0 && !utf8.RuneStart(s[limit]) {
			limit--
		}
		s = s[:limit]
	}
	return strings.ToValidUTF8(s, "?")
}

// appKind is the kind under which a caller's record is written.
func appKind(kind string) string {
	kind = cutName(kind)
	switch kind {
	case KindSession, KindIntake, KindGap, KindLate, KindRecovered, KindRemoved, KindSpace, KindClock, KindSigned, KindSeal, "":
		return appPrefix + kind
	}
	return kind
}
