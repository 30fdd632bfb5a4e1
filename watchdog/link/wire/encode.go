package wire

import (
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
)

// Append appends the permit as JSON. A permit that breaks a bound of the wire
// (validity not finite, negative or above MaxValid, stamp beyond MaxStamp) is
// written as a withdrawal: go false, valid 0.
func (p *Permit) Append(b []byte) []byte {
	goes, valid, stamp := p.Go, p.Valid, p.Stamp
	if !(valid >= 0 && valid <= MaxValid) || !stampOK(stamp) {
		goes, valid, stamp = false, 0, 0
	}
	b = text(append(b, `{"guard":`...), p.Guard)
	b = text(append(b, `,"session":`...), p.Session)
	b = strconv.AppendUint(append(b, `,"seq":`...), p.Seq, 10)
	b = strconv.AppendBool(append(b, `,"go":`...), goes)
	b = AppendStamp(append(b, `,"stamp":`...), stamp)
	b = number(append(b, `,"valid":`...), valid)
	return append(b, '}')
}

// Append appends the command as JSON. A stamp or validity beyond the bounds is
// written as 0: the command itself must not be lost over it.
func (c *Command) Append(b []byte) []byte {
	stamp, valid := c.Stamp, c.Valid
	if !stampOK(stamp) {
		stamp = 0
	}
	if !(valid >= 0 && valid <= MaxValid) {
		valid = 0
	}
	b = text(append(b, `{"id":`...), c.ID)
	b = strconv.AppendUint(append(b, `,"seq":`...), c.Seq, 10)
	b = text(append(b, `,"action":`...), c.Action)
	b = text(append(b, `,"cause":`...), cut(c.Cause, NameMax))
	b = text(append(b, `,"zone":`...), cut(c.Zone, NameMax))
	b = number(append(b, `,"value":`...), c.Value)
	b = number(append(b, `,"limit":`...), c.Limit)
	b = AppendStamp(append(b, `,"stamp":`...), stamp)
	b = number(append(b, `,"valid":`...), valid)
	return append(b, '}')
}

// Append appends the ack as JSON; a stamp beyond the bounds is written as 0.
func (a *Ack) Append(b []byte) []byte {
	stamp := a.Stamp
	if !stampOK(stamp) {
		stamp = 0
	}
	b = text(append(b, `{"id":`...), a.ID)
	b = AppendStamp(append(b, `,"stamp":`...), stamp)
	b = text(append(b, `,"action":`...), a.Action)
	return append(b, '}')
}

// Append appends the request as JSON, retrieve only where it is true and guard
// only where there is one.
func (r *Request) Append(b []byte) []byte {
	b = text(append(b, `{"ask":`...), r.Ask)
	b = text(append(b, `,"by":`...), cut(r.By, NameMax))
	b = text(append(b, `,"nonce":`...), plain(r.Nonce))
	if r.Retrieve {
		b = append(b, `,"retrieve":true`...)
	}
	b = present(b, `,"guard":`, plain(r.Guard))
	return append(b, '}')
}

// Append appends the state as JSON. Lists are cut to ListMax, sentences to
// TextMax.
func (s *State) Append(b []byte) []byte {
	b = text(append(b, `{"guard":`...), plain(s.Guard))
	b = text(append(b, `,"session":`...), plain(s.Session))
	b = strconv.AppendUint(append(b, `,"seq":`...), s.Seq, 10)
	b = text(append(b, `,"vehicle":`...), plain(s.Vehicle))
	b = text(append(b, `,"level":`...), plain(s.Level))
	b = strconv.AppendBool(append(b, `,"go":`...), s.Go)
	b = causes(append(b, `,"causes":`...), s.Causes)
	b = causes(append(b, `,"latched":`...), s.Latched)
	b = optional(append(b, `,"clearance":`...), s.Clearance)
	b = optional(append(b, `,"speed":`...), s.Speed)
	b = optional(append(b, `,"height":`...), s.Height)
	b = optional(append(b, `,"tilt":`...), s.Tilt)
	b = optional(append(b, `,"pose_age":`...), s.PoseAge)
	b = text(append(b, `,"nonce":`...), plain(s.Nonce))
	b = append(b, `,"blocked":[`...)
	for i, sentence := range s.Blocked[:min(len(s.Blocked), ListMax)] {
		if i > 0 {
			b = append(b, ',')
		}
		b = text(b, cut(sentence, TextMax))
	}
	b = text(append(b, `],"trail":`...), plain(s.Trail))
	b = present(b, `,"wall":`, cut(s.Wall, NameMax))
	b = present(b, `,"aligned":`, plain(s.Aligned))
	b = present(b, `,"align_sent":`, plain(s.AlignSent))
	b = present(b, `,"align_said":`, cut(s.AlignSaid, TextMax))
	b = measured(b, `,"trip_p50":`, s.TripP50)
	b = measured(b, `,"trip_p99":`, s.TripP99)
	b = measured(b, `,"trip_worst":`, s.TripWorst)
	b = present(b, `,"site_said":`, cut(s.SiteSaid, TextMax))
	b = present(b, `,"trail_said":`, cut(s.TrailSaid, TextMax))
	return append(b, '}')
}

func causes(b []byte, list []Cause) []byte {
	b = append(b, '[')
	for i := range list[:min(len(list), ListMax)] {
		if i > 0 {
			b = append(b, ',')
		}
		c := &list[i]
		b = text(append(b, `{"cause":`...), cut(c.Cause, NameMax))
		b = text(append(b, `,"name":`...), cut(c.Name, NameMax))
		b = number(append(b, `,"value":`...), c.Value)
		b = number(append(b, `,"limit":`...), c.Limit)
		b = text(append(b, `,"unit":`...), cut(c.Unit, NameMax))
		b = text(append(b, `,"text":`...), cut(c.Text, TextMax))
		b = append(b, '}')
	}
	return append(b, ']')
}

// text appends a JSON string. What is not UTF-8 becomes U+FFFD; the error that
// reports it is of no further use here.
func text(b []byte, s string) []byte {
	b, _ = jsontext.AppendQuote(b, s)
	return b
}

// present appends a member that is left out where it is empty.
func present(b []byte, name, s string) []byte {
	if s == "" {
		return b
	}
	return text(append(b, name...), s)
}

// measured appends a number that is left out where there is none.
func measured(b []byte, name string, f *float64) []byte {
	if f == nil {
		return b
	}
	return number(append(b, name...), *f)
}

// number appends the shortest decimal that reads back as f, or null where f is
// not finite.
func number(b []byte, f float64) []byte {
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return append(b, "null"...)
	}
	return jsontext.AppendFloat(b, f, 64)
}

func optional(b []byte, f *float64) []byte {
	if f == nil {
		return append(b, "null"...)
	}
	return number(b, *f)
}

// cut shortens s to at most n bytes, at a rune's border, marking the cut, and
// leaves no control character in it.
func cut(s string, n int) string {
	const mark = "…"
	s = plain(s)
	if !utf8.ValidString(s) { // each bad byte grows to three when replaced
		s = strings.ToValidUTF8(s, "\uFFFD")
	}
	if len(s) <= n {
		return s
	}
	end := n - len(mark)
	for end > 0 && !utf8.RuneStart(s[end]) {
		end--
	}
	return s[:end] + mark
}

func stampOK(ns int64) bool { return -MaxStamp <= ns && ns <= MaxStamp }
