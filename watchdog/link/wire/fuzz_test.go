package wire

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"
)

// FuzzDecode: nothing crashes a decoder, what is read is valid JSON inside its
// bounds, and reading what was written again gives the same bytes.
func FuzzDecode(f *testing.F) {
	for _, good := range []string{goodPermit, goodCommand, goodAck, goodRequest, goodState, "", "{", `{"go":tru`, "\xff", `[[[[[[`} {
		f.Add([]byte(good))
	}
	for _, m := range examples() {
		f.Add(m.Append(nil))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, like := range []appender{&Permit{}, &Command{}, &Ack{}, &Request{}, &Align{}, &Probe{}, &State{}} {
			m, err := decode(like, b)
			if err != nil {
				continue
			}
			if !json.Valid(b) {
				t.Fatalf("read %q, which is no JSON", b)
			}
			if p, ok := m.(*Permit); ok && (!(p.Valid >= 0 && p.Valid <= MaxValid) || p.Seq > MaxSeq || !stampOK(p.Stamp)) {
				t.Fatalf("permit out of bounds: %+v", p)
			}
			if c, ok := m.(*Command); ok && (math.IsInf(c.Value, 0) || c.Action != Stop && c.Action != Land || c.ID == "") {
				t.Fatalf("command out of bounds: %+v", c)
			}
			once := m.Append(nil)
			back, err := decode(like, once)
			if err != nil {
				t.Fatalf("%q was read and written as %q, which is refused: %v", b, once, err)
			}
			if again := back.Append(nil); !bytes.Equal(once, again) {
				t.Fatalf("written %q, then %q", once, again)
			}
		}
	})
}

func FuzzStamp(f *testing.F) {
	for _, s := range []string{"0", "-1.5", "1e9", "0.0000000001", "-0.0000000001", "4611686018.1", "1e-400"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 60 || bytes.ContainsAny([]byte(text), "eE") && len(text) > 12 {
			return // math/big would take long over a great exponent
		}
		if i := bytes.IndexAny([]byte(text), "eE"); i >= 0 && len(text)-i > 5 {
			return
		}
		agree(t, text)
	})
}
