package wire

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

var update = flag.Bool("update", false, "write testdata anew")

func ptr(f float64) *float64 { return &f }

// appender is any message.
type appender interface{ Append([]byte) []byte }

// examples are the messages of testdata, one file each, the newline at the end
// apart. They freeze the bytes: a change of one needs a reason.
func examples() map[string]appender {
	return map[string]appender{
		"permit-go.json":       &Permit{Guard: "hall", Session: "4f1d20a7", Seq: 812, Go: true, Stamp: 1_234_567_890_123, Valid: 0.25},
		"permit-withheld.json": &Permit{Guard: "hall", Session: "4f1d20a7", Seq: 1, Stamp: 0, Valid: 0.25},
		"permit-refused.json":  &Permit{Guard: "hall", Session: "4f1d20a7", Seq: 2, Go: true, Stamp: 7, Valid: math.NaN()},
		"command-zone.json": &Command{ID: "4f1d20a7-3", Seq: 2, Action: Stop, Cause: "zone", Zone: "cage",
			Value: -0.0625, Limit: 0, Stamp: 1_234_567_890_123, Valid: 0.25},
		"command-pose-lost.json": &Command{ID: "4f1d20a7-4", Seq: 1, Action: Land, Cause: "pose-stale",
			Value: math.NaN(), Limit: 0.1, Stamp: 1_234_000_000_000, Valid: 0.25},
		"command-guard-lost.json": &Command{ID: "4f1d20a7-will", Seq: 1, Action: Stop, Cause: "guard-lost",
			Value: math.NaN(), Limit: math.NaN()},
		"ack.json":              &Ack{ID: "4f1d20a7-3", Stamp: 1_234_600_000_001, Action: Stop},
		"request.json":          &Request{Ask: "reset", By: "hall lead", Nonce: "9c0d1e2f3a4b5c6d"},
		"request-stop.json":     &Request{Ask: Stop},
		"request-retrieve.json": &Request{Ask: "start", By: "hall lead", Nonce: "9c0d1e2f3a4b5c6d", Retrieve: true},
		"request-guard.json":    &Request{Ask: "start", By: "hall lead", Nonce: "9c0d1e2f3a4b5c6d", Guard: "hall-2"},
		"align.json":            &Align{By: "hall lead", Nonce: "9c0d1e2f3a4b5c6d", File: "{\n  \"alignment\": 1,\n  \"vehicle\": \"wren\"\n}\n"},
		"state-aligned.json": &State{Guard: "hall", Session: "4f1d20a7", Seq: 101, Vehicle: "wren", Level: "waiting", Nonce: "n", Trail: "ab",
			Aligned: "00ff", AlignSent: "01ff", AlignSaid: "it is the one in force"},
		"state-site.json": &State{Guard: "hall", Session: "4f1d20a7", Seq: 102, Vehicle: "wren", Level: "waiting", Nonce: "n", Trail: "ab",
			SiteSaid: "not taken, the old one stays in force: speed of wren would be looser"},
		"state-trail.json": &State{Guard: "hall", Session: "4f1d20a7", Seq: 103, Vehicle: "wren", Level: "waiting", Nonce: "n", Trail: "ab",
			TrailSaid: "cannot be written: events.jsonl: write: no space left on device"},
		"state-clear.json": &State{Guard: "hall", Session: "4f1d20a7", Seq: 99, Vehicle: "wren", Level: "clear", Go: true,
			Clearance: ptr(1.25), Speed: ptr(0.5), Height: ptr(1.5), Tilt: ptr(3.5), PoseAge: ptr(0.004),
			Nonce: "9c0d1e2f3a4b5c6d", Trail: "00ff"},
		"probe.json": &Probe{Guard: "hall", Session: "4f1d20a7", Number: "0123456789abcdef0123456789abcdef"},
		"state-trip.json": &State{Guard: "hall", Session: "4f1d20a7", Seq: 102, Vehicle: "wren", Level: "clear", Go: true, Nonce: "n", Trail: "ab",
			TripP50: ptr(0.0004), TripP99: ptr(0.0011), TripWorst: ptr(0.043)},
		"state-wall.json": &State{Guard: "hall", Session: "4f1d20a7", Seq: 7, Vehicle: "wren", Level: "waiting",
			Nonce: "n", Trail: "ab", Wall: "2026-03-14T09:26:53Z"},
		"state-stop.json": &State{Guard: "hall", Session: "4f1d20a7", Seq: 100, Vehicle: "wren", Level: Stop,
			Causes:  []Cause{{Cause: "zone", Name: "cage", Value: 0.25, Limit: 0, Unit: "m", Text: "would have crossed the edge of cage by 0.25 m"}},
			Latched: []Cause{{Cause: "operator", Value: math.NaN(), Limit: math.NaN(), Text: "asked for by \"the hall's lead\" – twice"}},
			Blocked: []string{"the vehicle is not at rest", "no link to the broker"}, Nonce: "n", Trail: "ab"},
	}
}

// decode reads a message by the type of like.
func decode(like appender, b []byte) (appender, error) {
	switch like.(type) {
	case *Permit:
		m, err := DecodePermit(b)
		return &m, err
	case *Command:
		m, err := DecodeCommand(b)
		return &m, err
	case *Ack:
		m, err := DecodeAck(b)
		return &m, err
	case *Request:
		m, err := DecodeRequest(b)
		return &m, err
	case *Align:
		m, err := DecodeAlign(b)
		return &m, err
	case *Probe:
		m, err := DecodeProbe(b)
		return &m, err
	case *State:
		m, err := DecodeState(b)
		return &m, err
	}
	panic("no such message")
}

func TestGoldenBytes(t *testing.T) {
	for name, m := range examples() {
		path := filepath.Join("testdata", name)
		got := append(m.Append(nil), '\n')
		if *update {
			if err := os.WriteFile(path, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatalf("%v; run go test -update and read what it wrote", err)
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%s:\n got %s\nwant %s", name, got, want)
		}
		back, err := decode(m, want)
		if err != nil {
			t.Errorf("%s does not read back: %v", name, err)
			continue
		}
		if again := append(back.Append(nil), '\n'); !bytes.Equal(again, want) {
			t.Errorf("%s: read and written again:\n got %s\nwant %s", name, again, want)
		}
		if name != "permit-refused.json" && !same(back, m) {
			t.Errorf("%s: read as %+v, want %+v", name, back, m)
		}
	}
}

// same compares messages, NaN being equal to NaN.
func same(a, b any) bool { return sameValue(reflect.ValueOf(a), reflect.ValueOf(b)) }

func sameValue(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Float64:
		x, y := a.Float(), b.Float()
		return x == y || math.IsNaN(x) && math.IsNaN(y)
	case reflect.Pointer:
		if a.IsNil() || b.IsNil() {
			return a.IsNil() == b.IsNil()
		}
		return sameValue(a.Elem(), b.Elem())
	case reflect.Struct:
		for i := range a.NumField() {
			if !sameValue(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	case reflect.Slice:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !sameValue(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	}
	return a.Equal(b)
}
