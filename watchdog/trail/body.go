package trail

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"

	json2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	json1 "github.com/go-json-experiment/json/v1"
)

// cutBody stands for a body longer than MaxBody.
type cutBody struct {
	Cut    int    `json:"cut_bytes"` // of the whole body
	SHA256 string `json:"sha256"`    // of the whole body
	Start  string `json:"start"`     // its first bytes
}

// Body is v as the body of a line holds it, to the byte: for whoever compares
// what was recorded with what would be recorded again.
func Body(v any) []byte { return encodeBody(v) }

// encodeBody writes v as JSON, whatever v is: a record is never lost for what
// its body holds. Non-finite numbers become the strings "NaN", "Infinity" and
// "-Infinity", which Line.Decode reads back.
func encodeBody(v any) []byte {
	b, err := marshal(v)
	if err != nil {
		b, _ = marshal(map[string]string{"unencodable": fmt.Sprintf("%.200s", err.Error())})
	}
	if len(b) > MaxBody {
		start := strings.ToValidUTF8(string(b[:1000]), "\uFFFD")
		b, _ = marshal(cutBody{Cut: len(b), SHA256: hashOf(b), Start: start})
	}
	return b
}

func marshal(v any) (b []byte, err error) {
	defer func() {
		if r := recover(); r != nil {
			b, err = nil, fmt.Errorf("panic in its encoder: %v", r)
		}
	}()
	if b, err = json.Marshal(v); err == nil {
		return b, nil
	}
	finite := json2.MarshalToFunc(func(e *jsontext.Encoder, v any) error {
		f := reflect.Indirect(reflect.ValueOf(v)) // the value comes by its address
		if !f.CanFloat() || isFinite(f.Float()) {
			return errors.ErrUnsupported
		}
		return e.WriteToken(jsontext.String(nonFinite(f.Float())))
	})
	return json2.Marshal(v, json1.DefaultOptionsV1(), json2.WithMarshalers(finite))
}

func isFinite(f float64) bool { return !math.IsNaN(f) && !math.IsInf(f, 0) }

func nonFinite(f float64) string {
	switch {
	case math.IsInf(f, 1):
		return "Infinity"
	case math.IsInf(f, -1):
		return "-Infinity"
	}
	return "NaN"
}

// Decode reads the body into a value as encoding/json does, and non-finite
// numbers into float64 fields as they were.
func (l Line) Decode(into any) error {
	err := json.Unmarshal(l.Body, into)
	if err == nil {
		return nil
	}
	number := json2.UnmarshalFromFunc(func(d *jsontext.Decoder, f *float64) error {
		if d.PeekKind() != '"' {
			return errors.ErrUnsupported
		}
		t, err := d.ReadToken()
		if err != nil {
			return err
		}
		switch t.String() {
		case "NaN":
			*f = math.NaN()
		case "Infinity":
			*f = math.Inf(1)
		case "-Infinity":
			*f = math.Inf(-1)
		default:
			return fmt.Errorf("%.40q is not a number", t.String())
		}
		return nil
	})
	if err := json2.Unmarshal(l.Body, into, json1.DefaultOptionsV1(), json2.WithUnmarshalers(number)); err != nil {
		return fmt.Errorf("line %d, kind %s: %w", l.Seq, l.Kind, err)
	}
	return nil
}
