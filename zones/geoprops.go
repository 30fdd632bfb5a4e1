package zones

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// properties reads the properties of a feature.
func (r *geoReader) properties(raw jsontext.Value, s *Shape) {
	var p properties
	if raw.Kind() != '{' || json.Unmarshal(raw, &p) != nil {
		r.bad("give name, kind, floor and ceiling", "properties is %s, not an object", show(raw))
		return
	}
	if p.Name.Kind() == '"' {
		s.Name = text(p.Name)
		r.name = s.Name
	} else {
		r.bad("give the zone a name", "properties.name is %s, not a text", show(p.Name))
	}
	switch kind := text(p.Kind); kind {
	case "keep-in":
		s.Kind = KeepIn
	case "keep-out":
		s.Kind = KeepOut
	default:
		r.bad(`say "keep-in" or "keep-out"`, "properties.kind is %s", show(p.Kind))
	}
	r.height(p.Floor, "floor", &s.Floor)
	r.height(p.Ceiling, "ceiling", &s.Ceiling)
	r.vehicles(p.Vehicles, s)
}

func (r *geoReader) height(raw jsontext.Value, what string, v *float64) {
	if raw.Kind() != '0' || json.Unmarshal(raw, v) != nil || math.IsNaN(*v) || math.IsInf(*v, 0) {
		r.bad("give it in metres in the site frame", "properties.%s is %s, not a number", what, show(raw))
	}
}

func (r *geoReader) vehicles(raw jsontext.Value, s *Shape) {
	if len(raw) == 0 {
		return
	}
	var list []jsontext.Value
	if raw.Kind() != '[' || json.Unmarshal(raw, &list) != nil {
		r.bad("give a list of vehicle names, or leave it out for all", "properties.vehicles is %s, not a list", show(raw))
		return
	}
	if len(list) == 0 {
		r.bad("name the vehicles, or leave it out for all", "properties.vehicles is empty")
	}
	for i, v := range list {
		name := text(v)
		if v.Kind() != '"' || name == "" {
			r.bad("give the vehicle's name", "properties.vehicles[%d] is %s, not a name", i, show(v))
			return
		}
		s.Vehicles = append(s.Vehicles, name)
	}
}

// text is the text that a JSON string stands for, empty for anything else.
func text(v jsontext.Value) string {
	var s string
	if v.Kind() != '"' || json.Unmarshal(v, &s) != nil {
		return ""
	}
	return s
}

// show is a JSON value for a message: short, and missing where there is none.
func show(v jsontext.Value) string {
	const most = 60
	switch {
	case len(v) == 0:
		return "missing"
	case len(v) > most:
		return strings.ToValidUTF8(string(v[:most]), "") + "…"
	}
	return string(v)
}

// inWords says what an error in a JSON text means, with its place in the text.
func inWords(data []byte, err error) string {
	var syntax *jsontext.SyntacticError
	if errors.As(err, &syntax) {
		return fmt.Sprintf("not valid JSON %s: %s", lineOf(data, syntax.ByteOffset), slip(data, syntax))
	}
	var meaning *json.SemanticError
	if errors.As(err, &meaning) {
		if meaning.JSONPointer != "" {
			return fmt.Sprintf("%s, at %s, there is a %v where %v is meant", lineOf(data, meaning.ByteOffset), meaning.JSONPointer, meaning.JSONKind, meaning.GoType)
		}
		return fmt.Sprintf("there is a %v where %v is meant", meaning.JSONKind, meaning.GoType)
	}
	return err.Error()
}

// slip says what is wrong with the JSON in words for who wrote the file.
func slip(data []byte, err *jsontext.SyntacticError) string {
	const mark = "\ufeff" // written by some editors
	switch at := int(err.ByteOffset); {
	case strings.HasPrefix(string(data[:min(len(data), len(mark))]), mark):
		return "the file begins with a byte order mark; save it as UTF-8 without one"
	case len(bytes.TrimSpace(data)) == 0:
		return "the file is empty"
	case errors.Is(err.Err, io.ErrUnexpectedEOF):
		return "the text ends in the middle: a bracket, brace or quote is not closed"
	case errors.Is(err.Err, jsontext.ErrDuplicateName):
		return fmt.Sprintf("the name %q comes twice in one object", err.JSONPointer.LastToken())
	case at >= 0 && at < len(data) && (data[at] == ']' || data[at] == '}') && strings.HasSuffix(string(bytes.TrimSpace(data[:at])), ","):
		return fmt.Sprintf("there is a comma before %q with nothing after it", data[at])
	}
	if at, rest := int(err.ByteOffset), []byte(nil); at >= 0 && at < len(data) && data[at] == ',' {
		if rest = bytes.TrimSpace(data[at+1:]); len(rest) > 0 && (rest[0] == ']' || rest[0] == '}') {
			return fmt.Sprintf("there is a comma before %q with nothing after it", rest[0])
		}
	}
	return err.Err.Error()
}

// lineOf names the line and column of a byte, both counted from 1.
func lineOf(data []byte, at int64) string {
	before := data[:max(0, min(int(at), len(data)))]
	line := bytes.Count(before, []byte("\n")) + 1
	column := len([]rune(string(before[bytes.LastIndexByte(before, '\n')+1:]))) + 1
	return fmt.Sprintf("in line %d, column %d", line, column)
}
