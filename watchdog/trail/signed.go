package trail

import (
	"bytes"
	"crypto/ed25519"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"
)

// Signed is the body of a line that the caller wants signed at once, not only
// by the seal at the end: a list that a person went through, and relies on. The
// signature is made as the seal's is, over the line's bytes from its first to the
// last before `,"signature"`, and so over everything in the chain up to there.
type Signed struct {
	About     string          `json:"about"`
	Record    json.RawMessage `json:"record"`
	Signature string          `json:"signature"` // hex
}

// SignedLine is a signed line as Verify found it; its signature holds.
type SignedLine struct {
	Line    uint64
	Vehicle string
	About   string
}

// Signed records a signed line about something, with the intake before it. done
// is called as by Durable. A record that a line cannot hold whole is refused: a
// signature over its first bytes would be worth nothing.
func (w *Writer) Signed(vehicle, about string, at time.Duration, record any, done func(failed bool)) error {
	raw, err := marshal(record)
	if err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	body, err := marshal(Signed{About: cutName(about), Record: raw})
	if err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	if n := len(body) + 2*ed25519.SignatureSize; n > MaxBody {
		return fmt.Errorf("trail: a record of %d bytes cannot be signed: a line holds at most %d", n, MaxBody)
	}
	w.take(queued{vehicle: cutName(vehicle), kind: KindSigned, at: at, body: body, sign: true,
		done: done, deadline: time.Now().Add(w.o.DurableWithin)})
	return nil
}

// signedLine forms the next line of the chain, its body ending with a signature
// that is still empty.
func (k *keeper) signedLine(vehicle, kind string, at time.Duration, body []byte) (seq uint64, signature string) {
	from := len(k.events.buf)
	signed := appendLine(nil, k.seq+1, k.head, at, vehicle, kind, body)
	signed = signed[:len(signed)-len(signatureMark+`"}}`)]
	signature = hex.EncodeToString(ed25519.Sign(k.w.key, signed))
	k.events.buf = append(k.events.buf, signed...)
	k.events.buf = append(k.events.buf, signatureMark+signature+`"}}`...)
	k.seq++
	k.head = hashOf(k.events.buf[from:])
	k.events.buf = append(k.events.buf, '\n')
	return k.seq, signature
}

// checkSigned checks a signed line.
func (v *verifier) checkSigned(r rawLine, l *Line) {
	var s Signed
	switch err := json.Unmarshal(l.Body, &s); {
	case err != nil:
		v.problem(eventsName, r.n, -1, r.off, "the signed record cannot be read: %v", err)
	case !bytes.Equal(l.Body, encodeBody(s)):
		v.problem(eventsName, r.n, -1, r.off, "the signed record is not in the form a trail writes")
	case v.meta == nil || !signatureHolds(v.meta.Public, s.Signature, r.text):
		v.problem(eventsName, r.n, -1, r.off, "the signature of the record about %.80q does not fit the line and the public key of the first record", s.About)
	case len(v.r.Signed) < MaxFaults:
		v.r.Signed = append(v.r.Signed, SignedLine{Line: r.n, Vehicle: l.Vehicle, About: s.About})
	}
}
